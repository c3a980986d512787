//! Weights that moved and compartments that flooded: a craft with an added wrench.
//!
//! # Equation
//! ```text
//! shift      F = 0,      M = m g (r_to - r_from) x e
//! flooded    F = m g e,  M = r_w x m g e,   r_w = floor + h/2 up + (s_x, s_y, 0)
//! m s_y = rho mu l f(b, h*, e_y/e_z),   f(b, h, t) = b^3 t/12 while t <= 2h/b, else h b (b/2 - w/3), w = sqrt(2 h b/t)
//! ```
//! e is earth's vertical (down) in body axes; the same for s_x with length and breadth exchanged. Formed at every
//! evaluation of the derivative, so that it follows the attitude.
//!
//! # Symbols
//! m mass (kg), l, b, d length, breadth and height of the compartment (m), h depth of water, h* the
//! smaller of h and d - h (a roof bounds the water's travel as the floor does), mu permeability.
//!
//! # Valid when
//! Water moves at once with the tilt: sloshing periods short against the craft's. The two tilts do not know of
//! each other; the water's rise with the tilt and all added inertia are left out. The water does not leave.
//!
//! # Source
//! Free-surface moment rho g i: any book of naval architecture, for example Lewis ed. (1988), Principles of
//! Naval Architecture I, chapter 3; corner case by the geometry of the wedge, own derivation.
//!
//! # Checked by
//! `water_shifts_as_the_free_surface_says`, `a_full_or_dry_compartment_has_no_free_surface`,
//! `steady_heel_meets_gm` (tests/faults_physics.rs)

use std::sync::Arc;

use nalgebra::Vector3;
use num_complex::Complex64;

use crate::dynamics::actuator::Actuator;
use crate::dynamics::damage::Damage;
use crate::dynamics::plant::march::{AddedWeight, March};
use crate::dynamics::plant::{PlantInput, WaveChannel};
use crate::dynamics::state::StateLayout;
use crate::frames::{Wrench, body_to_earth, wrench_at};
use crate::sim::craft::Craft;

/// A weight at a new place, or water.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A weight went from one place to another.
    Shift {
        /// Its weight, N.
        weight_n: f64,
        /// From its old place to its new one, m.
        by_m: Vector3<f64>,
    },
    /// Water in a compartment.
    Water(Water),
}

/// Water in a rectangular compartment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Water {
    /// Weight per volume of the compartment, permeability included, N/m3.
    pub weight_n_m3: f64,
    /// Length, breadth, height, m.
    pub size_m: [f64; 3],
    /// Centre of its floor from O, m.
    pub floor_m: Vector3<f64>,
    /// Share of it that is full.
    pub fill_frac: f64,
}

impl Load {
    /// Wrench about O; `down` is earth's vertical in body axes.
    pub fn wrench(&self, down: &Vector3<f64>) -> Wrench {
        match self {
            Load::Shift { weight_n, by_m } => {
                let m = by_m.cross(&(down * *weight_n));
                Wrench::new(0.0, 0.0, 0.0, m.x, m.y, m.z)
            }
            Load::Water(w) => w.wrench(down),
        }
    }
}

impl Water {
    fn wrench(&self, down: &Vector3<f64>) -> Wrench {
        let [length, breadth, height] = self.size_m;
        let depth = height * self.fill_frac;
        let volume = length * breadth * depth;
        if volume <= 0.0 {
            return Wrench::zeros();
        }
        let travel = depth.min(height - depth);
        let level = down.z.max(0.05);
        let aside = length * first_moment_m3(breadth, travel, down.y / level) / volume;
        let along = breadth * first_moment_m3(length, travel, down.x / level) / volume;
        let r = self.floor_m + Vector3::new(along, aside, -0.5 * depth);
        wrench_at(&r, &(down * (self.weight_n_m3 * volume)))
    }
}

/// First moment, per length of the compartment and about its middle, of water of depth `h` and breadth `b`
/// whose surface is tilted by `slope`, m3.
fn first_moment_m3(b: f64, h: f64, slope: f64) -> f64 {
    let t = slope.abs();
    let moment = if h <= 0.0 {
        0.0
    } else if t * b <= 2.0 * h {
        b.powi(3) * t / 12.0
    } else {
        let wet = (2.0 * h * b / t).sqrt();
        h * b * (0.5 * b - wet / 3.0)
    };
    moment * slope.signum()
}

/// A craft with loads on it that it was not trimmed for.
pub(super) struct Laden {
    pub(super) base: Arc<dyn Craft>,
    pub(super) loads: Vec<Load>,
}

