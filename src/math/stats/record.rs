//! Mean and RMS of one correlated record, with intervals.
//!
//! # Equation
//! ```text
//! I_k      periodogram of the record less its mean; E I = S, I/S exponential, bins independent
//! n        = (sum I)^2/(sum I^2/2) - 1       number of equal bins that scatter alike: E sum I^2 = 2 sum S^2
//! n'       = n^2/(n + 4)                     bias of the ratio near a resonance taken off
//! nu       = 2 n' = 2 m0^2/var(m0)           effective degrees of freedom, var(m0) = (2pi/T) int S^2
//! slope    b = 2 - 2 sum S sum S^3/(sum S^2)^2 = d ln nu/d ln m0 over repeated records
//!          (-1 for one resonance, 0 for a flat band), estimated with sum S^3 = sum I^3/6 and
//!          multiplied by 1 + 50/n, kept within -1 to 0
//! interval all m0 with nu(m0) m0hat/m0 between the chi-square quantiles of nu(m0),
//!          nu(m0) = nu (m0/m0hat)^b
//! mean     xbar -+ t_2K sqrt(mean of |X_k|^2/n^2, k = 1..K)
//! ```
//! The slope matters: a resonance that happened to ring little also looks wider than it is, so an
//! interval with the degrees of freedom as found is too narrow exactly when the RMS is too small.
//! The limits are therefore tried values of m0, each with the scatter that goes with it, as in
//! Wilson's interval of a share.
//!
//! # Symbols
//! S one-sided density; T length, s; m0 mean square about the mean; K = 6 bins.
//!
//! # Valid when
//! Gaussian and stationary, and the narrowest peak at least about two bins wide
//! (damping ratio times frequency times length above about 10). The constants 4 and 50 were found by
//! simulating oscillators of 2 to 30 % damping over 30 minutes; flat bands keep 95 to 96 %.
//!
//! # Source
//! Blackman & Tukey (1958), The Measurement of Power Spectra (equivalent degrees of freedom);
//! Heidelberger & Welch (1981) for the mean. Bias, slope and constants: this project.
//!
//! # Checked by
//! `rms_interval_covers_lightly_damped_records`, `mean_interval_covers_ar1_records`,
//! `degrees_of_freedom_meet_theory`, `odd_records_give_sane_answers`.

use statrs::function::gamma::gamma_lr;

use super::{Interval, sample};
use crate::math::spectral;

/// Bins below which the mean's scatter is read.
const MEAN_BINS: usize = 6;
/// Bias of the number of bins and of the slope; see the module text.
const BINS_BIAS: f64 = 4.0;
const SLOPE_BIAS: f64 = 50.0;

/// Mean and RMS of a record.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecordStats {
    /// Mean.
    pub mean: Interval,
    /// RMS about the mean.
    pub rms: Interval,
    /// Effective degrees of freedom of the mean square.
    pub dof: f64,
}

/// Mean and RMS of equally spaced samples. The sample interval does not matter.
pub fn record_stats(x: &[f64], level: f64) -> RecordStats {
    let c = Centred::new(x);
    let power: Vec<f64> = spectral::forward(&c.values)
        .iter()
        .map(num_complex::Complex::norm_sqr)
        .collect();
    c.stats(&power, level)
}

/// RMS about the mean of equally spaced samples.
pub fn rms_interval(x: &[f64], level: f64) -> Interval {
    record_stats(x, level).rms
}

/// [`record_stats`] of two records of one length at once, which is quicker, each with the powers |X_k|^2 (k from 0) of the record less its
/// mean.
pub(crate) fn record_stats_pair(a: &[f64], b: &[f64], level: f64) -> [(RecordStats, Vec<f64>); 2] {
    let c = [a, b].map(Centred::new);
    let [pa, pb] = spectral::powers(&c[0].values, &c[1].values);
    let [a, b] = [c[0].stats(&pa, level), c[1].stats(&pb, level)];
    [(a, pa), (b, pb)]
}

/// RMS about the mean of two records at once.
pub(crate) fn rms_interval_pair(a: &[f64], b: &[f64], level: f64) -> [Interval; 2] {
    record_stats_pair(a, b, level).map(|(s, _)| s.rms)
}

/// A record less its mean.
struct Centred {
    mean: f64,
    values: Vec<f64>,
}

impl Centred {
    fn new(x: &[f64]) -> Self {
        let mean = super::mean(x);
        Centred {
            mean,
            values: x.iter().map(|v| v - mean).collect(),
        }
    }

