//! Intervals and tests for independent samples, among them the results of several seeds.
//!
//! # Equation
//! ```text
//! mean       xbar -+ t_(n-1) s/sqrt(n)                 variance   (n-1) s^2 / chi2
//! positive   xbar exp(-+ t_(n-1) s/(xbar sqrt(n)))     (delta method on the logarithm of the mean)
//! share      Wilson: centre (p + z^2/2n)/(1 + z^2/n), half z sqrt(p(1-p)/n + z^2/4n^2)/(1 + z^2/n)
//!            Clopper-Pearson: quantiles of the beta distribution
//! rate       chi2_(2k)/2T ... chi2_(2k+2)/2T  for k events in T (Garwood)
//! clumped    d times that of k/d events, d = max(1, s^2/mean) of the counts of records (quasi-likelihood)
//! two means  Welch: t = (a - b)/sqrt(sa^2/na + sb^2/nb), Satterthwaite's degrees of freedom
//! ```
//!
//! # Symbols
//! n samples, s standard deviation, p share, k events, T time, d dispersion.
//!
//! # Valid when
//! Samples independent; t and chi-square: nearly normal.
//!
//! # Source
//! Student (1908); Wilson (1927); Clopper & Pearson (1934); Garwood (1936); Welch (1947); dispersion: McCullagh &
//! Nelder (1989), Generalized Linear Models, ch. 6 (from memory).
//!
//! # Checked by
//! `published_intervals`, `published_welch`, `paired_differences_cancel_the_common_part`,
//! `garwood_covers_every_rate`, `clumped_rates_cover`, `means_of_positive_numbers_cover`.

use statrs::distribution::{Beta, ChiSquared, ContinuousCDF, Normal, StudentsT};

use super::Interval;

/// Quantile of Student's t; NaN for degrees of freedom that are not positive.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| d.inverse_cdf(p))
}

/// Quantile of the standard normal distribution.
pub fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// Distribution function of the standard normal.
pub fn normal_cdf(x: f64) -> f64 {
    Normal::standard().cdf(x)
}

/// Quantile of chi-square; zero at zero degrees of freedom.
pub fn chi2_quantile(p: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(0.0, |d| d.inverse_cdf(p))
}

/// Sample standard deviation (divisor n - 1); NaN below two samples.
pub fn standard_deviation(x: &[f64]) -> f64 {
    let m = super::mean(x);
    (x.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (x.len() as f64 - 1.0)).sqrt()
}

/// Mean of independent samples, such as one value per seed. Unbounded below two samples.
pub fn mean_interval(x: &[f64], level: f64) -> Interval {
    let m = super::mean(x);
    if x.len() < 2 {
        return Interval {
            value: m,
            low: f64::NEG_INFINITY,
            high: f64::INFINITY,
        };
    }
    let n = x.len() as f64;
    let half = t_quantile(0.5 + 0.5 * level, n - 1.0) * standard_deviation(x) / n.sqrt();
    Interval {
        value: m,
        low: m - half,
        high: m + half,
    }
}

/// Mean of independent samples that cannot be negative: neither can its limits. From 0 without an upper limit below
/// two samples; of zeros no more than zero.
pub fn positive_mean_interval(x: &[f64], level: f64) -> Interval {
    let value = super::mean(x);
    if x.len() < 2 {
        return Interval {
            value,
            low: 0.0,
            high: f64::INFINITY,
        };
    }
    if value <= 0.0 {
        return Interval::exact(value);
    }
    let n = x.len() as f64;
    let t = t_quantile(0.5 + 0.5 * level, n - 1.0);
    let factor = (t * standard_deviation(x) / (value * n.sqrt())).exp();
    Interval {
        value,
        low: value / factor,
        high: value * factor,
    }
}

/// RMS over several records of equal length, one RMS per seed: the mean is taken of the squares.
pub fn pooled_rms(rms: &[f64], level: f64) -> Interval {
    let squares: Vec<f64> = rms.iter().map(|r| r * r).collect();
    mean_interval(&squares, level).map(|m0| m0.max(0.0).sqrt())
}

