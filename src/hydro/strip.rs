//! Sections to craft: strip integrals.
//!
//! # Equation
//! ```text
//! A = Sum_i w_i rho T_i^T a_i T_i       B likewise
//! T_i = [0 1 0 0 0 x_i; 0 0 1 0 -x_i 0; 0 0 0 1 0 0]
//! ```
//! T gives a section's sway, heave and roll velocity from the craft's: v + x r, w - x q, p.
//!
//! # Symbols
//! a, b sectional added mass and damping over density, both hulls, roll about O; w_i station weight (m).
//!
//! # Valid when
//! Slender hulls, zero speed; surge is not of the strips (see [`super::munk`]).
//!
//! # Source
//! Salvesen, Tuck & Faltinsen (1970), Table 1, the zero-speed integrals.
//!
//! # Checked by
//! `uniform_hull_has_the_textbook_integrals`, `froude_scaling_is_exact`,
//! `sections_agree_with_kramers_kronig`.

use nalgebra::{Matrix3, Matrix3x6, Matrix6};
use rayon::prelude::*;

use super::radiation::{RadiationTable, RawRadiation};
use super::section::{
    Panels, SectionFlow, SectionLimit, SectionOptions, SectionSolver, ZeroFrequency,
};
use super::stations::Stations;
use super::strip_waves::Slices;
use crate::error::Result;

/// Frequencies of the radiation tables, rad/s: dense where the craft moves, to 13.5 sqrt(g/L).
///
/// In units of sqrt(g/L) so that a Froude-scaled craft has the scaled grid.
pub fn frequency_grid(length_m: f64, g_m_s2: f64) -> Vec<f64> {
    frequency_grid_of(length_m, g_m_s2, 1)
}

/// The same with every interval divided by `parts`.
pub fn frequency_grid_of(length_m: f64, g_m_s2: f64, parts: usize) -> Vec<f64> {
    let unit = (g_m_s2 / length_m).sqrt();
    let mut coarse = vec![0.0, 0.035, 0.09];
    let mut w: f64 = 0.09;
    while w < 13.5 {
        // steps of 0.08 up to 2.5, then growing with frequency
        w += 0.08_f64.max(0.058 * (w - 1.1));
        coarse.push(w);
    }
    let mut grid = Vec::new();
    for pair in coarse.windows(2) {
        for p in 1..=parts {
            grid.push(unit * (pair[0] + (pair[1] - pair[0]) * p as f64 / parts as f64));
        }
    }
    grid
}

/// One section solved at all frequencies.
#[derive(Clone, Debug)]
pub struct SectionTable {
    /// Its panels.
    pub panels: Panels,
    /// The section in slices, for integrals over its area.
    pub slices: Slices,
    /// Radiation at each frequency.
    pub flow: Vec<SectionFlow>,
    /// Added mass at infinite frequency.
    pub infinite: SectionLimit,
    /// Behaviour towards zero frequency.
    pub zero: ZeroFrequency,
}

/// All sections of a craft solved.
#[derive(Clone, Debug)]
pub struct Strips {
    /// Water density, kg/m3.
    pub rho_kg_m3: f64,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// The cuts.
    pub stations: Stations,
    /// Frequencies, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// The different sections, as in `stations.contours`.
    pub sections: Vec<SectionTable>,
}

impl Strips {
    /// Solves every different section at every frequency, in parallel.
    ///
    /// # Errors
    /// Of the section solver.
    pub fn solve(
        stations: Stations,
        omega_rad_s: Vec<f64>,
        options: &SectionOptions,
        rho_kg_m3: f64,
        g_m_s2: f64,
    ) -> Result<Self> {
        let solvers: Vec<SectionSolver> = stations
            .contours
            .par_iter()
            .map(|c| SectionSolver::new(c, options))
            .collect::<Result<_>>()?;
        let count = omega_rad_s.len();
        let mut flows: Vec<SectionFlow> = (0..solvers.len() * count)
            .into_par_iter()
            .map(|i| solvers[i / count].solve(omega_rad_s[i % count], g_m_s2))
            .collect::<Result<_>>()?;
        let limits: Vec<(SectionLimit, ZeroFrequency)> = solvers
            .par_iter()
            .map(|s| Ok((s.limit_infinite()?, s.limit_zero()?)))
            .collect::<Result<_>>()?;
        let mut sections = Vec::with_capacity(solvers.len());
        let parts = solvers.iter().zip(&stations.contours).zip(limits);
        for ((solver, contour), (infinite, zero)) in parts.rev() {
            let flow = flows.split_off(flows.len() - count);
            let panels = solver.panels().clone();
            sections.push(SectionTable {
                slices: Slices::new(&panels, contour.axis_z_m, contour.half_height_m),
                panels,
                flow,
                infinite,
                zero,
            });
        }
        sections.reverse();
        Ok(Strips {
            rho_kg_m3,
            g_m_s2,
            stations,
            omega_rad_s,
            sections,
        })
    }

    /// Sum over the stations of `value` of each section.
    pub fn sum(&self, value: impl Fn(&SectionTable) -> [[f64; 3]; 3]) -> Matrix6<f64> {
        let mut total = Matrix6::zeros();
        for (i, &s) in self.stations.section.iter().enumerate() {
            let m = strip_matrix(&value(&self.sections[s]), self.stations.x_m[i]);
            total += m * (self.stations.weight_m[i] * self.rho_kg_m3);
        }
        // the solver's own asymmetry is rounding and panel error; the flow has none
        (total + total.transpose()) * 0.5
    }

    /// Both variants over frequency. `a_zero` holds the values at the lowest frequency.
    pub fn radiation(&self) -> RawRadiation {
        let table = |twin: bool| {
            let pick = |f: &SectionFlow| {
                if twin {
                    (f.twin.a, f.twin.b)
                } else {
                    (f.isolated.a, f.isolated.b)
                }
            };
            let n = self.omega_rad_s.len();
            let a: Vec<_> = (0..n).map(|i| self.sum(|s| pick(&s.flow[i]).0)).collect();
            let b: Vec<_> = (0..n).map(|i| self.sum(|s| pick(&s.flow[i]).1)).collect();
            RadiationTable {
                omega_rad_s: self.omega_rad_s.clone(),
                a_zero: a[0],
                a,
                b,
                a_inf: self.sum(|s| {
                    if twin {
                        s.infinite.twin
                    } else {
                        s.infinite.isolated
                    }
                }),
            }
        };
        RawRadiation {
            omega_rad_s: self.omega_rad_s.clone(),
            twin: table(true),
            isolated: table(false),
        }
    }
}

/// T^T m T for a section at `x_m`.
pub fn strip_matrix(m: &[[f64; 3]; 3], x_m: f64) -> Matrix6<f64> {
    let mut t = Matrix3x6::zeros();
    t[(0, 1)] = 1.0;
    t[(0, 5)] = x_m;
    t[(1, 2)] = 1.0;
    t[(1, 4)] = -x_m;
    t[(2, 3)] = 1.0;
    let m = Matrix3::from_fn(|i, j| m[i][j]);
    t.transpose() * m * t
}

#[cfg(test)]
mod tests;
