//! Everything the water does to a craft in linear theory, computed once and read at any speed.
//!
//! # Equation
//! ```text
//! A, B = strips (regularised) + surge of the spheroids - end correction
//! F_wave = Froude-Krylov + i omega_e p + speed terms -v x p,   p momentum of the diffraction
//! ```
//!
//! # Symbols
//! A added mass, B damping (6 by 6 about O); omega_e encounter frequency (rad/s); p momentum per
//! unit wave amplitude (N s/m, N m s/m).
//!
//! # Valid when
//! Slender lower hulls with pointed ends; small motions; deep water.
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), SNAME Trans. 78, for strips and wave force; the rooms named in
//! the code state the rest.
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `sections_agree_with_kramers_kronig`,
//! `regularised_tables_are_causal_and_positive`, `memory_meets_the_aims_on_the_craft`,
//! `wave_force_is_continuous_through_zero_encounter`,
//! `speed_moment_in_long_waves_is_that_of_relative_motion`, `switches_do_what_they_say`.

use nalgebra::{Matrix6, Vector3};
use num_complex::Complex64;

use super::memory::{FitOptions, FitReport, MemoryModel};
use super::munk::EquivalentSpheroid;
use super::radiation::{RadiationTable, RawRadiation};
use super::regularise::{Regularisation, gap_frequency_rad_s};
use super::section::{SectionOptions, SectionSolver};
use super::stations::Stations;
use super::strip::{Strips, frequency_grid};
use super::strip_waves::{Reading, Wave};
use super::viscous::SheddingEdge;
use super::wave_force::{WaveForceTable, WaveGrid};
use crate::error::{Problem, Result};
use crate::frames::encounter_rad_s;
use crate::geometry::craft::Craft;
use crate::spec::scenario::PhysicsSpec;

/// k L of the encounter frequency up to which the strips' heave flow in waves takes the
/// regularised ratio; there the finite-length factor is within a tenth of one.
const HEAVE_RATIO_END: f64 = 6.0;

/// Speed-independent tables of a craft.
#[derive(Clone, Debug)]
pub struct CraftHydro {
    /// Sections, their potentials, stations, frequencies.
    pub strips: Strips,
    /// Zero-speed strip integrals about O, both variants.
    pub raw: RawRadiation,
    /// Surge added mass about O, both hulls.
    pub surge: Matrix6<f64>,
    /// What the hulls' ends take away (zero when switched off).
    pub end_correction: Matrix6<f64>,
    /// Lower hull as a spheroid.
    pub spheroid: EquivalentSpheroid,
    /// How damping is blended and faded.
    pub regularisation: Regularisation,
    /// Sway momentum that leaves the craft at the struts' trailing edges, starboard and port.
    pub shedding: Vec<SheddingEdge>,
    /// Natural frequencies (heave, roll, pitch; uncoupled from each other), rad/s.
    pub natural_rad_s: Vec<f64>,
    /// Length of the lower hulls, m.
    pub length_m: f64,
    surge_coupling: bool,
    memory: bool,
}

/// Tables of a craft at one speed.
#[derive(Clone, Debug)]
pub struct HydroAtSpeed {
    /// Forward speed, m/s.
    pub speed_m_s: f64,
    /// Regularised zero-speed-form A and B about O (surge and end correction included), to be used
    /// with Kirchhoff's equations in body axes or with [`super::radiation::stf_matrix`].
    pub radiation: RadiationTable,
    /// Memory of the radiated waves.
    pub memory: MemoryModel,
    /// How well it fits.
    pub fit: FitReport,
    /// Wave forces.
    pub wave_force: WaveForceTable,
    /// Trailing edges that shed sway momentum.
    pub shedding: Vec<SheddingEdge>,
    /// What the user should know.
    pub warnings: Vec<String>,
}

impl CraftHydro {
    /// Solves all sections of `craft` under the switches of `physics`.
    ///
    /// # Errors
    /// Bad station or frequency lists; sections that cannot be solved.
    pub fn compute(craft: &Craft, physics: &PhysicsSpec) -> Result<Self> {
        let (stations, omega) = Self::cuts(craft, physics)?;
        let options = SectionOptions::default();
        let strips = Strips::solve(stations, omega, &options, craft.rho_kg_m3, craft.g_m_s2)?;
        Self::assemble(craft, physics, strips, &options)
    }