/// Mean of the differences a - b of paired samples (same seeds); `None` when lengths differ.
pub fn paired_difference(a: &[f64], b: &[f64], level: f64) -> Option<Interval> {
    if a.len() != b.len() || a.is_empty() {
        return None;
    }
    let d: Vec<f64> = a.iter().zip(b).map(|(x, y)| x - y).collect();
    Some(mean_interval(&d, level))
}

/// Variance of independent normal samples.
pub fn variance_interval(x: &[f64], level: f64) -> Interval {
    let nu = x.len() as f64 - 1.0;
    let v = standard_deviation(x).powi(2);
    Interval {
        value: v,
        low: nu * v / chi2_quantile(0.5 + 0.5 * level, nu),
        high: nu * v / chi2_quantile(0.5 - 0.5 * level, nu),
    }
}

/// Wilson's interval of a share of `k` in `n`.
pub fn wilson(k: u64, n: u64, level: f64) -> Interval {
    if n == 0 {
        return Interval {
            value: f64::NAN,
            low: 0.0,
            high: 1.0,
        };
    }
    let (k, n) = (k as f64, n as f64);
    let z = normal_quantile(0.5 + 0.5 * level);
    let p = k / n;
    let centre = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt() / (1.0 + z * z / n);
    Interval {
        value: p,
        low: (centre - half).max(0.0),
        high: (centre + half).min(1.0),
    }
}

/// Exact interval of a share of `k` in `n`.
pub fn clopper_pearson(k: u64, n: u64, level: f64) -> Interval {
    if n == 0 {
        return Interval {
            value: f64::NAN,
            low: 0.0,
            high: 1.0,
        };
    }
    let beta = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |d| d.inverse_cdf(p));
    let (kf, nf) = (k as f64, n as f64);
    let low = if k == 0 {
        0.0
    } else {
        beta(kf, nf - kf + 1.0, 0.5 - 0.5 * level)
    };
    let high = if k >= n {
        1.0
    } else {
        beta(kf + 1.0, nf - kf, 0.5 + 0.5 * level)
    };
    Interval {
        value: kf / nf,
        low,
        high,
    }
}

/// Upper bound of a probability after `n` trials without an event.
pub fn none_seen_bound(n: u64, level: f64) -> f64 {
    1.0 - (1.0 - level).powf(1.0 / n as f64)
}

/// Rate of independent events: `count` of them (may be an effective, fractional number) in `time`.
pub fn poisson_rate(count: f64, time: f64, level: f64) -> Interval {
    let k = count.max(0.0);
    Interval {
        value: k / time,
        low: 0.5 * chi2_quantile(0.5 - 0.5 * level, 2.0 * k) / time,
        high: 0.5 * chi2_quantile(0.5 + 0.5 * level, 2.0 * k + 2.0) / time,
    }
}

/// Rate of events from the `counts` of records of equal length `time` each, in events per its unit; events may come in
/// clumps and more in one record than in another. Without any the time alone tells how rare they are; of one record
/// with events the scatter is not known, so it has no limits.
pub fn clumped_rate(counts: &[f64], time: f64, level: f64) -> Interval {
    let n = counts.len() as f64;
    let (total, mean) = (counts.iter().sum::<f64>(), super::mean(counts));
    if counts.len() < 2 && total > 0.0 {
        return Interval {
            value: mean / time,
            low: 0.0,
            high: f64::INFINITY,
        };
    }
    let dispersion = if total > 0.0 {
        (standard_deviation(counts).powi(2) / mean).max(1.0)
    } else {
        1.0
    };
    let rate = poisson_rate(total / dispersion, n * time, level).scale(dispersion);
    Interval {
        value: mean / time,
        ..rate
    }
}

/// Outcome of Welch's test of two means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Welch {
    /// Statistic, positive when the first mean is larger.
    pub t: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Two-sided probability of a larger statistic between equal means.
    pub p: f64,
}

