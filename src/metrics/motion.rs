//! RMS, significant values, extremes and rates of events of one record, with intervals.
//!
//! # Equation
//! ```text
//! RMS about the mean; significant = mean of the highest third of the amplitudes about the mean;
//! largest by theory: most probable of as many amplitudes, Rayleigh from the RMS, Weibull from a fit to them;
//! rate of change by central differences; events per hour = falls of a height through zero, x 3600/T
//! ```
//!
//! # Symbols
//! T length of the record, s.
//!
//! # Valid when
//! Run-in removed before. The interval of the significant value is that of the RMS, scaled.
//!
//! # Source
//! Intervals: [`crate::math::stats::record`], [`crate::math::stats::crossings`]; largest:
//! [`crate::math::stats::extreme`].
//!
//! # Checked by
//! `a_sine_by_hand`, `contacts_are_counted_with_their_depth`.

use serde::Serialize;

use crate::math::stats::fit::Weibull;
use crate::math::stats::{self, Interval, crossings, extreme, record};

/// Clump of contacts for the interval of their rate, s.
const CLUMP_S: f64 = 20.0;

/// What is said of one motion. The unit is that of the series.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MotionStats {
    /// Mean.
    pub mean: Interval,
    /// RMS about the mean.
    pub rms: Interval,
    /// Significant amplitude.
    pub significant: Interval,
    /// Largest distance from the mean.
    pub max_amplitude: f64,
    /// Largest value.
    pub max: f64,
    /// Smallest value.
    pub min: f64,
    /// RMS of the rate of change, unit per second.
    pub rate_rms: Interval,
    /// Mean zero-crossing period, s; none without crossings.
    pub period_s: Option<f64>,
    /// What theory makes of its amplitudes.
    pub amplitudes: AmplitudeStats,
}

/// Largest distance from the mean as theory has it, from the record's own amplitudes, crests and troughs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AmplitudeStats {
    /// Their number.
    pub count: usize,
    /// Most probable largest by the RMS.
    pub rayleigh_max: f64,
    /// Shape of the Weibull law fitted to them, 2 where they are Rayleigh; none without scatter.
    pub weibull_shape: Option<f64>,
    /// Most probable largest by that law.
    pub weibull_max: Option<f64>,
}

impl AmplitudeStats {
    fn new(amplitudes: &[f64], rms: f64) -> Self {
        let n = amplitudes.len();
        // an amplitude of zero is a sample on the mean
        let some: Vec<f64> = amplitudes.iter().copied().filter(|a| *a > 0.0).collect();
        let law = Weibull::fit(&some);
        AmplitudeStats {
            count: n,
            rayleigh_max: extreme::rayleigh_largest(rms, n),
            weibull_shape: law.map(|w| w.k),
            weibull_max: law.map(|w| extreme::weibull_largest(&w, n)),
        }
    }

    /// The same in another unit.
    #[must_use]
    pub fn scale(self, factor: f64) -> Self {
        AmplitudeStats {
            rayleigh_max: factor * self.rayleigh_max,
            weibull_max: self.weibull_max.map(|m| factor * m),
            ..self
        }
    }
}

/// Statistics of a series sampled every `dt_s`.
pub fn motion_stats(x: &[f64], dt_s: f64, level: f64) -> MotionStats {
    motion_stats_and_power(x, dt_s, level).0
}

/// [`motion_stats`] with the powers |X_k|^2 (k from 0) of the series less its mean.
pub(super) fn motion_stats_and_power(x: &[f64], dt_s: f64, level: f64) -> (MotionStats, Vec<f64>) {
    let [(r, power), (rate, _)] = record::record_stats_pair(x, &rate_of(x, dt_s), level);
    let amplitudes = crossings::amplitudes(x);
    let theory = AmplitudeStats::new(&amplitudes, r.rms.value);
    let significant = crossings::highest_third(amplitudes);
    let (min, max) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &v| {
            (a.min(v), b.max(v))
        });
    let ratio = |limit: f64| {
        if r.rms.value > 0.0 {
            significant * limit / r.rms.value
        } else {
            significant
        }
    };
    let stats = MotionStats {
        mean: r.mean,
        rms: r.rms,
        significant: Interval {
            value: significant,
            low: ratio(r.rms.low),
            high: ratio(r.rms.high),
        },
        max_amplitude: (max - r.mean.value).max(r.mean.value - min),
        max,
        min,
        rate_rms: rate.rms,
        period_s: crossings::zero_crossing_period_s(x, dt_s),
        amplitudes: theory,
    };
    (stats, power)
}

