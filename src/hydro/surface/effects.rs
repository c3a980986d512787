//! What each fin effect is worth: every switch off in turn, all others on.
//!
//! # Equation
//! Static: steady pitch theta gives incidence theta; `-dM/dtheta` of all surfaces and the force of one
//! aft surface per rad, from slopes, places and downwash. In motion: heave and pitch in phase with
//! the elevation and slope of a regular wave at O ([`Reference`]); first harmonic of the surfaces' pitch moment in phase
//! with pitch, over its amplitude, and of one aft surface's force. Effects that need motion or waves (lag,
//! added mass, orbital velocity, stall and cross-flow lift) have no static share.
//!
//! # Symbols
//! Share: (all on - this one off)/all on; negative where the effect takes away.
//!
//! # Valid when
//! Depth changes and drag are left out; gust phase at the quarter chord.
//!
//! # Source
//! First harmonic: Gelb & Vander Velde (1968), describing functions.
//!
//! # Checked by
//! `no_effect_is_worth_nothing`, `static_stiffness_by_hand`.

use std::f64::consts::{PI, TAU};

use nalgebra::Vector3;
use num_complex::Complex64;

use super::{Surface, build_surfaces};
use crate::error::Result;
use crate::frames::encounter_rad_s;
use crate::hydro::downwash::{DownwashLink, links};
use crate::hydro::unsteady;
use crate::spec::craft::{CraftSpec, SurfaceGroup};
use crate::spec::scenario::FinEffectsSpec;

/// Instants per period of the harmonic analysis.
const INSTANTS: usize = 128;

/// The motion at which effects are compared.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Wave frequency, rad/s.
    pub wave_rad_s: f64,
    /// Where the wave travels to relative to the bow, rad.
    pub heading_rad: f64,
    /// Amplitude of the wave, m.
    pub amplitude_m: f64,
    /// Heave over elevation and pitch over slope at O.
    pub follow_frac: f64,
}

impl Reference {
    /// A following sea of 9 s and 1 m amplitude at `speed_m_s` in which heave and pitch are twice elevation and
    /// slope (pitch 5.7 deg), as happens with fins fixed near resonance. A craft that follows the surface
    /// exactly would feel next to no inflow at its fins and every share would be a ratio of remainders.
    pub fn following(speed_m_s: f64) -> Self {
        Reference {
            speed_m_s,
            wave_rad_s: 0.7,
            heading_rad: 0.0,
            amplitude_m: 1.0,
            follow_frac: 2.0,
        }
    }
}

/// One line: everything on, or one effect off.
#[derive(Clone, Debug, PartialEq)]
pub struct EffectRow {
    /// Key of the switch in the scenario; `all on` for the first line.
    pub effect: &'static str,
    /// Pitch stiffness of all surfaces at rest in pitch, N m/rad, with this effect off.
    pub static_stiffness_nm_rad: f64,
    /// Share of it that the effect makes.
    pub static_stiffness_share: f64,
    /// Force of one aft surface per rad of steady pitch, N/rad.
    pub static_aft_force_n_rad: f64,
    /// Share of it that the effect makes.
    pub static_aft_force_share: f64,
    /// Pitch stiffness in the reference motion, N m/rad.
    pub stiffness_nm_rad: f64,
    /// Share of it that the effect makes.
    pub stiffness_share: f64,
    /// Amplitude of the force of one aft surface in the reference motion, N.
    pub aft_force_n: f64,
    /// Share of it that the effect makes.
    pub aft_force_share: f64,
}

