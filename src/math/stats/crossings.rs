//! Zero crossings, peaks, significant values and rates of events of one record.
//!
//! # Equation
//! ```text
//! amplitude   largest value between an up-crossing of the mean and the next down-crossing, likewise
//!             the depth between down- and up-crossing
//! significant mean of the highest third of the amplitudes
//! event rate  count/T; events closer than `gap` make a clump of size c; the count behaves like
//!             sum c / (sum c^2/sum c) independent events (compound Poisson)
//! ```
//!
//! # Symbols
//! T length of the record, s; c size of a clump.
//!
//! # Valid when
//! The sample interval is well below a quarter of the shortest period that matters.
//!
//! # Source
//! Rice (1944); compound Poisson dispersion: Cox & Miller (1965), The Theory of Stochastic
//! Processes. Intervals of rates: Garwood (1936).
//!
//! # Checked by
//! `a_sine_by_hand`, `significant_of_a_narrow_record`, `clumps_widen_the_interval`.

use super::{Interval, mean, sample};

/// Times (s from the first sample) at which the record rises through `level`.
pub fn up_crossings_s(x: &[f64], dt_s: f64, level: f64) -> Vec<f64> {
    x.windows(2)
        .enumerate()
        .filter(|(_, c)| c[0] < level && c[1] >= level)
        .map(|(i, c)| dt_s * (i as f64 + (level - c[0]) / (c[1] - c[0])))
        .collect()
}

/// Crest and trough amplitudes about the mean, both positive, between zero crossings; the pieces
/// before the first and after the last crossing are left out.
pub fn amplitudes(x: &[f64]) -> Vec<f64> {
    let m = if x.is_empty() { 0.0 } else { mean(x) };
    let mut out = Vec::new();
    let mut best: Option<f64> = None; // none before the first crossing
    for c in x.windows(2) {
        let (a, b) = (c[0] - m, c[1] - m);
        if (a < 0.0) != (b < 0.0) {
            out.extend(best);
            best = Some(b.abs());
        } else if let Some(v) = &mut best {
            *v = v.max(b.abs());
        }
    }
    out
}

/// Mean of the highest third of the amplitudes; zero for a record without crossings.
pub fn significant(x: &[f64]) -> f64 {
    highest_third(amplitudes(x))
}

/// Mean of the highest third of amplitudes; zero for none.
pub fn highest_third(mut a: Vec<f64>) -> f64 {
    a.sort_by(|p, q| q.total_cmp(p));
    let n = a.len().div_ceil(3);
    if n == 0 { 0.0 } else { mean(&a[..n]) }
}

/// Mean zero up-crossing period, s; `None` below two crossings.
pub fn zero_crossing_period_s(x: &[f64], dt_s: f64) -> Option<f64> {
    let t = up_crossings_s(x, dt_s, if x.is_empty() { 0.0 } else { mean(x) });
    (t.len() >= 2).then(|| (t[t.len() - 1] - t[0]) / (t.len() - 1) as f64)
}

/// Rate of events per second from their times (s, ascending) in a record of `length_s`; events
/// closer than `gap_s` are taken as one clump when the interval is formed.
pub fn event_rate(times_s: &[f64], length_s: f64, gap_s: f64, level: f64) -> Interval {
    let n = times_s.len() as f64;
    let mut squares = 0.0;
    let mut size = 0.0;
    for (i, t) in times_s.iter().enumerate() {
        if i > 0 && t - times_s[i - 1] > gap_s {
            squares += size * size;
            size = 0.0;
        }
        size += 1.0;
    }
    squares += size * size;
    // how many times wider than independent events the count scatters
    let dispersion = if n > 0.0 { squares / n } else { 1.0 };
    let mut rate = sample::poisson_rate(n / dispersion, length_s, level).scale(dispersion);
    rate.value = n / length_s;
    rate
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_sine_by_hand() {
        let dt = 0.05;
        let x: Vec<f64> = (0..4000)
            .map(|i| 3.0 + 2.0 * (TAU * dt * f64::from(i) / 8.0 + 0.3).sin())
            .collect();
        assert!((zero_crossing_period_s(&x, dt).unwrap() - 8.0).abs() < 1e-4); // linear between samples
        assert!((significant(&x) - 2.0).abs() < 1e-3); // peak between samples
        assert_eq!(amplitudes(&x).len(), 49); // 25 periods, 50 crossings
        assert_eq!(up_crossings_s(&x, dt, 4.9).len(), 25);
        assert!(up_crossings_s(&x, dt, 5.1).is_empty());
        assert!(amplitudes(&[]).is_empty() && significant(&[1.0, 1.0]).abs() < 1e-15);
        assert!(zero_crossing_period_s(&[0.0, 1.0], dt).is_none());
    }

    #[test]
    fn significant_of_a_narrow_record() {
        // beats: amplitude 1 + cos, so the highest third is known: mean of 1 + cos over |th| < pi/3
        let dt = 0.1;
        let x: Vec<f64> = (0..200_000)
            .map(|i| {
                let t = dt * f64::from(i);
                (1.0 + (TAU * t / 2000.0).cos()) * (TAU * t / 7.0).sin()
            })
            .collect();
        let want = 1.0 + (TAU / 6.0).sin() / (TAU / 6.0);
        assert!(
            (significant(&x) / want - 1.0).abs() < 2e-3,
            "{}",
            significant(&x)
        ); // 70 samples a period
    }

    #[test]
    fn clumps_widen_the_interval() {
        let apart: Vec<f64> = (0..20).map(|i| 100.0 * f64::from(i)).collect();
        let close: Vec<f64> = (0..20)
            .map(|i| 500.0 * f64::from(i / 5) + 5.0 * f64::from(i % 5))
            .collect();
        let (a, b) = (
            event_rate(&apart, 2000.0, 20.0, 0.95),
            event_rate(&close, 2000.0, 20.0, 0.95),
        );
        assert!((a.value - 0.01).abs() < 1e-15 && (b.value - 0.01).abs() < 1e-15);
        assert!(
            (a.low * 2000.0 - 12.2165).abs() < 1e-3 && (a.high * 2000.0 - 30.8884).abs() < 1e-3
        ); // Garwood, 20 events
        assert!(b.high > 2.0 * a.value && b.low < a.low);
        let none = event_rate(&[], 3600.0, 20.0, 0.95);
        assert!(none.value.abs() < 1e-15 && (none.high * 3600.0 - 3.68888).abs() < 1e-4);
    }
}
