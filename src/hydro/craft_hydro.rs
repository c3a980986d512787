//! Everything the water does to a craft in linear theory, computed once and read at any speed.
//!
//! [`CraftHydro`] holds what does not depend on speed: sections, zero-speed strip integrals, surge
//! and end correction, shed momentum. [`CraftHydro::at_speed`] regularises them for a speed and
//! makes the memory model and the wave-force table that belong to them.
//!
//! # Equation
//! ```text
//! A(w) = A_inf + KK(B) + A_surge - A_ends,  B(w, U) regularised       (zero-speed form, about O)
//! ```
//! Speed enters through Kirchhoff's equations in body axes (or [`super::radiation::stf_matrix`] in
//! seakeeping axes) and through the wave force's own U-terms, nowhere else. A trailing edge sheds
//! the sway momentum that the section with the strut has more than the bare hull behind it.
//!
//! # Symbols
//! As in [`super::radiation`], [`super::regularise`], [`super::munk`], [`super::wave_force`].
//!
//! # Valid when
//! As the rooms named; the least of them decides.
//!
//! # Source
//! Those of the rooms named; the combination is this project's.
//!
//! # Checked by
//! `long_waves_carry_the_craft`, `regularised_tables_are_causal_and_positive`,
//! `memory_meets_the_aims_on_the_craft`, `doubling_the_grid_changes_little`,
//! `wave_force_is_continuous_through_zero_encounter`,
//! `speed_moment_in_long_waves_is_that_of_relative_motion`, `switches_do_what_they_say`.

use nalgebra::Matrix6;

use super::memory::{FitOptions, FitReport, MemoryModel};
use super::munk::EquivalentSpheroid;
use super::radiation::{RadiationTable, RawRadiation};
use super::regularise::{Regularisation, gap_frequency_rad_s};
use super::section::{SectionOptions, SectionSolver};
use super::stations::Stations;
use super::strip::{Strips, frequency_grid};
use super::viscous::SheddingEdge;
use super::wave_force::{WaveForceTable, WaveGrid};
use crate::error::{Problem, Result};
use crate::geometry::craft::Craft;
use crate::spec::scenario::PhysicsSpec;

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
    let mass = craft.mass.matrix_about_o();
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

mod waves;

#[cfg(test)]
pub(crate) mod tests;