/// Welch's test of two means from independent samples of unequal variance.
pub fn welch_test(a: &[f64], b: &[f64]) -> Welch {
    let va = standard_deviation(a).powi(2) / a.len() as f64;
    let vb = standard_deviation(b).powi(2) / b.len() as f64;
    let t = (super::mean(a) - super::mean(b)) / (va + vb).sqrt();
    let dof =
        (va + vb).powi(2) / (va * va / (a.len() as f64 - 1.0) + vb * vb / (b.len() as f64 - 1.0));
    let p = StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| 2.0 * d.cdf(-t.abs()));
    Welch { t, dof, p }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    const A: [f64; 10] = [4.2, 5.1, 3.8, 4.9, 5.6, 4.4, 4.7, 5.0, 4.1, 4.6];
    const B: [f64; 12] = [1.2, 2.1, 0.7, 1.9, 3.0, 1.4, 2.6, 0.9, 1.7, 2.2, 1.1, 2.8];
    const TOL_PRINTED: f64 = 1e-6; // references give eight digits

    fn close(got: f64, want: f64) {
        assert!(
            (got - want).abs() <= TOL_PRINTED * want.abs().max(1e-3),
            "{got} {want}"
        );
    }

    #[test]
    fn published_intervals() {
        // references/I_statistics.json t.1, t.q, wilson.*, three
        let m = mean_interval(&A, 0.95);
        close(m.value, 4.64);
        close(m.low, 4.2566921);
        close(m.high, 5.0233079);
        close(standard_deviation(&A), 0.5358275);
        let v = variance_interval(&A, 0.95);
        close(v.low, 0.13583723);
        close(v.high, 0.956899);
        for (dof, want) in [
            (4.0, 2.7764451),
            (9.0, 2.2621572),
            (19.0, 2.0930241),
            (29.0, 2.0452296),
            (99.0, 1.984217),
        ] {
            close(t_quantile(0.975, dof), want);
        }
        for (k, n, w, c) in [
            (3, 20, [0.052368746, 0.36041886], [0.032070937, 0.37892683]),
            (0, 30, [0.0, 0.11351339], [0.0, 0.11570331]),
            (45, 50, [0.78639769, 0.95652424], [0.78186463, 0.96672491]),
            (
                12,
                200,
                [0.034652194, 0.10193169],
                [0.031383954, 0.10246183],
            ),
        ] {
            let (a, b) = (wilson(k, n, 0.95), clopper_pearson(k, n, 0.95));
            close(a.low, w[0]);
            close(a.high, w[1]);
            close(b.low, c[0]);
            close(b.high, c[1]);
        }
        for (n, want) in [(10, 0.25886555), (50, 0.058155079), (300, 0.0099360819)] {
            close(none_seen_bound(n, 0.95), want);
        }
        // Garwood: no event gives the upper bound -ln(0.025)
        close(poisson_rate(0.0, 1.0, 0.95).high, 3.6888795);
        assert!(poisson_rate(0.0, 1.0, 0.95).low.abs() < 1e-12);
    }

    /// Exactly, by the sum over all counts: the interval holds every mean with its level at least.
    #[test]
    fn garwood_covers_every_rate() {
        let hours = 2.5;
        for mean in [0.05, 0.3, 1.0, 2.7, 6.0, 15.0] {
            let (mut held, mut p) = (0.0, f64::exp(-mean));
            for k in 0..200 {
                if poisson_rate(f64::from(k), hours, 0.95).holds(mean / hours) {
                    held += p;
                }
                p *= mean / f64::from(k + 1);
            }
            assert!(held >= 0.95, "{mean}: {held}");
        }
    }

    type Law = fn(&mut Stream) -> f64;

    fn poisson(rng: &mut Stream, mean: f64) -> f64 {
        let (mut left, mut k) = (mean, 0.0);
        loop {
            left += (1.0 - rng.uniform()).ln();
            if left < 0.0 {
                return k;
            }
            k += 1.0;
        }
    }

    /// Single events, clumps of three, and a craft that differs from record to record; a t interval of counts that are
    /// mostly zero holds the mean less often than it says.
    #[test]
    fn clumped_rates_cover() {
        let trials = 4000;
        let laws: [(f64, Law, f64); 3] = [
            (0.2, |r| poisson(r, 0.2), 0.95),
            (1.5, |r| 3.0 * poisson(r, 0.5), 0.92),
            (
                2.0,
                |r| {
                    let m = 1.0 + 2.0 * r.uniform();
                    poisson(r, m)
                },
                0.94,
            ),
        ];
        for (mean, law, least) in laws {
            let mut rng = Stream::new(12, 0, Purpose::Other);
            let (mut held, mut by_t) = (0, 0);
            for _ in 0..trials {
                let x: Vec<f64> = (0..16).map(|_| law(&mut rng)).collect();
                held += u32::from(clumped_rate(&x, 2.0, 0.95).holds(0.5 * mean));
                by_t += u32::from(mean_interval(&x, 0.95).holds(mean));
            }
            let share = f64::from(held) / f64::from(trials);
            eprintln!("{mean}: {share}, t {}", f64::from(by_t) / f64::from(trials));
            assert!(share >= least - 3.0 * 0.0035, "{mean}: {share}");
            assert!(mean > 1.0 || by_t < held, "{by_t} {held}");
        }
        let one = clumped_rate(&[4.0], 1.0, 0.95);
        assert!(one.high.is_infinite() && (one.value - 4.0).abs() < 1e-12);
    }

    /// Maxima (Gumbel, mode 3, scale 0.5) and lognormal numbers. Both lean to the right, which costs a mean up to one
    /// point of its level (Gumbel, 8 numbers: 0.941 in 20,000 trials, Student's own 0.936); never more than Student's.
    #[test]
    fn means_of_positive_numbers_cover() {
        let trials = 4000;
        let laws: [(f64, Law); 2] = [
            (3.0 + 0.5 * 0.577_215_664_9, |s| {
                3.0 - 0.5 * (-(1.0 - s.uniform()).ln()).ln()
            }),
            (f64::exp(0.02), |s| (0.2 * s.normal()).exp()),
        ];
        // three standard errors; of a difference on the same numbers half of that
        let chance = 3.0 * (0.95 * 0.05 / f64::from(trials)).sqrt();
        for (mean, law) in laws {
            for n in [3, 8, 30] {
                let mut rng = Stream::new(13, n, Purpose::Other);
                let (mut held, mut by_t) = (0, 0);
                for _ in 0..trials {
                    let x: Vec<f64> = (0..n).map(|_| law(&mut rng)).collect();
                    let i = positive_mean_interval(&x, 0.95);
                    assert!(i.low > 0.0);
                    held += u32::from(i.holds(mean));
                    by_t += u32::from(mean_interval(&x, 0.95).holds(mean));
                }
                let share = |k: u32| f64::from(k) / f64::from(trials);
                assert!((share(held) - 0.95).abs() < 0.01 + chance, "{n}: {held}");
                assert!(
                    share(held) > share(by_t) - 0.5 * chance,
                    "{n}: {held}, by t {by_t}"
                );
            }
        }
        assert!(positive_mean_interval(&[0.0, 0.0], 0.95).high.abs() < 1e-15);
        assert!(positive_mean_interval(&[2.0], 0.95).high.is_infinite());
    }

    #[test]
    fn published_welch() {
        let w = welch_test(&A, &B);
        close(w.t, 10.231697);
        close(w.dof, 19.528012);
        assert!((w.p / 2.7475443e-9 - 1.0).abs() < 1e-4, "{}", w.p); // far tail of the library's t
    }

    #[test]
    fn paired_differences_cancel_the_common_part() {
        let b: Vec<f64> = A.iter().map(|x| 0.9 * x).collect();
        let paired = paired_difference(&A, &b, 0.95).unwrap();
        assert!(paired.low > 0.0 && (paired.value - 0.464).abs() < 1e-12);
        assert!(welch_test(&A, &b).p > 0.05, "unpaired it is not seen");
        assert!(paired_difference(&A, &B, 0.95).is_none());
        let p = pooled_rms(&[1.0, 1.1, 0.9, 1.05], 0.95);
        assert!(p.low < 1.0 && p.high > 1.0 && p.value > 1.0);
        assert!(mean_interval(&[1.0], 0.95).high.is_infinite());
    }
}