/// Rate of change by central differences, one-sided at the ends.
pub fn rate_of(x: &[f64], dt_s: f64) -> Vec<f64> {
    let n = x.len();
    if n < 2 {
        return vec![0.0; n];
    }
    (0..n)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
            (x[b] - x[a]) / ((b - a) as f64 * dt_s)
        })
        .collect()
}

/// Contacts of something that should stay clear: cross-structure above water, propeller below it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EventStats {
    /// Number in the record.
    pub count: usize,
    /// Rate per hour.
    pub rate_per_h: Interval,
    /// Largest depth of a contact, m; zero without one.
    pub deepest_m: f64,
    /// Share of the time in contact.
    pub time_frac: f64,
    /// Smallest clearance, m, negative in contact.
    pub least_clearance_m: f64,
}

/// Contacts of a clearance (m, negative in contact) sampled every `dt_s`.
pub fn contacts(clearance_m: &[f64], dt_s: f64, level: f64) -> EventStats {
    let depth: Vec<f64> = clearance_m.iter().map(|c| -c).collect();
    let mut times = crossings::up_crossings_s(&depth, dt_s, 0.0);
    if depth.first().is_some_and(|&d| d >= 0.0) {
        times.insert(0, 0.0); // a record that begins in contact
    }
    let n = depth.len();
    let least = clearance_m.iter().copied().fold(f64::INFINITY, f64::min);
    let inside = depth.iter().filter(|&&d| d >= 0.0).count();
    EventStats {
        count: times.len(),
        rate_per_h: crossings::event_rate(&times, n as f64 * dt_s, CLUMP_S, level).scale(3600.0),
        deepest_m: (-least).max(0.0),
        time_frac: if n == 0 {
            0.0
        } else {
            inside as f64 / n as f64
        },
        least_clearance_m: least,
    }
}

/// RMS of the weighted or plain series, about zero when it has been filtered, with its interval.
pub fn rms(x: &[f64], level: f64) -> Interval {
    if x.is_empty() {
        Interval::exact(f64::NAN)
    } else {
        stats::record::rms_interval(x, level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_by_hand() {
        let dt = 0.05;
        let x: Vec<f64> = (0..24_000)
            .map(|i| 1.0 + 2.0 * (0.7 * dt * f64::from(i)).sin())
            .collect();
        let s = motion_stats(&x, dt, 0.95);
        assert!((s.rms.value / 2f64.sqrt() - 1.0).abs() < 2e-3); // part of a period at the end
        assert!((s.significant.value - 2.0).abs() < 5e-3);
        assert!((s.max - 3.0).abs() < 1e-3 && (s.min + 1.0).abs() < 1e-3);
        assert!((s.rate_rms.value / (0.7 * 2f64.sqrt()) - 1.0).abs() < 2e-3);
        assert!((s.period_s.unwrap() - std::f64::consts::TAU / 0.7).abs() < 1e-3);
        assert!(s.significant.low < 2.0 && s.significant.high > 2.0);
    }

    #[test]
    fn contacts_are_counted_with_their_depth() {
        let dt = 0.1;
        // clearance 1 m, wave 1.25 m every 10 s for 1000 s: 100 contacts 0.25 m deep
        let x: Vec<f64> = (0..10_000)
            .map(|i| 1.0 + 1.25 * (std::f64::consts::TAU * dt * f64::from(i) / 10.0).cos())
            .collect();
        let e = contacts(&x, dt, 0.95);
        assert_eq!(e.count, 100);
        assert!((e.rate_per_h.value - 360.0).abs() < 1e-9);
        assert!((e.deepest_m - 0.25).abs() < 1e-12);
        assert!((e.time_frac - 2.0 * 0.8f64.acos() / std::f64::consts::TAU).abs() < 0.01);
        let none = contacts(&vec![1.0; 36_000], dt, 0.95);
        assert!(none.count == 0 && none.deepest_m.abs() < 1e-15);
        assert!(
            (none.rate_per_h.high - 3.6889).abs() < 1e-3,
            "rule of three"
        );
        assert_eq!(contacts(&[-0.1, -0.1, 1.0], dt, 0.95).count, 1);
    }
}