    /// Stations and frequencies: the user's where given.
    ///
    /// # Errors
    /// Bad station or frequency lists.
    pub fn cuts(craft: &Craft, physics: &PhysicsSpec) -> Result<(Stations, Vec<f64>)> {
        let stations = match &physics.stations_x_m {
            Some(x) => Stations::of_user(craft, x)?,
            None => Stations::of_craft(craft)?,
        };
        let omega = match &physics.frequencies_rad_s {
            Some(w) => checked_frequencies(w)?,
            None => frequency_grid(craft.hull.length_m(), craft.g_m_s2),
        };
        Ok((stations, omega))
    }

    /// The craft's tables from strips already solved (or read back).
    ///
    /// # Errors
    /// Of the section solver at the trailing edges.
    pub fn assemble(
        craft: &Craft,
        physics: &PhysicsSpec,
        strips: Strips,
        options: &SectionOptions,
    ) -> Result<Self> {
        let raw = strips.radiation();
        let spheroid = EquivalentSpheroid::of_craft(craft, &strips.stations);
        let surge = spheroid.surge_matrix(physics.surge_coupling);
        let end_correction = if physics.end_correction {
            spheroid.end_correction()
        } else {
            Matrix6::zeros()
        };
        let shedding = shedding_edges(craft, options)?;
        let mut out = CraftHydro {
            regularisation: regularisation(craft, physics),
            strips,
            raw,
            surge,
            end_correction,
            spheroid,
            shedding,
            natural_rad_s: Vec::new(),
            length_m: craft.hull.length_m(),
            surge_coupling: physics.surge_coupling,
            memory: physics.memory,
        };
        let (table, _) = out.radiation_at(0.0);
        out.natural_rad_s = natural_frequencies(craft, &table);
        Ok(out)
    }

    /// Default headings and wave frequencies.
    pub fn wave_grid(&self) -> WaveGrid {
        WaveGrid::of_length(self.length_m, self.strips.g_m_s2)
    }

    /// Everything at a speed on the default wave grid.
    ///
    /// # Errors
    /// When no memory model can be found.
    pub fn at_speed(&self, speed_m_s: f64) -> Result<HydroAtSpeed> {
        self.at_speed_on(speed_m_s, &self.wave_grid())
    }

    /// Everything at a speed on a given wave grid.
    ///
    /// # Errors
    /// When no memory model can be found.
    pub fn at_speed_on(&self, speed_m_s: f64, grid: &WaveGrid) -> Result<HydroAtSpeed> {
        let (radiation, curve) = self.radiation_at(speed_m_s);
        let unit = (self.strips.g_m_s2 / self.length_m).sqrt();
        let natural = self
            .natural_rad_s
            .iter()
            .flat_map(|w| [0.93 * w, *w, 1.07 * w])
            .collect();
        let options = FitOptions {
            natural_rad_s: natural,
            // 0.05 to 4 rad/s on a hull of 30 m
            window_rad_s: (0.0875 * unit, 7.0 * unit),
            ..FitOptions::default()
        };
        let (memory, fit) = if self.memory {
            MemoryModel::fit(&curve, &radiation.a_inf, &options)?
        } else {
            (MemoryModel::none(radiation.a_inf), FitReport::default())
        };
        let wave_force = WaveForceTable::fill(grid, speed_m_s, |mu, w| {
            self.wave_force(&radiation, speed_m_s, mu, w)
        });
        let mut warnings = fit.misses();
        if self.regularisation.interaction == crate::spec::scenario::InteractionSpec::Full {
            warnings.push(
                "full two-dimensional hull interaction: standing waves between the hulls are as \
                 good as undamped, and tables are interpolated across them"
                    .to_owned(),
            );
        }
        Ok(HydroAtSpeed {
            speed_m_s,
            radiation,
            memory,
            fit,
            wave_force,
            shedding: self.shedding.clone(),
            warnings,
        })
    }

    /// Regularised A and B at a speed, surge and end correction included, and the damping curve.
    pub fn radiation_at(&self, speed_m_s: f64) -> (RadiationTable, super::curve::DampingCurve) {
        let (mut table, curve) = self.regularisation.table(&self.raw, speed_m_s);
        let more = self.surge - self.end_correction;
        for a in &mut table.a {
            *a += more;
        }
        table.a_inf += more;
        table.a_zero += more;
        (table, curve)
    }

