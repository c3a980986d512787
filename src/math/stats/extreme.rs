//! Largest values: of one record from its amplitudes, of many records from the largest of each.
//!
//! # Equation
//! ```text
//! of n amplitudes    Rayleigh   RMS sqrt(2 ln n)            Weibull   s (ln n)^(1/k)       (most probable)
//! block maxima       b0 = mean, b1 = sum (i - 1)/(n - 1) x_(i) / n;   L-moments l1 = b0, l2 = 2 b1 - b0
//! Gumbel by them     scale = l2/ln 2,  mode = l1 - 0.57722 scale
//! of m blocks        mode + scale ln m most probable, the same scale;  quantile p: mode - scale ln(-ln p)
//! ```
//! Intervals are from the parametric bootstrap of the pivot (x* - x)/scale*, which has the same law for every
//! mode and scale: coverage is right for small samples too, but for the number of draws.
//!
//! # Symbols
//! RMS about the mean; k, s shape and scale of a Weibull law; x_(i) i-th smallest of n block maxima; * a fit
//! to a draw from the standard law, x what it should have found.
//!
//! # Valid when
//! Rayleigh: narrow Gaussian records. Weibull: amplitudes alike in law, as found in the record at hand. Gumbel:
//! independent blocks long enough that the tail of a single amplitude is exponential: dozens of amplitudes or
//! more. Nothing is known beyond the model about far tails; rare events are searched for by
//! subset simulation instead.
//!
//! # Source
//! Longuet-Higgins (1952) and Ochi (1973), J. Ship Res. 17, for Rayleigh; Gumbel (1958), Statistics of
//! Extremes. Hosking (1990), J. R. Statist. Soc. B 52, 105: L-moments of the Gumbel law. Pivots: Lawless
//! (2003), Statistical Models and Methods for Lifetime Data, ch. 5. From memory.
//!
//! # Checked by
//! `l_moments_by_hand`, `quantile_intervals_of_gumbel_cover`, `weibull_meets_rayleigh`.

use super::Interval;
use super::fit::{Gumbel, Weibull};
use crate::math::rng::{Purpose, Stream};

/// Draws of the bootstrap.
const DRAWS: usize = 1000;
/// Mode zero, scale one.
const STANDARD: Gumbel = Gumbel {
    mode: 0.0,
    scale: 1.0,
};

/// Most probable largest of `n` Rayleigh amplitudes of a record with this RMS about its mean; zero below two.
pub fn rayleigh_largest(rms: f64, n: usize) -> f64 {
    rms * (2.0 * (n.max(1) as f64).ln()).sqrt()
}

/// Most probable largest of `n` amplitudes of a Weibull law; zero below two.
pub fn weibull_largest(law: &Weibull, n: usize) -> f64 {
    law.scale * (n.max(1) as f64).ln().powf(1.0 / law.k)
}

/// Gumbel law by L-moments; none below two samples or without scatter.
pub fn gumbel_by_l_moments(x: &[f64]) -> Option<Gumbel> {
    let mut s = x.to_vec();
    s.sort_by(f64::total_cmp);
    let n = s.len() as f64;
    let b0 = super::mean(&s);
    let b1 = s.iter().enumerate().map(|(i, v)| i as f64 * v).sum::<f64>() / (n * (n - 1.0));
    let scale = (2.0 * b1 - b0) / std::f64::consts::LN_2;
    (s.len() >= 2 && scale > 0.0).then(|| Gumbel {
        mode: b0 - STANDARD.mean() * scale,
        scale,
    })
}

/// Fits to draws of some number of block maxima from the standard law: what intervals of all such fits need.
#[derive(Clone, Debug)]
pub struct Pivots {
    fits: Vec<Gumbel>,
}