/// One way to switch an effect off.
type Switch = (&'static str, fn(&mut FinEffectsSpec));

const SWITCHES: [Switch; 7] = [
    ("body_carry_over", |e| e.body_carry_over = false),
    ("free_surface", |e| e.free_surface = false),
    ("downwash", |e| e.downwash = false),
    ("unsteady_lag", |e| e.unsteady_lag = false),
    ("added_mass", |e| e.added_mass = false),
    ("orbital_velocity", |e| e.orbital_velocity = false),
    ("stall", |e| e.stall = false),
];

/// The table, all on first.
///
/// # Errors
/// Those of [`build_surfaces`].
pub fn effect_table(
    spec: &CraftSpec,
    hull_radius_at: &dyn Fn(f64) -> f64,
    reference: &Reference,
) -> Result<Vec<EffectRow>> {
    let on = FinEffectsSpec::default();
    let all = worth(spec, hull_radius_at, on, reference)?;
    let mut rows = vec![row("all on", &all, &all)];
    for (name, switch_off) in SWITCHES {
        let mut effects = on;
        switch_off(&mut effects);
        let without = worth(spec, hull_radius_at, effects, reference)?;
        rows.push(row(name, &all, &without));
    }
    Ok(rows)
}

/// Static stiffness, static aft force, stiffness and aft force in motion.
type Worth = [f64; 4];

fn row(effect: &'static str, all: &Worth, without: &Worth) -> EffectRow {
    let share = |i: usize| {
        if all[i].abs() > 0.0 {
            (all[i] - without[i]) / all[i]
        } else {
            0.0
        }
    };
    EffectRow {
        effect,
        static_stiffness_nm_rad: without[0],
        static_stiffness_share: share(0),
        static_aft_force_n_rad: without[1],
        static_aft_force_share: share(1),
        stiffness_nm_rad: without[2],
        stiffness_share: share(2),
        aft_force_n: without[3],
        aft_force_share: share(3),
    }
}

fn worth(
    spec: &CraftSpec,
    hull_radius_at: &dyn Fn(f64) -> f64,
    effects: FinEffectsSpec,
    reference: &Reference,
) -> Result<Worth> {
    let surfaces = build_surfaces(spec, hull_radius_at, &effects)?;
    let links = links(&surfaces, &effects);
    let q = 0.5 * spec.water.density_kg_m3 * reference.speed_m_s * reference.speed_m_s;
    let (mut stiffness, mut aft) = (0.0, 0.0);
    for (i, s) in surfaces.iter().enumerate() {
        let force = q * s.area_m2 * static_lift(&surfaces, &links, i);
        stiffness += s.r_m.x * s.n.z * force;
        aft = first_aft(&surfaces, i, aft, force);
    }
    let motion = Motion::new(
        &surfaces,
        &links,
        effects,
        reference,
        spec.water.gravity_m_s2,
    );
    let (mut moving, mut moving_aft) = (0.0, 0.0);
    for (i, s) in surfaces.iter().enumerate() {
        let force = motion.force(i, q);
        let moment = -s.r_m.x * s.n.z * force;
        moving -= (moment / motion.pitch).re;
        moving_aft = first_aft(&surfaces, i, moving_aft, force.norm());
    }
    Ok([stiffness, aft, moving, moving_aft])
}

/// `force` if surface `i` is the first of the aft group, `before` otherwise.
fn first_aft(surfaces: &[Surface], i: usize, before: f64, force: f64) -> f64 {
    let first = surfaces.iter().position(|s| s.group == SurfaceGroup::Aft);
    if first == Some(i) { force } else { before }
}

/// Lift coefficient per rad of steady pitch, downwash included.
fn static_lift(surfaces: &[Surface], links: &[DownwashLink], i: usize) -> f64 {
    let lost: f64 = links
        .iter()
        .filter(|l| l.to == i)
        .map(|l| l.angle_per_lift_coefficient * static_lift(surfaces, links, l.from))
        .sum();
    surfaces[i].slope_incidence * (-surfaces[i].n.z - lost)
}

/// The reference motion with every surface's inflow.
struct Motion<'a> {
    surfaces: &'a [Surface],
    links: &'a [DownwashLink],
    reference: &'a Reference,
    encounter_rad_s: f64,
    pitch: Complex64,
    /// Effective incidence without downwash, complex amplitude, rad.
    incidence: Vec<Complex64>,
    /// Force of the added mass, complex amplitude, N.
    inertia: Vec<Complex64>,
}

