//! Directional spreading.
//!
//! # Equation
//! ```text
//! D(th) = Gamma(s + 1) / (2 sqrt(pi) Gamma(s + 1/2)) cos^2s(th/2),  |th| <= pi
//! a1 = E[cos th] = s / (s + 1),   circular spread = sqrt(2 (1 - a1))
//! ```
//!
//! # Symbols
//! th `theta_rad` angle from the mean direction; s exponent; D density, 1/rad.
//!
//! # Valid when
//! One exponent for all frequencies of a system.
//!
//! # Source
//! Longuet-Higgins, Cartwright & Smith (1963), Ocean Wave Spectra, 111-136.
//!
//! # Checked by
//! `published_densities`, `quantiles_invert_the_distribution`,
//! `a_large_exponent_becomes_long_crested`.

use std::f64::consts::PI;

use crate::error::{Problem, Result};
use crate::spec::sea::SpreadingSpec;

/// Cells of the tabulated distribution.
const CELLS: usize = 1024;

/// The cos-2s distribution with its quantiles.
#[derive(Clone, Debug, PartialEq)]
pub struct Spreading {
    s: f64,
    /// Distribution at equally spaced angles over the half circle, 0 at the mean: from 0 to 1/2.
    half: Vec<f64>,
    /// The angle up to which it is tabulated, rad.
    limit_rad: f64,
}

impl Spreading {
    /// From the sea file.
    ///
    /// # Errors
    /// An exponent outside 0.5 to 1000.
    pub fn of(spec: SpreadingSpec) -> Result<Spreading> {
        let SpreadingSpec::Cos2s { s } = spec;
        if !(0.5..=1000.0).contains(&s) {
            return Err(Problem::at(
                "spreading.cos2s.s",
                format!("is {s}, must lie between 0.5 and 1000"),
            )
            .hint(
                "wind seas have about 2 to 15, swell 25 to 75; leave spreading out for long crests",
            )
            .into());
        }
        Ok(Spreading::cos2s(s))
    }

    /// With exponent s.
    pub fn cos2s(s: f64) -> Spreading {
        // beyond eight spreads nothing is left; a table over the half circle would be too coarse
        let limit_rad = (8.0 * (2.0 / (s + 1.0)).sqrt()).min(PI);
        let h = limit_rad / CELLS as f64;
        let d = |th: f64| cos2s_density(s, th);
        let mut half = Vec::with_capacity(CELLS + 1);
        let mut sum = 0.0;
        half.push(0.0);
        for i in 0..CELLS {
            let a = i as f64 * h;
            sum += h / 6.0 * (d(a) + 4.0 * d(a + 0.5 * h) + d(a + h));
            half.push(sum);
        }
        for x in &mut half {
            *x *= 0.5 / sum;
        }
        Spreading { s, half, limit_rad }
    }

    /// Density at an angle from the mean, 1/rad.
    pub fn density(&self, theta_rad: f64) -> f64 {
        cos2s_density(self.s, theta_rad)
    }

    /// First Fourier coefficient E[cos theta].
    pub fn a1(&self) -> f64 {
        self.s / (self.s + 1.0)
    }

    /// Circular spread, rad.
    pub fn spread_rad(&self) -> f64 {
        (2.0 * (1.0 - self.a1())).sqrt()
    }

    /// Angle from the mean (rad) below which the share `p` of the energy lies, 0 < p < 1.
    pub fn quantile_rad(&self, p: f64) -> f64 {
        let q = (p - 0.5).abs();
        let i = self.half.partition_point(|&x| x <= q).clamp(1, CELLS);
        let (a, b) = (self.half[i - 1], self.half[i]);
        let f = if b > a {
            ((q - a) / (b - a)).min(1.0)
        } else {
            0.0
        };
        let th = (i as f64 - 1.0 + f) * self.limit_rad / CELLS as f64;
        th.copysign(p - 0.5)
    }
}

/// Density of the cos-2s distribution, 1/rad, zero beyond half a turn.
pub fn cos2s_density(s: f64, theta_rad: f64) -> f64 {
    if theta_rad.abs() >= PI {
        return 0.0;
    }
    let log = libm::lgamma(s + 1.0) - libm::lgamma(s + 0.5);
    log.exp() / (2.0 * PI.sqrt()) * (theta_rad / 2.0).cos().powf(2.0 * s)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_densities() {
        // references/A_waves.json cos2s.*: s, D at 0 30 60 90 deg, a1, spread
        for (s, d, a1, spread) in [
            (
                1.0,
                [
                    std::f64::consts::FRAC_1_PI,
                    0.29698717,
                    0.23873241,
                    0.15915494,
                ],
                0.5,
                57.29578,
            ),
            (
                2.0,
                [0.42441318, 0.36945707, 0.23873241, 0.1061033],
                0.66666667,
                46.781808,
            ),
            (
                10.0,
                [0.90327813, 0.45154086, 0.050866766, 0.00088210755],
                0.90909091,
                24.431002,
            ),
            (
                25.0,
                [1.4175435, 0.25045246, 0.0010667631, 4.2246089e-08],
                0.96153846,
                15.89099,
            ),
        ] {
            let sp = Spreading::cos2s(s);
            for (i, want) in d.iter().enumerate() {
                let got = sp.density((30.0 * i as f64).to_radians());
                assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}"); // asked by the references
            }
            assert!((sp.a1() - a1).abs() < 1e-8);
            assert!((sp.spread_rad().to_degrees() / spread - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn quantiles_invert_the_distribution() {
        // second method: a1 as the mean cosine over equal shares of the energy
        for s in [1.0, 4.0, 25.0, 300.0] {
            let sp = Spreading::cos2s(s);
            let n = 4000;
            let mean: f64 = (0..n)
                .map(|i| sp.quantile_rad((f64::from(i) + 0.5) / f64::from(n)).cos())
                .sum::<f64>()
                / f64::from(n);
            assert!((mean - sp.a1()).abs() < 1e-4, "{s} {mean} {}", sp.a1()); // midpoint rule, 4000 shares
            assert!(sp.quantile_rad(0.5).abs() < 1e-12);
            assert!(
                (sp.quantile_rad(0.2) + sp.quantile_rad(0.8)).abs() < 1e-9,
                "mirror"
            );
        }
    }

    #[test]
    fn a_large_exponent_becomes_long_crested() {
        let sp = Spreading::cos2s(1000.0);
        assert!(sp.quantile_rad(0.99) < 0.11);
    }
}