    fn stats(&self, power: &[f64], level: f64) -> RecordStats {
        let (n, m) = (self.values.len(), self.mean);
        let mean_square = self.values.iter().map(|v| v * v).sum::<f64>() / n as f64;
        if n < 16 || !m.is_finite() {
            let open = |value: f64| Interval {
                value,
                low: f64::NEG_INFINITY,
                high: f64::INFINITY,
            };
            let mut rms = open(mean_square.sqrt());
            rms.low = 0.0;
            return RecordStats {
                mean: open(m),
                rms,
                dof: 0.0,
            };
        }
        let power = &power[1..];
        let RmsScatter { dof, slope } = scatter(power);
        let k = MEAN_BINS.min(power.len());
        let var_mean = power[..k].iter().sum::<f64>() / k as f64 / (n as f64).powi(2);
        let half = sample::t_quantile(0.5 + 0.5 * level, 2.0 * k as f64) * var_mean.sqrt();
        RecordStats {
            mean: Interval {
                value: m,
                low: m - half,
                high: m + half,
            },
            rms: mean_square_interval(mean_square, dof, slope, level).map(f64::sqrt),
            dof,
        }
    }
}

struct RmsScatter {
    dof: f64,
    slope: f64,
}

/// Degrees of freedom and slope from the powers of the bins.
fn scatter(power: &[f64]) -> RmsScatter {
    let top = power.iter().copied().fold(0.0, f64::max);
    if top <= 0.0 {
        return RmsScatter {
            dof: 1.0,
            slope: 0.0,
        };
    }
    let (mut s1, mut s2, mut s3) = (0.0, 0.0, 0.0);
    for p in power {
        let q = p / top; // the third power would overflow for large units
        s1 += q;
        s2 += 0.5 * q * q;
        s3 += q * q * q / 6.0;
    }
    let bins = (s1 * s1 / s2 - 1.0).max(1.0);
    let slope = (2.0 - 2.0 * s1 * s3 / (s2 * s2)) * (1.0 + SLOPE_BIAS / bins);
    RmsScatter {
        dof: (2.0 * bins * bins / (bins + BINS_BIAS)).max(1.0),
        slope: slope.clamp(-1.0, 0.0),
    }
}