    /// Force per unit amplitude of one wave, modes in `Dof` order (see [`super::wave_force`]).
    pub fn wave_force(
        &self,
        radiation: &RadiationTable,
        speed_m_s: f64,
        mu_rad: f64,
        omega_rad_s: f64,
    ) -> [Complex64; 6] {
        let g = self.strips.g_m_s2;
        let omega_e = encounter_rad_s(omega_rad_s, speed_m_s, mu_rad, g);
        let wave = Wave {
            omega_rad_s,
            omega_e_rad_s: omega_e,
            k: omega_rad_s * omega_rad_s / g,
            mu_rad,
        };
        let reading = Reading::new(
            &self.strips.omega_rad_s,
            omega_e,
            speed_m_s,
            &self.regularisation,
        );
        let strip = self.strips.in_wave(&wave, &reading);
        let fit = self.rigid_fit(&wave);
        let (more, heave) = self.beyond_strips(radiation, omega_e, &reading);
        let mut p = strip.momentum;
        p[2] *= heave;
        p[4] *= heave;
        for i in 0..6 {
            for j in 0..6 {
                p[i] += more[(i, j)] * fit.nu[j];
            }
        }
        let m1 = self.spheroid.surge_kg();
        let z = self.spheroid.centre_m[2];
        let y = self.spheroid.centre_m[1];
        for (u, side) in fit.surge.iter().zip([1.0, -1.0]) {
            p[0] += u * m1;
            if self.surge_coupling {
                p[4] += u * (m1 * z);
                p[5] -= u * (m1 * y * side);
            }
        }
        let rate = Complex64::new(0.0, omega_e);
        let mut f: [Complex64; 6] = std::array::from_fn(|j| strip.froude_krylov[j] + rate * p[j]);
        if !self.surge_coupling {
            for j in 1..6 {
                f[j] -= strip.longitudinal[j];
            }
        }
        let a11 = 2.0 * m1;
        f[4] += (fit.axis_w * a11 - p[2]) * speed_m_s;
        f[5] += (p[1] - fit.axis_v * a11) * speed_m_s;
        f
    }

    /// M - M_strip: complex mass of the regularised tables beyond what the strips' potentials give,
    /// and the factor on the strips' heave flow that is in M_strip: the two-dimensional heave mass
    /// jumps and grows like a logarithm at zero frequency, so for waves of encounter longer than
    /// the craft the sections take the regularised craft's ratio.
    fn beyond_strips(
        &self,
        radiation: &RadiationTable,
        omega_e: f64,
        reading: &Reading,
    ) -> (Matrix6<Complex64>, Complex64) {
        let w = omega_e.abs();
        let (a, b) = radiation.at(w);
        let damping = if w > 1e-9 { b / w } else { Matrix6::zeros() };
        let s = reading.twin_share;
        let mut strip_a = Matrix6::zeros();
        let mut strip_b = Matrix6::zeros();
        for (m, &c) in reading.weight.iter().enumerate() {
            let i = reading.from + m;
            let wi = self.raw.omega_rad_s[i];
            strip_a += (self.raw.twin.a[i] * s + self.raw.isolated.a[i] * (1.0 - s)) * c;
            strip_b += (self.raw.twin.b[i] * s + self.raw.isolated.b[i] * (1.0 - s)) * (c / wi);
        }
        let sign = if reading.conjugate { 1.0 } else { -1.0 };
        let complex = |re: &Matrix6<f64>, im: &Matrix6<f64>, i: usize, j: usize| {
            Complex64::new(re[(i, j)], sign * im[(i, j)])
        };
        let mass = a - self.surge;
        // the end correction is no matter of frequency: out of the ratio
        let whole = complex(&mass, &damping, 2, 2) + self.end_correction[(2, 2)];
        let ratio = whole / complex(&strip_a, &strip_b, 2, 2);
        let kl = w * w / self.strips.g_m_s2 * self.regularisation.length_m;
        let share = super::regularise::fade((kl / HEAVE_RATIO_END).sqrt());
        let heave = Complex64::ONE + (ratio - 1.0) * share;
        let more = Matrix6::from_fn(|i, j| {
            let vertical = (i == 2 || i == 4) && (j == 2 || j == 4);
            let factor = if vertical { heave } else { Complex64::ONE };
            complex(&mass, &damping, i, j) - complex(&strip_a, &strip_b, i, j) * factor
        });
        (more, heave)
    }

