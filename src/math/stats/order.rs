//! Quantiles and exceedance without a distribution: from the ranks of independent samples.
//!
//! # Equation
//! ```text
//! quantile p   x_(r) ... x_(s),  r = most with B(r-1) <= a/2,  s = least with B(s-1) >= 1 - a/2
//! exceedance   share of samples above x -+ sqrt(ln(2/a)/2n), for all x together
//! ```
//!
//! # Symbols
//! x_(i) i-th smallest of n samples, B distribution function of the binomial (n, p), a = 1 - level.
//!
//! # Valid when
//! Samples independent, of one continuous distribution; ties only widen. Where n is too small for an end,
//! that end is infinite.
//!
//! # Source
//! David & Nagaraja (2003), Order Statistics, 3rd ed., section 7.1. Massart (1990), Annals of Probability
//! 18, 1269-1283: the constant of the Dvoretzky-Kiefer-Wolfowitz band.
//!
//! # Checked by
//! `ranks_of_the_median`, `quantile_intervals_hold_their_level`, `the_band_holds_its_level`

use statrs::distribution::{Binomial, DiscreteCDF};

use super::{Interval, quantile};

/// Ranks, from 1, of the samples that bound quantile `p`; 0 and n + 1 stand for no bound.
pub fn ranks(n: usize, p: f64, level: f64) -> (usize, usize) {
    let Ok(b) = Binomial::new(p.clamp(0.0, 1.0), n as u64) else {
        return (0, n + 1);
    };
    let tail = 0.5 * (1.0 - level);
    let below = |k: usize| b.cdf(k as u64);
    let r = (1..=n).take_while(|r| below(r - 1) <= tail).last();
    let s = (1..=n).find(|s| below(s - 1) >= 1.0 - tail);
    (r.unwrap_or(0), s.unwrap_or(n + 1))
}

/// Quantile `p` of the distribution behind independent samples, with its interval; infinite ends where
/// there are too few.
pub fn quantile_interval(x: &[f64], p: f64, level: f64) -> Interval {
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (r, s) = ranks(x.len(), p, level);
    let at = |rank: usize| sorted.get(rank.wrapping_sub(1)).copied();
    Interval {
        value: quantile(x, p),
        low: at(r).unwrap_or(f64::NEG_INFINITY),
        high: at(s).unwrap_or(f64::INFINITY),
    }
}

/// Half width of the band around an empirical distribution of `n` samples.
pub fn band_half_width(n: usize, level: f64) -> f64 {
    ((2.0 / (1.0 - level)).ln() / (2.0 * n.max(1) as f64)).sqrt()
}

/// Share of samples above each of them, ascending: `(x, share, low, high)`.
pub fn exceedance(x: &[f64], level: f64) -> Vec<[f64; 4]> {
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (n, half) = (x.len() as f64, band_half_width(x.len(), level));
    sorted
        .into_iter()
        .enumerate()
        .map(|(i, v)| {
            let share = 1.0 - (i as f64 + 1.0) / n;
            [v, share, (share - half).max(0.0), (share + half).min(1.0)]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    #[test]
    fn ranks_of_the_median() {
        // by hand from the binomial (n, 1/2): 5/1024 x ... ; the table of the sign test, common practice
        assert_eq!(ranks(10, 0.5, 0.95), (2, 9)); // 1 + 10 <= 25.6 < 56 of 1024
        assert_eq!(ranks(20, 0.5, 0.95), (6, 15));
        assert_eq!(ranks(5, 0.5, 0.95), (0, 6), "1 of 32 is more than 2.5 %");
        assert_eq!(ranks(6, 0.5, 0.95), (1, 6));
        let i = quantile_interval(&[3.0, 1.0, 2.0], 0.5, 0.95);
        assert!(i.low.is_infinite() && i.high.is_infinite() && (i.value - 2.0).abs() < 1e-15);
    }

    const TRIALS: u64 = 4000;

    #[test]
    fn quantile_intervals_hold_their_level() {
        // exponential: quantile p is -ln(1 - p)
        for (n, p) in [(12, 0.5), (30, 0.9), (60, 0.9), (25, 0.2)] {
            let truth = -f64::ln(1.0 - p);
            let mut held = 0;
            for t in 0..TRIALS {
                let mut s = Stream::with_index(2, t, Purpose::Other, n);
                let x: Vec<f64> = (0..n).map(|_| -(1.0 - s.uniform()).ln()).collect();
                held += u64::from(quantile_interval(&x, p, 0.95).holds(truth));
            }
            let share = held as f64 / TRIALS as f64;
            // exact or more: three standard errors below 0.95 would be no chance
            assert!(share > 0.95 - 0.0104, "{n} {p}: {share}");
        }
    }

    #[test]
    fn the_band_holds_its_level() {
        let mut held = 0;
        for t in 0..TRIALS {
            let mut s = Stream::new(3, t, Purpose::Other);
            let x: Vec<f64> = (0..20).map(|_| s.uniform()).collect();
            let e = exceedance(&x, 0.95);
            // uniform: the truth is 1 - x, and the steps stand at the samples
            let step = 1.0 / 20.0;
            let half = band_half_width(20, 0.95);
            let inside = e.iter().all(|[x, share, ..]| {
                (1.0 - x - share).abs() <= half && (1.0 - x - share - step).abs() <= half
            });
            held += u64::from(inside);
        }
        let share = held as f64 / TRIALS as f64;
        assert!(share > 0.95 - 0.0104, "{share}");
        let e = exceedance(&[2.0, 1.0], 0.95);
        assert!((e[0][1] - 0.5).abs() < 1e-15 && e[1][1].abs() < 1e-15);
    }
}