/// All m0 that do not contradict `m0_hat`.
fn mean_square_interval(m0_hat: f64, dof: f64, slope: f64, level: f64) -> Interval {
    // probability of a mean square as small as found when the true one is m0_hat exp(y)
    let below = |y: f64| {
        let nu = (dof * (slope * y).exp()).max(1.0);
        gamma_lr(0.5 * nu, 0.5 * nu * (-y).exp())
    };
    // falls as y rises
    let solve = |p: f64| {
        let (mut lo, mut hi) = (-6.0, 6.0);
        for _ in 0..46 {
            let mid = 0.5 * (lo + hi);
            if below(mid) > p { lo = mid } else { hi = mid }
        }
        0.5 * (lo + hi)
    };
    Interval {
        value: m0_hat,
        low: m0_hat * solve(0.5 + 0.5 * level).exp(),
        high: m0_hat * solve(0.5 - 0.5 * level).exp(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};

    /// Exactly sampled oscillator x" + 2 z w x' + w^2 x = white noise, variance of x one.
    fn oscillator(w: f64, z: f64, dt: f64, n: usize, rng: &mut ChaCha8Rng) -> Vec<f64> {
        let wd = w * (1.0 - z * z).sqrt();
        let (e, s, c) = ((-z * w * dt).exp(), (wd * dt).sin(), (wd * dt).cos());
        // transition of (x, x'/w); the stationary covariance is the identity
        let f = [
            [e * (c + z * w / wd * s), e * w / wd * s],
            [-e * w / wd * s, e * (c - z * w / wd * s)],
        ];
        let q = |i: usize, j: usize| {
            f64::from(u8::from(i == j)) - f[i][0] * f[j][0] - f[i][1] * f[j][1]
        };
        let l11 = q(0, 0).sqrt();
        let l21 = q(0, 1) / l11;
        let l22 = (q(1, 1) - l21 * l21).sqrt();
        let mut normal = || -> f64 { StandardNormal.sample(rng) };
        let mut y = [normal(), normal()];
        (0..n)
            .map(|_| {
                let (a, b) = (normal(), normal());
                y = [
                    f[0][0] * y[0] + f[0][1] * y[1] + l11 * a,
                    f[1][0] * y[0] + f[1][1] * y[1] + l21 * a + l22 * b,
                ];
                y[0]
            })
            .collect()
    }

    /// Share of 95 % intervals that hold the true RMS of one, and the shares above and below.
    fn coverage(w: f64, z: f64, records: u64, seed: u64) -> (f64, f64, f64) {
        let (mut low, mut high) = (0.0, 0.0);
        for r in 0..records {
            let mut rng = ChaCha8Rng::seed_from_u64(seed * 1_000_000 + r);
            let x = oscillator(w, z, 0.5, 3600, &mut rng);
            let i = rms_interval(&x, 0.95);
            if i.high < 1.0 {
                low += 1.0;
            } else if i.low > 1.0 {
                high += 1.0;
            }
        }
        let n = records as f64;
        (1.0 - (low + high) / n, low / n, high / n)
    }

    #[test]
    fn rms_interval_covers_lightly_damped_records() {
        // asked: 2 % damping, 30 min, 2,000 records, 95 +- 1.5 %. 2,000 records see the coverage with
        // a standard error of 0.49 %, so three times as many are used: 0.28 %
        for (w, seed) in [(0.5, 1), (0.8, 2), (1.2, 3)] {
            let (c, low, high) = coverage(w, 0.02, 6000, seed);
            assert!(
                (c - 0.95).abs() < 0.015,
                "omega {w}: {c}, short {low}, long {high}"
            );
        }
    }

    #[test]
    fn rms_interval_covers_well_damped_records() {
        for (z, seed) in [(0.1, 4), (0.4, 5)] {
            let (c, low, high) = coverage(0.9, z, 1000, seed);
            assert!((c - 0.95).abs() < 0.02, "{z}: {c} {low} {high}"); // three errors of 1,000 records
        }
    }

    #[test]
    fn mean_interval_covers_ar1_records() {
        let records = 1500;
        let mut held = 0.0;
        for r in 0..records {
            let mut rng = ChaCha8Rng::seed_from_u64(r);
            let mut v: f64 = StandardNormal.sample(&mut rng);
            let x: Vec<f64> = (0..4000)
                .map(|_| {
                    let n: f64 = StandardNormal.sample(&mut rng);
                    v = 0.9 * v + (1.0f64 - 0.81).sqrt() * n;
                    v
                })
                .collect();
            held += f64::from(u8::from(record_stats(&x, 0.95).mean.holds(0.0)));
        }
        let c = held / records as f64;
        assert!((c - 0.95).abs() < 0.018, "{c}"); // three errors of 1,500 records
    }

    #[test]
    fn degrees_of_freedom_meet_theory() {
        // references/I varerr.S: wn 1, zeta 0.1, T 1800: cov(m0) = 0.0760 so nu = 2/cov^2 = 346
        let mean: f64 = (0..200)
            .map(|r| {
                let x = oscillator(1.0, 0.1, 0.5, 3600, &mut ChaCha8Rng::seed_from_u64(r));
                record_stats(&x, 0.95).dof
            })
            .sum::<f64>()
            / 200.0;
        assert!(
            (mean / (2.0 / 0.076011721f64.powi(2)) - 1.0).abs() < 0.05,
            "{mean}"
        );
        // white noise: every sample counts
        let mut rng = ChaCha8Rng::seed_from_u64(1);
        let x: Vec<f64> = (0..8000).map(|_| rng.random::<f64>() - 0.5).collect();
        let d = record_stats(&x, 0.95).dof;
        assert!((d / 8000.0 - 1.0).abs() < 0.05, "{d}");
    }

    #[test]
    fn odd_records_give_sane_answers() {
        let flat = record_stats(&[2.0; 100], 0.95);
        assert!(flat.rms.value.abs() < 1e-15 && (flat.mean.value - 2.0).abs() < 1e-15);
        assert!(record_stats(&[], 0.95).mean.value.is_nan());
        assert!(record_stats(&[1.0, 2.0], 0.95).rms.high.is_infinite());
        let sine: Vec<f64> = (0..3000).map(|i| (0.07 * f64::from(i)).sin()).collect();
        let s = record_stats(&sine, 0.95).rms;
        assert!(s.low > 0.0 && s.high.is_finite() && s.holds(0.5f64.sqrt()));
        let big: Vec<f64> = sine.iter().map(|v| v * 1e120).collect();
        assert!(record_stats(&big, 0.95).rms.high.is_finite());
    }
}
