//! Limits and drag as gains for Gaussian signals.
//!
//! # Equation
//! ```text
//! clip to [lo, hi], x ~ N(0, sigma^2):
//!   gain   N = P(lo < x < hi) = [erf(hi/(sqrt2 sigma)) - erf(lo/(sqrt2 sigma))] / 2
//!   mean   E[clip x] = lo F(lo) + hi (1 - F(hi)) + sigma (f(lo/sigma) - f(hi/sigma))
//! servo rate, e ~ N(0, sigma_e^2):  kappa = erf(R/(sqrt2 sigma_e))
//! |s| s, s ~ N(m, sigma^2):  slope E[2|s|] = 2 (sigma sqrt(2/pi) e^(-m^2/(2 sigma^2)) + m erf(m/(sqrt2 sigma)))
//! supply:  R_j = min(R, total sigma_j / sum sigma)      users taken to move together
//! ```
//!
//! # Symbols
//! N, kappa random-input describing functions; F, f normal distribution and density; R rate limit; e rate
//! that the position loop asks; s relative velocity, m its mean.
//!
//! # Valid when
//! The input of the limit is nearly Gaussian; what the limit adds beside the linear part (distortion)
//! is left out of the loop. A supply's users: in truth their demands rarely peak together, so the
//! shared limit is on the safe side.
//!
//! # Source
//! Gelb & Vander Velde (1968), Multiple-Input Describing Functions, chapter 2 and tables E; Bussgang's theorem.
//!
//! # Checked by
//! `clip_meets_a_monte_carlo`, `drag_slope_meets_quadrature`, `symmetric_clip_is_erf`.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use libm::erf;

/// Gain of a clip to [`lo`, `hi`] for a zero-mean Gaussian.
pub fn clip_gain(lo: f64, hi: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return if lo <= 0.0 && hi >= 0.0 { 1.0 } else { 0.0 };
    }
    let f = |x: f64| erf(x * FRAC_1_SQRT_2 / sigma);
    0.5 * (f(hi) - f(lo))
}

/// Mean of the clipped Gaussian.
pub fn clip_mean(lo: f64, hi: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return 0.0_f64.clamp(lo, hi);
    }
    let below = 0.5 * (1.0 + erf(lo * FRAC_1_SQRT_2 / sigma));
    let above = 0.5 * (1.0 - erf(hi * FRAC_1_SQRT_2 / sigma));
    let f = |x: f64| (-0.5 * (x / sigma).powi(2)).exp() / (2.0 * PI).sqrt();
    lo * below + hi * above + sigma * (f(lo) - f(hi))
}

/// Variance of the clipped Gaussian.
pub fn clip_variance(lo: f64, hi: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return 0.0;
    }
    let below = 0.5 * (1.0 + erf(lo * FRAC_1_SQRT_2 / sigma));
    let above = 0.5 * (1.0 - erf(hi * FRAC_1_SQRT_2 / sigma));
    // x f(x) vanishes at an open end
    let xf = |x: f64| {
        if x.is_finite() {
            x / sigma * (-0.5 * (x / sigma).powi(2)).exp() / (2.0 * PI).sqrt()
        } else {
            0.0
        }
    };
    let end = |x: f64, p: f64| if p > 0.0 { x * x * p } else { 0.0 };
    let middle = clip_gain(lo, hi, sigma) + xf(lo) - xf(hi);
    let square = end(lo, below) + end(hi, above) + sigma * sigma * middle;
    (square - clip_mean(lo, hi, sigma).powi(2)).max(0.0)
}

/// Gain of a symmetric limit at `limit`.
pub fn rate_gain(limit: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        1.0
    } else {
        erf(limit * FRAC_1_SQRT_2 / sigma)
    }
}

/// Slope of |s| s for s of mean `mean` and standard deviation `sigma`.
pub fn drag_speed(mean: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return 2.0 * mean.abs();
    }
    let x = mean / sigma;
    2.0 * (sigma * (2.0 / PI).sqrt() * (-0.5 * x * x).exp() + mean * erf(x * FRAC_1_SQRT_2))
}

/// Rate limit of user `j` of a supply that feeds `total`, given the deviations of its users' demands.
pub fn shared_limit(own: f64, total: f64, sigma: f64, sum: f64) -> f64 {
    if sum > 0.0 {
        own.min(total * sigma / sum)
    } else {
        own
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, generator};
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn symmetric_clip_is_erf() {
        // closed form of the symmetric limiter; published 0.6827 at one deviation
        assert!((clip_gain(-1.0, 1.0, 1.0) - 0.682_689_492_137).abs() < 1e-11);
        assert!((rate_gain(2.0, 1.0) - 0.954_499_736_104).abs() < 1e-11);
        assert!(clip_mean(-1.0, 1.0, 0.7).abs() < 1e-15);
        assert!((clip_gain(-1.0, f64::INFINITY, 1.0) - 0.841_344_746_069).abs() < 1e-11);
    }

    #[test]
    fn clip_meets_a_monte_carlo() {
        let mut rng = generator(5, 0, Purpose::Waves, 0);
        let n = 400_000;
        for (lo, hi, sigma) in [(-0.2, 0.35, 0.25), (-0.05, 0.3, 0.2), (-1.0, 0.1, 0.3)] {
            let (mut xy, mut y1, mut y2) = (0.0, 0.0, 0.0);
            for _ in 0..n {
                let x: f64 = StandardNormal.sample(&mut rng);
                let x = sigma * x;
                let y = x.clamp(lo, hi);
                xy += x * y;
                y1 += y;
                y2 += y * y;
            }
            let n = f64::from(n);
            let (gain, mean) = (xy / n / (sigma * sigma), y1 / n);
            // three deviations of a mean of n draws are 0.5 % of sigma
            assert!((gain - clip_gain(lo, hi, sigma)).abs() < 0.01, "{gain}");
            assert!((mean - clip_mean(lo, hi, sigma)).abs() < 0.005 * sigma);
            let variance = y2 / n - mean * mean;
            let want = clip_variance(lo, hi, sigma);
            assert!((variance / want - 1.0).abs() < 0.01, "{variance} {want}");
        }
    }

    #[test]
    fn drag_slope_meets_quadrature() {
        for (m, sigma) in [(0.0, 0.6), (0.3, 0.5), (-0.8, 0.2)] {
            let n = 200_000;
            let mut sum = 0.0;
            for i in 0..n {
                let x = -9.0 + 18.0 * (f64::from(i) + 0.5) / f64::from(n);
                let s: f64 = m + sigma * x;
                sum +=
                    2.0 * s.abs() * (-0.5 * x * x).exp() / (2.0 * PI).sqrt() * 18.0 / f64::from(n);
            }
            assert!((drag_speed(m, sigma) - sum).abs() < 1e-7, "{sum}"); // midpoint rule at the kink
        }
        let plain = crate::hydro::viscous::gaussian_speed(0.6);
        assert!((drag_speed(0.0, 0.6) - plain).abs() < 1e-12);
    }
}
