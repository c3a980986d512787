//! Solutions at zero and infinite frequency.
//!
//! # Equation
//! Infinite: φ = 0 on the surface, G = ln r - ln r1. Zero: rigid surface, G = ln r + ln r1; from
//! the full Green function G -> ln r + ln r1 + 2(γ + ln K) + 2 i π, so a net outflow Q_j = ∫ n_j ds
//! leaves A_ij -> A_ij(rigid) - (γ + ln K) Q_i Q_j/π and B_ij -> ω Q_i Q_j (Q over both hulls for
//! the twin; twice the hull's own for the isolated ones).
//!
//! # Symbols
//! As in `solve`; A over density.
//!
//! # Valid when
//! The regular part is the constant of the expansion for small K; the next term is O(K ln² K).
//!
//! # Source
//! Ursell (1949), QJMAM 2; Newman (1977), Marine Hydrodynamics, 6.17-6.19.
//!
//! # Checked by
//! `limits_of_the_semicircle`, `limits_of_the_half_ellipse`, `limits_of_the_box`,
//! `limits_of_lewis_sections`, `submerged_circle_limits`, `solution_runs_into_both_limits`.

use crate::error::{Error, Result};
use crate::hydro::section::influence::Influence;
use crate::hydro::section::real_lu::RealLu;
use crate::hydro::section::solve::SectionSolver;
use crate::math::expint::EULER_GAMMA;

/// One matrix for each variant of a section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SectionLimit {
    /// Added mass over density with interaction, modes sway, heave, roll.
    pub twin: [[f64; 3]; 3],
    /// Without interaction.
    pub isolated: [[f64; 3]; 3],
}

/// Added mass towards zero frequency: A = regular + log_k ln(K), K = ω²/g in 1/m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZeroFrequency {
    /// Constant part.
    pub regular: SectionLimit,
    /// Factor of ln K (zero or negative on the diagonal).
    pub log_k: SectionLimit,
    /// B/ω in the limit.
    pub damping_over_omega: SectionLimit,
}

impl SectionSolver {
    /// Added mass at infinite frequency.
    ///
    /// # Errors
    /// When the system is singular.
    pub fn limit_infinite(&self) -> Result<SectionLimit> {
        self.limit(-1.0)
    }

    /// Added mass towards zero frequency: constant, factor of ln K, and B/ω.
    ///
    /// # Errors
    /// When the system is singular.
    pub fn limit_zero(&self) -> Result<ZeroFrequency> {
        let rigid = self.limit(1.0)?;
        let mut flux = [0.0; 3];
        for q in 0..self.panels.body {
            let n = self.panels.mode_normals(q);
            for j in 0..3 {
                flux[j] += n[j] * self.panels.length[q];
            }
        }
        let pi = std::f64::consts::PI;
        let zero = [[0.0; 3]; 3];
        let mut damping = SectionLimit {
            twin: zero,
            isolated: zero,
        };
        // sway has no outflow; roll of one hull has its heave's, times the lever
        damping.twin[1][1] = 4.0 * flux[1] * flux[1];
        for (i, j) in [(0, 0), (0, 2), (2, 0), (2, 2), (1, 1)] {
            damping.isolated[i][j] = 2.0 * flux[i] * flux[j];
        }
        let scaled = |m: &[[f64; 3]; 3], f: f64| m.map(|r| r.map(|x| x * f));
        let log_k = SectionLimit {
            twin: scaled(&damping.twin, -1.0 / pi),
            isolated: scaled(&damping.isolated, -1.0 / pi),
        };
        let mut regular = rigid;
        for i in 0..3 {
            for j in 0..3 {
                regular.twin[i][j] += EULER_GAMMA * log_k.twin[i][j];
                regular.isolated[i][j] += EULER_GAMMA * log_k.isolated[i][j];
            }
        }
        Ok(ZeroFrequency {
            regular,
            log_k,
            damping_over_omega: damping,
        })
    }

    /// G = ln r + image ln r1.
    fn limit(&self, image: f64) -> Result<SectionLimit> {
        let own = self.limit_layers(&self.own, image);
        let other = self.limit_layers(&self.other, image);
        let zero = [[0.0; 3]; 3];
        let mut out = SectionLimit {
            twin: zero,
            isolated: zero,
        };
        self.limit_modes(&own, &other, 0.0, &[0, 1, 2], &mut out.isolated)?;
        self.limit_modes(&own, &other, 1.0, &[1], &mut out.twin)?;
        self.limit_modes(&own, &other, -1.0, &[0, 2], &mut out.twin)?;
        Ok(out)
    }

    fn limit_layers(&self, f: &Influence, image: f64) -> (Vec<f64>, [Vec<f64>; 3]) {
        let (m, v, n) = (
            self.panels.len(),
            self.panels.vertices.len(),
            self.panels.body,
        );
        let mut matrix = vec![0.0; n * n];
        for p in 0..n {
            for q in 0..n {
                let turn = f.ln_w[p * v + (q + 1) % v].im - f.ln_w[p * v + q].im;
                matrix[p * n + q] = f.angle[p * m + q] - image * turn;
            }
        }
        let rhs = std::array::from_fn(|j| {
            (0..n)
                .map(|p| f.direct[p][j] + image * f.image[p][j])
                .collect()
        });
        (matrix, rhs)
    }

    fn limit_modes(
        &self,
        own: &(Vec<f64>, [Vec<f64>; 3]),
        other: &(Vec<f64>, [Vec<f64>; 3]),
        sign: f64,
        modes: &[usize],
        out: &mut [[f64; 3]; 3],
    ) -> Result<()> {
        let n = self.panels.body;
        let mut a: Vec<f64> = own
            .0
            .iter()
            .zip(&other.0)
            .map(|(x, y)| x + sign * y)
            .collect();
        for p in 0..n {
            a[p * n + p] += std::f64::consts::PI;
        }
        let lu = RealLu::factor(n, a)
            .ok_or_else(|| Error::new("section equations are singular in the limit"))?;
        for &j in modes {
            let rhs: Vec<f64> = own.1[j]
                .iter()
                .zip(&other.1[j])
                .map(|(x, y)| x + sign * y)
                .collect();
            let phi = lu.solve(&rhs);
            for &i in modes {
                if (i == 1) != (j == 1) {
                    continue; // heave does not couple with sway and roll over both hulls
                }
                out[i][j] = (0..n)
                    .map(|q| -2.0 * phi[q] * self.panels.mode_normals(q)[i] * self.panels.length[q])
                    .sum();
            }
        }
        Ok(())
    }
}