impl AddedWeight for Vec<Load> {
    fn wrench(&self, down: &Vector3<f64>) -> Wrench {
        self.iter()
            .fold(Wrench::zeros(), |f, load| f + load.wrench(down))
    }
}

impl Craft for Laden {
    fn speed_m_s(&self) -> f64 {
        self.base.speed_m_s()
    }

    fn g_m_s2(&self) -> f64 {
        self.base.g_m_s2()
    }

    fn layout(&self) -> &StateLayout {
        self.base.layout()
    }

    fn surface_names(&self) -> Vec<String> {
        self.base.surface_names()
    }

    fn actuators(&self) -> &[Actuator] {
        self.base.actuators()
    }

    fn shaft_names(&self) -> Vec<String> {
        self.base.shaft_names()
    }

    fn channels(&self) -> &[WaveChannel] {
        self.base.channels()
    }

    fn channel_amplitudes(&self, omega_rad_s: f64, mu_rad: f64, out: &mut [Complex64]) {
        self.base.channel_amplitudes(omega_rad_s, mu_rad, out);
    }

    fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        let down = body_to_earth(x[3], x[4], x[5]).row(2).transpose();
        let wind = self
            .loads
            .iter()
            .fold(input.wind, |f, load| f + load.wrench(&down));
        self.base.derivative(x, &PlantInput { wind, ..*input }, dx);
    }

    fn march(&self, step_s: f64) -> Option<March<'_>> {
        Some(self.base.march(step_s)?.laden(&self.loads))
    }

    fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        self.base.command_rows(x, input, dx);
    }

    fn surface_angle_rad(&self, surface: usize, x: &[f64], hold_rad: f64) -> f64 {
        self.base.surface_angle_rad(surface, x, hold_rad)
    }

    fn damaged(&self, damage: &Damage) -> Option<Arc<dyn Craft>> {
        Some(Arc::new(Laden {
            base: self.base.damaged(damage)?,
            loads: self.loads.clone(),
        }))
    }

    fn trailed_rad(
        &self,
        surface: usize,
        x: &[f64],
        input: &PlantInput,
        angle_rad: f64,
        dt_s: f64,
    ) -> f64 {
        self.base.trailed_rad(surface, x, input, angle_rad, dt_s)
    }

    fn lift_n(&self, x: &[f64], input: &PlantInput, out: &mut [f64]) {
        self.base.lift_n(x, input, out);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn water_shifts_as_the_free_surface_says() {
        // small tilt: the second moment of the surface over the volume
        let (b, h) = (3.0, 1.0);
        assert!((first_moment_m3(b, h, 0.01) - b.powi(3) / 12.0 * 0.01).abs() < 1e-15);
        // the wedge that reaches the corner: both formulas give b^2 h/6
        let corner = 2.0 * h / b;
        for t in [corner * (1.0 - 1e-9), corner * (1.0 + 1e-9)] {
            assert!((first_moment_m3(b, h, t) - b * b * h / 6.0).abs() < 1e-6);
        }
        // on its side all of it stands at the wall
        assert!((first_moment_m3(b, h, 1e12) - h * b * 0.5 * b).abs() < 1e-5);
        assert!((first_moment_m3(b, h, -0.3) + first_moment_m3(b, h, 0.3)).abs() < 1e-15);
    }

    #[test]
    fn a_full_or_dry_compartment_has_no_free_surface() {
        let heeled = Vector3::new(0.0, 0.2_f64.sin(), 0.2_f64.cos());
        let water = |fill_frac| Water {
            weight_n_m3: 1e4,
            size_m: [4.0, 3.0, 2.0],
            floor_m: Vector3::new(1.0, 0.0, -2.0),
            fill_frac,
        };
        assert!(water(0.0).wrench(&heeled).norm() < 1e-12);
        let full = water(1.0).wrench(&heeled);
        let solid = wrench_at(&Vector3::new(1.0, 0.0, -3.0), &(heeled * (1e4 * 24.0)));
        assert!((full - solid).norm() < 1e-6);
        let half = water(0.5).wrench(&heeled);
        let still = wrench_at(&Vector3::new(1.0, 0.0, -2.5), &(heeled * (1e4 * 12.0)));
        // heeled to starboard: the water follows and heels her more, by rho g i tan(heel) cos(heel)
        let want = 1e4 * 4.0 * 27.0 / 12.0 * 0.2_f64.sin();
        assert!(((half - still)[3] / want - 1.0).abs() < 1e-9);
    }
}