impl Pivots {
    /// For fits to `n` block maxima; without any below two.
    pub fn new(n: usize, seed: u64) -> Self {
        let mut rng = Stream::with_index(seed, n as u64, Purpose::Bootstrap, 0);
        let draw =
            |rng: &mut Stream| STANDARD.quantile(0.5f64.mul_add(f64::EPSILON, rng.uniform()));
        let fits = (0..DRAWS).filter_map(|_| {
            let x: Vec<f64> = (0..n).map(|_| draw(&mut rng)).collect();
            gumbel_by_l_moments(&x)
        });
        Pivots {
            fits: fits.collect(),
        }
    }

    /// Most probable largest of `blocks` blocks under a fit.
    pub fn largest_of(&self, fit: &Gumbel, blocks: f64, level: f64) -> Interval {
        self.located(fit, blocks.ln(), level)
    }

    /// Quantile `p` of the largest of one block under a fit.
    pub fn quantile(&self, fit: &Gumbel, p: f64, level: f64) -> Interval {
        self.located(fit, STANDARD.quantile(p), level)
    }

    /// mode + `up` scale.
    fn located(&self, fit: &Gumbel, up: f64, level: f64) -> Interval {
        let pivot = |f: &Gumbel| (f.mode + up * f.scale - up) / f.scale;
        let pivots: Vec<f64> = self.fits.iter().map(pivot).collect();
        let value = fit.mode + up * fit.scale;
        Interval {
            value,
            low: value - fit.scale * super::quantile(&pivots, 0.5 + 0.5 * level),
            high: value - fit.scale * super::quantile(&pivots, 0.5 - 0.5 * level),
        }
    }
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

    /// The law of references/I_statistics.json, `gumbel`: mode 10, scale 1.5, one in 100 at 16.900224. All three
    /// intervals hold 95 % within three standard errors.
    #[test]
    fn quantile_intervals_of_gumbel_cover() {
        let (trials, truth) = (2000u32, 16.900224);
        let law = Gumbel {
            mode: 10.0,
            scale: 1.5,
        };
        for n in [8, 16, 60] {
            let pivots = Pivots::new(n, 1);
            let mut rng = Stream::new(5, 0, Purpose::Other);
            let mut held = [0; 3];
            for _ in 0..trials {
                let x: Vec<f64> = (0..n)
                    .map(|_| law.quantile(rng.uniform().max(1e-16)))
                    .collect();
                let fit = gumbel_by_l_moments(&x).unwrap();
                let up = |m: f64| 10.0 + 1.5 * m.ln();
                held[0] += u32::from(pivots.quantile(&fit, 0.99, 0.95).holds(truth));
                held[1] += u32::from(pivots.largest_of(&fit, 1.0, 0.95).holds(up(1.0)));
                held[2] += u32::from(pivots.largest_of(&fit, 100.0, 0.95).holds(up(100.0)));
            }
            for k in held {
                let share = f64::from(k) / f64::from(trials);
                // of the trials 0.49 %, of the bootstrap's 1,000 draws another 0.7 %
                assert!((share - 0.95).abs() <= 3.0 * 0.0085, "{n}: {held:?}");
            }
        }
    }

    /// Rayleigh amplitudes are Weibull of shape 2 and scale sqrt(2) RMS.
    #[test]
    fn weibull_meets_rayleigh() {
        let law = Weibull {
            k: 2.0,
            scale: 3.0 * 2f64.sqrt(),
        };
        assert!((weibull_largest(&law, 500) / rayleigh_largest(3.0, 500) - 1.0).abs() < 1e-12);
        assert!(rayleigh_largest(3.0, 0).abs() < 1e-15);
        let mut rng = Stream::new(6, 0, Purpose::Other);
        let x: Vec<f64> = (0..20_000).map(|_| law.scale * rng.rayleigh()).collect();
        let fit = Weibull::fit(&x).unwrap();
        // standard error of the shape 0.78 k/sqrt(n), of the forecast about 1 %: three of them
        let ratio = weibull_largest(&fit, 500) / rayleigh_largest(3.0, 500);
        assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
    }
}
