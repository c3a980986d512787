//! Quantiles and exceedance curves with intervals that no distribution is assumed for.
//!
//! # Equation
//! ```text
//! P(X_(l) <= x_p <= X_(u)) = B(u - 1; n, p) - B(l - 1; n, p)       B binomial distribution function
//! |F_n - F| <= sqrt(ln(2/alpha)/(2 n)) everywhere, with probability 1 - alpha or more
//! ```
//!
//! # Symbols
//! X_(i) i-th smallest of n samples; x_p quantile; F_n share of samples at or below; alpha = 1 - level.
//!
//! # Valid when
//! Independent samples of one continuous distribution. Samples of one correlated record are not: use
//! one number a record, or the intervals of [`super::record`].
//!
//! # Source
//! David & Nagaraja (2003), Order Statistics, 3rd ed., section 7.1; Massart (1990), Annals of
//! Probability 18, 1269 (the constant 2 of Dvoretzky, Kiefer & Wolfowitz 1956). From memory.
//!
//! # Checked by
//! `ranks_have_their_coverage`, `both_intervals_cover`.

use statrs::distribution::{Binomial, DiscreteCDF};

use super::Interval;
use super::sample::clopper_pearson;

/// Quantile `p` with the order statistics around it: each side leaves out at most half of what the
/// level does. A side that the samples are too few for is infinite.
pub fn quantile_interval(x: &[f64], p: f64, level: f64) -> Interval {
    let mut s = x.to_vec();
    s.sort_by(f64::total_cmp);
    let n = s.len();
    let side = 0.5 - 0.5 * level;
    let none = (f64::NEG_INFINITY, f64::INFINITY);
    let (low, high) = Binomial::new(p, n as u64).map_or(none, |b| {
        // X_(l) > x_p when fewer than l samples lie below: B(l - 1) <= side
        let l = (1..=n).take_while(|l| b.cdf(*l as u64 - 1) <= side).last();
        // X_(u) < x_p when u or more lie below: 1 - B(u - 1) <= side
        let u = (1..=n).find(|u| b.sf(*u as u64 - 1) <= side);
        (
            l.map_or(none.0, |l| s[l - 1]),
            u.map_or(none.1, |u| s[u - 1]),
        )
    });
    Interval {
        value: super::quantile(x, p),
        low,
        high,
    }
}

/// One point of an exceedance curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exceedance {
    /// Value.
    pub x: f64,
    /// Share of samples above it, with the exact interval for this point alone.
    pub share: Interval,
    /// Limits that hold at all points together.
    pub together: [f64; 2],
}

/// Half-width of the band that holds everywhere.
pub fn band_half_width(n: usize, level: f64) -> f64 {
    ((2.0 / (1.0 - level)).ln() / (2.0 * n as f64)).sqrt()
}

/// Share of samples above each sample, ascending.
pub fn exceedance(x: &[f64], level: f64) -> Vec<Exceedance> {
    let mut s = x.to_vec();
    s.sort_by(f64::total_cmp);
    let (n, half) = (s.len(), band_half_width(s.len(), level));
    let point = |(i, x): (usize, f64)| {
        let share = clopper_pearson((n - 1 - i) as u64, n as u64, level);
        Exceedance {
            x,
            share,
            together: [(share.value - half).max(0.0), (share.value + half).min(1.0)],
        }
    };
    s.iter().copied().enumerate().map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    /// Median of ten: ranks 2 and 9 hold 1 - 2 (1 + 10)/1024 = 97.85 %, ranks 3 and 8 only 89.06 %.
    #[test]
    fn ranks_have_their_coverage() {
        let x: Vec<f64> = (1..=10).map(f64::from).collect();
        let i = quantile_interval(&x, 0.5, 0.95);
        assert!(
            (i.low - 2.0).abs() < 1e-12 && (i.high - 9.0).abs() < 1e-12,
            "{i:?}"
        );
        let i = quantile_interval(&x, 0.5, 0.89);
        assert!(
            (i.low - 3.0).abs() < 1e-12 && (i.high - 8.0).abs() < 1e-12,
            "{i:?}"
        );
        assert!(quantile_interval(&x, 0.99, 0.95).high.is_infinite());
    }

    /// Uniform samples: the truth is known everywhere. Least count: binomial, 3.09 deviations.
    #[test]
    fn both_intervals_cover() {
        let trials = 1000u32;
        let mut rng = Stream::new(3, 0, Purpose::Other);
        let (mut quantile, mut point, mut band) = (0, 0, 0);
        for _ in 0..trials {
            let x: Vec<f64> = (0..60).map(|_| rng.uniform()).collect();
            quantile += u32::from(quantile_interval(&x, 0.8, 0.95).holds(0.8));
            let above = x.iter().filter(|v| **v > 0.7).count() as u64;
            point += u32::from(clopper_pearson(above, 60, 0.95).holds(0.3));
            let half = band_half_width(60, 0.95);
            let curve = exceedance(&x, 0.95);
            // the share jumps by 1/n at a sample: both sides of the jump
            band += u32::from(curve.iter().all(|e| {
                let off = e.share.value - (1.0 - e.x);
                off.abs() <= half && (off + 1.0 / 60.0).abs() <= half
            }));
        }
        let n = f64::from(trials);
        let least = 0.95 * n - 3.09 * (n * 0.95 * 0.05).sqrt();
        for count in [quantile, point, band] {
            assert!(f64::from(count) >= least, "{quantile} {point} {band}");
        }
    }
}
