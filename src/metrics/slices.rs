//! Second moments of linear responses to a sea cut into slices of wave frequency and direction.
//!
//! # Equation
//! ```text
//! E x^2 = sum_k w_k |X_k|^2            E x y = sum_k w_k Re(conj(X_k) Y_k)
//! E x y' = sum_k w_k Re(conj(X_k) i omega_k Y_k)
//! m_n = sum_k w_k |omega_k|^n |X_k|^2
//! ```
//! The slices lie in wave frequency, so following seas, where several waves share one encounter
//! frequency and the density over it is infinite at its caustic, need no care: each slice brings
//! its variance at its own encounter frequency.
//!
//! # Symbols
//! w_k = S d omega d theta `weight_m2`, variance of the elevation in the slice, m2; omega_k
//! `omega_e_rad_s` signed encounter frequency, rad/s; X_k complex response per metre of wave
//! amplitude, time factor exp(+i omega_k t); y' rate of change of y.
//!
//! # Valid when
//! Linear responses; slices narrow against the responses' peaks.
//!
//! # Source
//! St Denis & Pierson (1953), Trans. SNAME 61; Bendat & Piersol, Random Data, ch. 6.
//!
//! # Checked by
//! `moments_of_two_lines_by_hand`, `a_record_has_the_same_moments`.

use num_complex::Complex64;

/// Encounter frequency below which motion counts as slow drift rather than ride, rad/s: a minute and
/// more a period, where course and speed keeping, not the waves' first order, decide.
pub const SLOW_RAD_S: f64 = 0.1;

/// A sea cut into slices, as the craft meets it.
#[derive(Clone, Copy, Debug)]
pub struct Slices<'a> {
    /// Variance of the elevation in each slice, m2.
    pub weight_m2: &'a [f64],
    /// Signed encounter frequency of each slice, rad/s.
    pub omega_e_rad_s: &'a [f64],
}

impl Slices<'_> {
    fn sum(&self, x: &[Complex64], f: impl Fn(f64) -> f64) -> f64 {
        self.weight_m2
            .iter()
            .zip(self.omega_e_rad_s)
            .zip(x)
            .map(|((w, o), x)| w * f(o.abs()) * x.norm_sqr())
            .sum()
    }

    /// Variance of a response.
    pub fn variance(&self, x: &[Complex64]) -> f64 {
        self.sum(x, |_| 1.0)
    }

    /// Standard deviation of a response.
    pub fn rms(&self, x: &[Complex64]) -> f64 {
        self.variance(x).sqrt()
    }

    /// Moment of order n of a response about zero encounter frequency, unit^2 (rad/s)^n.
    pub fn moment(&self, x: &[Complex64], n: i32) -> f64 {
        self.sum(x, |o| o.powi(n))
    }

    /// Variance behind a filter of power gain `gain` at an encounter frequency, rad/s.
    pub fn filtered(&self, x: &[Complex64], gain: impl Fn(f64) -> f64) -> f64 {
        self.sum(x, gain)
    }

    /// Covariance of two responses.
    pub fn covariance(&self, x: &[Complex64], y: &[Complex64]) -> f64 {
        let pairs = x.iter().zip(y);
        let terms = self.weight_m2.iter().zip(pairs);
        terms.map(|(w, (x, y))| w * (x.conj() * y).re).sum()
    }

    /// Covariance of a response with the rate of change of another.
    pub fn covariance_with_rate(&self, x: &[Complex64], y: &[Complex64]) -> f64 {
        let places = self.weight_m2.iter().zip(self.omega_e_rad_s);
        let terms = places.zip(x.iter().zip(y));
        // Re(conj(x) i omega y)
        terms
            .map(|((w, o), (x, y))| -w * o * (x.conj() * y).im)
            .sum()
    }

    /// Share of a response's variance slower than [`SLOW_RAD_S`]; zero without any variance.
    pub fn slow_frac(&self, x: &[Complex64]) -> f64 {
        let slow = self.sum(x, |o| f64::from(u8::from(o < SLOW_RAD_S)));
        let all = self.variance(x);
        if all > 0.0 { slow / all } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::stats;

    const TOL: f64 = 1e-12; // rounding of a few products

    #[test]
    fn moments_of_two_lines_by_hand() {
        // one line met at 2 rad/s, one that the craft overtakes: -0.05 rad/s
        let s = Slices {
            weight_m2: &[0.5, 2.0],
            omega_e_rad_s: &[2.0, -0.05],
        };
        let x = [Complex64::new(0.0, 2.0), Complex64::new(1.0, 1.0)];
        let y = [Complex64::new(3.0, 0.0), Complex64::new(0.0, 1.0)];
        let close = |got: f64, want: f64| assert!((got - want).abs() < TOL, "{got} {want}");
        close(s.variance(&x), 0.5 * 4.0 + 2.0 * 2.0);
        close(s.moment(&x, 2), 0.5 * 16.0 + 2.0 * 2.0 * 0.0025);
        close(s.covariance(&x, &y), 2.0);
        // first line: conj(2i) (i 2 3) = 12; second: conj(1+i) (-0.05 i) (i) = 0.05 (1 - i)
        close(s.covariance_with_rate(&x, &y), 0.5 * 12.0 + 2.0 * 0.05);
        close(s.covariance_with_rate(&x, &x), 0.0);
        close(s.slow_frac(&x), 4.0 / 6.0);
    }

    #[test]
    fn a_record_has_the_same_moments() {
        let (w, o) = (vec![0.5 * 0.3 * 0.3, 0.5 * 0.2 * 0.2], vec![0.9, -0.4]);
        let s = Slices {
            weight_m2: &w,
            omega_e_rad_s: &o,
        };
        let x = [
            Complex64::from_polar(1.3, 0.4),
            Complex64::from_polar(0.6, 2.0),
        ];
        let y = [
            Complex64::from_polar(0.7, -1.1),
            Complex64::from_polar(2.0, 0.3),
        ];
        let at = |r: &[Complex64], t: f64, rate: bool| -> f64 {
            (0..2)
                .map(|k| {
                    let turn = if rate {
                        Complex64::new(0.0, o[k])
                    } else {
                        Complex64::ONE
                    };
                    (2.0 * w[k]).sqrt() * (r[k] * turn * Complex64::cis(o[k] * t)).re
                })
                .sum()
        };
        // whole periods of both lines and of their beats
        let n = 40_000;
        let dt = std::f64::consts::TAU / 0.1 / f64::from(n);
        let product = |rate: bool| {
            let p: Vec<f64> = (0..n)
                .map(|i| {
                    let t = dt * f64::from(i);
                    at(&x, t, false) * at(&y, t, rate)
                })
                .collect();
            stats::mean(&p)
        };
        assert!((product(false) - s.covariance(&x, &y)).abs() < 1e-9); // whole periods: rounding
        assert!((product(true) - s.covariance_with_rate(&x, &y)).abs() < 1e-9);
    }
}