impl<'a> Motion<'a> {
    fn new(
        surfaces: &'a [Surface],
        links: &'a [DownwashLink],
        effects: FinEffectsSpec,
        reference: &'a Reference,
        g_m_s2: f64,
    ) -> Self {
        let (u, w0) = (reference.speed_m_s, reference.wave_rad_s);
        let k = w0 * w0 / g_m_s2;
        let we = encounter_rad_s(w0, u, reference.heading_rad, g_m_s2);
        let i = Complex64::I;
        let heave = Complex64::new(-reference.amplitude_m * reference.follow_frac, 0.0);
        let slope = -i * k * reference.heading_rad.cos() * reference.amplitude_m;
        let pitch = slope * reference.follow_frac;
        let mut out = Motion {
            surfaces,
            links,
            reference,
            encounter_rad_s: we,
            pitch,
            incidence: Vec::new(),
            inertia: Vec::new(),
        };
        for s in surfaces {
            let down = i * we * heave + u * pitch - s.r_m.x * i * we * pitch;
            let motion = down * s.n.z;
            let gust = if effects.orbital_velocity {
                orbital(reference, k, &s.r_m, &s.n)
            } else {
                Complex64::ZERO
            };
            let (c, g) = if effects.unsteady_lag {
                let kr = unsteady::reduced_frequency(we, u, 0.5 * s.mac_m);
                (
                    unsteady::wagner_response(kr),
                    unsteady::kussner_response(kr),
                )
            } else {
                (Complex64::ONE, Complex64::ONE)
            };
            out.incidence.push((g * gust - c * motion) / u);
            out.inertia.push(s.added_mass_kg * i * we * (gust - motion));
        }
        out
    }

    /// First harmonic of surface `i`'s force along its n, N.
    fn force(&self, i: usize, q_pa: f64) -> Complex64 {
        let mut sum = Complex64::ZERO;
        for j in 0..INSTANTS {
            let phase = TAU * j as f64 / INSTANTS as f64;
            sum += self.lift(i, phase) * Complex64::cis(-phase);
        }
        sum * (2.0 / INSTANTS as f64) * q_pa * self.surfaces[i].area_m2 + self.inertia[i]
    }

    /// Lift coefficient at `phase` of the encounter.
    fn lift(&self, i: usize, phase: f64) -> f64 {
        let mut alpha = (self.incidence[i] * Complex64::cis(phase)).re;
        for l in self.links.iter().filter(|l| l.to == i) {
            let late = self.encounter_rad_s * l.distance_m / self.reference.speed_m_s;
            alpha -= l.angle_per_lift_coefficient * self.lift(l.from, phase - late % (2.0 * PI));
        }
        self.surfaces[i].lift_coefficient(alpha, 0.0)
    }
}

/// Orbital velocity along `n` at `r`, complex amplitude, m/s (see [`crate::frames`]).
fn orbital(reference: &Reference, k: f64, r: &Vector3<f64>, n: &Vector3<f64>) -> Complex64 {
    let (sin, cos) = reference.heading_rad.sin_cos();
    let phase = Complex64::cis(-k * (r.x * cos + r.y * sin));
    let rate = reference.amplitude_m * reference.wave_rad_s * (-k * r.z).exp();
    phase * rate * (sin * n.y - Complex64::I * n.z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hydro::surface::tests::{demo_radius, demo_spec};
    use crate::units::kn;

    #[test]
    fn no_effect_is_worth_nothing() {
        let rows =
            effect_table(&demo_spec(), &demo_radius, &Reference::following(kn(18.0))).unwrap();
        assert_eq!(rows.len(), 8);
        for r in &rows[1..] {
            // above rounding by far: a tenth of a per mille
            assert!(r.stiffness_share.abs() > 1e-4, "{r:?}");
            assert!(r.aft_force_share.abs() > 1e-4, "{r:?}");
        }
        assert!(
            rows[3].static_aft_force_share < -0.2,
            "downwash takes: {:?}",
            rows[3]
        );
        assert!(rows[0].static_stiffness_nm_rad > 0.0);
    }

    #[test]
    fn static_stiffness_by_hand() {
        let spec = demo_spec();
        let rows = effect_table(&spec, &demo_radius, &Reference::following(kn(18.0))).unwrap();
        let s = build_surfaces(&spec, &demo_radius, &FinEffectsSpec::default()).unwrap();
        let q = 0.5 * 1025.0 * kn(18.0).powi(2);
        // without downwash: aft fins hold (x < 0), forward fins upset
        let want: f64 = s[..4]
            .iter()
            .map(|f| -q * f.area_m2 * f.slope_incidence * f.r_m.x)
            .sum();
        assert!((rows[3].static_stiffness_nm_rad / want - 1.0).abs() < 1e-12);
    }
}