    /// Rigid motion of the craft that fits the orbital velocity along the hulls' axes best.
    fn rigid_fit(&self, wave: &Wave) -> RigidFit {
        let st = &self.strips.stations;
        let y = self.spheroid.centre_m[1];
        let (sin, cos) = wave.mu_rad.sin_cos();
        let mut heave = Weighted::default();
        let mut sway = Weighted::default();
        let mut roll = Weighted::default();
        let mut axis_z = 0.0;
        for (i, &s) in st.section.iter().enumerate() {
            let x = st.x_m[i];
            let z = st.contours[s].axis_z_m;
            let w = st.weight_m[i];
            let inf = &self.strips.sections[s].infinite.isolated;
            let level =
                Complex64::from_polar(wave.omega_rad_s * (-wave.k * z).exp(), -wave.k * x * cos);
            let side = Complex64::from_polar(1.0, -wave.k * y * sin);
            // starboard and port: mean and half difference
            let (mean, half) = (level * side.re, level * Complex64::new(0.0, side.im));
            let down = Complex64::new(0.0, -1.0);
            heave.add(w * inf[1][1], x, mean * down);
            sway.add(w * inf[0][0], x, mean * sin);
            roll.add(w * inf[1][1], x, half * down / y.max(1e-9));
            axis_z += w * inf[0][0] * z;
        }
        let (w0, pitch) = heave.line();
        let (v0, yaw) = sway.line();
        let p = roll.mean();
        let z = axis_z / sway.sum;
        let centre = &self.spheroid.centre_m;
        let surge = [1.0, -1.0].map(|side| {
            Complex64::from_polar(
                wave.omega_rad_s * (-wave.k * centre[2]).exp() * cos,
                -wave.k * (centre[0] * cos + side * centre[1] * sin),
            )
        });
        RigidFit {
            nu: [Complex64::ZERO, v0 + p * z, w0, p, -pitch, yaw],
            axis_v: v0 + yaw * centre[0],
            axis_w: w0 + pitch * centre[0],
            surge,
        }
    }
}

/// The fit of [`CraftHydro::rigid_fit`].
struct RigidFit {
    /// Velocities of O; surge left out, it is the spheroids'.
    nu: [Complex64; 6],
    /// Sway and heave velocity at the hulls' centre of volume, on the axis.
    axis_v: Complex64,
    axis_w: Complex64,
    /// Orbital velocity along x at the centres of the starboard and the port hull.
    surge: [Complex64; 2],
}

/// Weighted straight line through complex values.
#[derive(Default)]
struct Weighted {
    sum: f64,
    x: f64,
    xx: f64,
    f: Complex64,
    xf: Complex64,
}

impl Weighted {
    fn add(&mut self, w: f64, x: f64, f: Complex64) {
        self.sum += w;
        self.x += w * x;
        self.xx += w * x * x;
        self.f += f * w;
        self.xf += f * (w * x);
    }

    fn mean(&self) -> Complex64 {
        self.f / self.sum
    }

    /// Value at x = 0 and slope.
    fn line(&self) -> (Complex64, Complex64) {
        let det = self.sum * self.xx - self.x * self.x;
        let slope = if det > 0.0 {
            (self.xf * self.sum - self.f * self.x) / det
        } else {
            Complex64::ZERO
        };
        ((self.f - slope * self.x) / self.sum, slope)
    }
}

fn checked_frequencies(w: &[f64]) -> Result<Vec<f64>> {
    let good = w.len() >= 4
        && w.iter().all(|w| w.is_finite() && *w > 0.0)
        && w.windows(2).all(|p| p[1] > p[0]);
    if good {
        return Ok(w.to_vec());
    }
    Err(Problem::at(
        "physics.frequencies_rad_s",
        format!(
            "has {} numbers, must be at least 4 positive frequencies in ascending order",
            w.len()
        ),
    )
    .hint("leave it out to take the program's own frequencies")
    .into())
}

