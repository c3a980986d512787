//! Largest values of independent runs or blocks: Gumbel fit with intervals.
//!
//! # Equation
//! ```text
//! b0 = mean, b1 = sum (i - 1)/(n - 1) x_(i) / n;   L-moments l1 = b0, l2 = 2 b1 - b0
//! scale = l2/ln 2,  mode = l1 - 0.57722 scale;     of the largest of m blocks: mode + scale ln m, same scale
//! ```
//! Intervals are from the parametric bootstrap of the pivot (x_fit* - x_fit)/scale*, which has the same
//! law for every mode and scale: coverage is right for small samples too, but for the number of draws.
//!
//! # Symbols
//! x_(i) i-th smallest of n block maxima; * a fit to a draw from the standard law.
//!
//! # Valid when
//! Independent maxima of blocks long enough that the parent's tail is exponential: for Gaussian
//! responses, hundreds of peaks a block. Nothing is known beyond the model about far tails.
//!
//! # Source
//! Hosking (1990), J. R. Statist. Soc. B 52, 105 (L-moments of the Gumbel law); location-scale pivots:
//! Lawless (2003), Statistical Models and Methods for Lifetime Data, chapter 5. From memory.
//!
//! # Checked by
//! `l_moments_by_hand`, `quantile_interval_covers`.

use super::Interval;
use super::fit::Gumbel;
use crate::math::rng::{Purpose, Stream};

/// Draws of the bootstrap.
const DRAWS: usize = 1000;

/// Gumbel law by L-moments; none below two samples or without scatter.
pub fn gumbel_by_l_moments(x: &[f64]) -> Option<Gumbel> {
    let n = x.len() as f64;
    let mut s = x.to_vec();
    s.sort_by(f64::total_cmp);
    let b0 = super::mean(&s);
    let b1 = s.iter().enumerate().map(|(i, v)| i as f64 * v).sum::<f64>() / (n * (n - 1.0));
    let scale = (2.0 * b1 - b0) / std::f64::consts::LN_2;
    (x.len() >= 2 && scale > 0.0).then(|| {
        let unit = Gumbel {
            mode: 0.0,
            scale: 1.0,
        };
        Gumbel {
            mode: b0 - unit.mean() * scale,
            scale,
        }
    })
}

/// Most probable and expected largest of an exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Largest {
    /// Most probable largest.
    pub most_probable: Interval,
    /// Expected largest.
    pub expected: Interval,
}

/// Largest of `blocks` blocks from the maxima of single blocks; none as [`gumbel_by_l_moments`].
pub fn largest(x: &[f64], blocks: f64, level: f64, seed: u64) -> Option<Largest> {
    let unit = Gumbel {
        mode: 0.0,
        scale: 1.0,
    };
    let up = blocks.ln();
    Some(Largest {
        most_probable: located(x, up, level, seed)?,
        expected: located(x, up + unit.mean(), level, seed)?,
    })
}

/// Quantile `p` of the maxima of single blocks.
pub fn quantile(x: &[f64], p: f64, level: f64, seed: u64) -> Option<Interval> {
    located(x, -(-p.ln()).ln(), level, seed)
}

/// mode + `up` scale, with the interval of its pivot.
fn located(x: &[f64], up: f64, level: f64, seed: u64) -> Option<Interval> {
    let fit = gumbel_by_l_moments(x)?;
    let mut rng = Stream::new(seed, 0, Purpose::Bootstrap);
    let mut pivots = Vec::with_capacity(DRAWS);
    for _ in 0..DRAWS {
        let draw: Vec<f64> = x
            .iter()
            .map(|_| -(-(1.0 - rng.uniform()).ln()).max(f64::MIN_POSITIVE).ln())
            .collect();
        let f = gumbel_by_l_moments(&draw)?;
        pivots.push((f.mode + up * f.scale - up) / f.scale);
    }
    let value = fit.mode + up * fit.scale;
    Some(Interval {
        value,
        low: value - fit.scale * super::quantile(&pivots, 0.5 + 0.5 * level),
        high: value - fit.scale * super::quantile(&pivots, 0.5 - 0.5 * level),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 1, 2, 4: b0 = 7/3, b1 = (2 + 8)/6, l2 = 1.
    #[test]
    fn l_moments_by_hand() {
        let g = gumbel_by_l_moments(&[4.0, 1.0, 2.0]).unwrap();
        assert!((g.scale - 1.0 / std::f64::consts::LN_2).abs() < 1e-12);
        assert!((g.mean() - 7.0 / 3.0).abs() < 1e-12);
        assert!(gumbel_by_l_moments(&[1.0]).is_none());
        assert!(gumbel_by_l_moments(&[1.0, 1.0]).is_none());
    }

    /// The law of `I_statistics.json`, `gumbel`: mode 10, scale 1.5, one in 100 at 16.900224.
    /// Least count: binomial, 3.09 deviations.
    #[test]
    fn quantile_interval_covers() {
        let (trials, truth) = (300u32, 16.900224);
        let law = Gumbel {
            mode: 10.0,
            scale: 1.5,
        };
        let mut rng = Stream::new(5, 0, Purpose::Other);
        let (mut q, mut most, mut mean) = (0, 0, 0);
        for seed in 0..trials {
            let x: Vec<f64> = (0..20)
                .map(|_| law.quantile((1.0 - rng.uniform()).min(1.0 - 1e-16)))
                .collect();
            q += u32::from(quantile(&x, 0.99, 0.95, seed.into()).unwrap().holds(truth));
            let l = largest(&x, 10.0, 0.95, seed.into()).unwrap();
            let up = 10.0 + 1.5 * 10f64.ln();
            most += u32::from(l.most_probable.holds(up));
            mean += u32::from(l.expected.holds(up + 1.5 * 0.577_215_664_9));
        }
        let n = f64::from(trials);
        let (off, by) = (0.95 * n, 3.09 * (n * 0.95 * 0.05).sqrt());
        for count in [q, most, mean] {
            assert!((f64::from(count) - off).abs() <= by, "{q} {most} {mean}");
        }
    }
}