fn regularisation(craft: &Craft, physics: &PhysicsSpec) -> Regularisation {
    let aft = craft
        .struts
        .iter()
        .map(|s| s.aft_x_m)
        .fold(f64::INFINITY, f64::min);
    let fore = craft
        .struts
        .iter()
        .map(|s| s.fore_x_m)
        .fold(f64::NEG_INFINITY, f64::max);
    let inner = craft
        .struts
        .iter()
        .map(|s| s.centre_y_m - 0.5 * s.thickness_m)
        .fold(craft.hull.centre_y_m, f64::min);
    let draught = craft
        .hull
        .breakpoints()
        .iter()
        .filter_map(|&x| craft.hull.section_at(x))
        .map(|s| s.axis_z_m + s.half_height_m)
        .fold(0.0, f64::max);
    Regularisation {
        interaction: physics.interaction,
        low_frequency: physics.low_frequency,
        gap_rad_s: gap_frequency_rad_s(2.0 * inner, draught, craft.g_m_s2),
        length_m: if fore > aft {
            fore - aft
        } else {
            craft.hull.length_m()
        },
        g_m_s2: craft.g_m_s2,
    }
}

/// Sway momentum shed at each strut's trailing edge: what the section with the strut has more
/// than the bare hull behind it, at zero frequency, each hull as if alone.
fn shedding_edges(craft: &Craft, options: &SectionOptions) -> Result<Vec<SheddingEdge>> {
    let mut out = Vec::new();
    for strut in &craft.struts {
        // a little ahead of the edge, where a pointed strut still has thickness to panel
        let ahead = strut.aft_x_m + 0.02 * strut.length_m();
        let Some(contour) = craft.contour_at(ahead) else {
            continue;
        };
        let full = SectionSolver::new(&contour, options)?
            .limit_zero()?
            .regular
            .isolated;
        let bare = match crate::geometry::contour::contour_at(&craft.hull, &[], ahead) {
            Some(c) => {
                SectionSolver::new(&c, options)?
                    .limit_zero()?
                    .regular
                    .isolated
            }
            None => [[0.0; 3]; 3],
        };
        // both hulls over density; moment K = -z Y
        let a22 = full[0][0] - bare[0][0];
        let a42 = full[2][0] - bare[2][0];
        if a22 <= 0.0 {
            continue;
        }
        for side in [1.0, -1.0] {
            out.push(SheddingEdge {
                r_m: [strut.aft_x_m, side * strut.centre_y_m, -a42 / a22],
                a22_kg_m: 0.5 * craft.rho_kg_m3 * a22,
            });
        }
    }
    Ok(out)
}

/// Heave, roll and pitch natural frequencies with the motions that follow freely eliminated.
fn natural_frequencies(craft: &Craft, table: &RadiationTable) -> Vec<f64> {
    let mass = rigid_mass(craft);
    let c = &craft.hydrostatics.c;
    [(2, &[][..]), (3, &[1, 5][..]), (4, &[0][..])]
        .iter()
        .filter_map(|&(j, free)| {
            let mut w = 0.0;
            let mut a = table.a_inf;
            for _ in 0..4 {
                let m = mass + a;
                let mut inertia = m[(j, j)];
                // free motions one after the other: good enough to place weights
                for &k in free {
                    inertia -= m[(j, k)] * m[(k, j)] / m[(k, k)];
                }
                w = (c[(j, j)] / inertia).max(0.0).sqrt();
                a = table.at(w).0;
            }
            (w > 0.0).then_some(w)
        })
        .collect()
}

/// Rigid-body mass matrix about O.
pub fn rigid_mass(craft: &Craft) -> Matrix6<f64> {
    let m = craft.mass.mass_kg;
    let r: Vector3<f64> = craft.mass.cg_m;
    let s = crate::frames::skew(&r);
    let mut out = Matrix6::zeros();
    for i in 0..3 {
        out[(i, i)] = m;
        for j in 0..3 {
            out[(i, 3 + j)] = -m * s[(i, j)];
            out[(3 + i, j)] = m * s[(i, j)];
        }
    }
    let about = craft.mass.inertia_cg_kg_m2 - s * s * m;
    for i in 0..3 {
        for j in 0..3 {
            out[(3 + i, 3 + j)] = about[(i, j)];
        }
    }
    out
}

#[cfg(test)]
pub(crate) mod tests;
