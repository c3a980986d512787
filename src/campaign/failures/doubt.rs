//! What intervals leave open of a row: its class may rest on more than the seeds run can tell.
//!
//! # Equation
//! ```text
//! next seed     exp(mean ln x + t s sqrt(1 + 1/n))       x largest share of a limit that each seed comes to
//! ratio         R = sqrt(sum a^2 / sum b^2),  ln R -+ t s(e) / (2 sqrt n),  e = a^2 / mean a^2 - b^2 / mean b^2
//! greatest of m ratios     each at level 1 - a/m; from the greatest low end to the greatest high end
//! RMS           root of (mean of squares -+ t s / sqrt n)
//! contacts      mean over seeds -+ t s / sqrt n; where there is none, Poisson's upper end for the whole time
//! ```
//!
//! # Symbols
//! n seeds that reach the fault, a and b RMS of a motion with the fault and of the sound craft in the same waves, s sample
//! standard deviation, t Student's quantile with n - 1 degrees of freedom.
//!
//! # Valid when
//! Seeds independent; logarithms of peaks nearly normal (peaks of a stretch lean, their logarithms little). The ratio's
//! interval rests on a linearisation: RMS of a stretch scatter by a tenth or so. An end of a run that no seed shows is
//! bounded by the share's own interval only; it stays out of the class.
//!
//! # Source
//! Prediction of a further sample: Student; ratio of means: Cochran, Sampling Techniques, 3rd ed. 1977, section 6.4 (from
//! memory). Bonferroni for the greatest of several.
//!
//! # Checked by
//! `the_ride_is_worse_by_the_greatest_ratio`, `the_ratio_keeps_its_level`, `the_next_seed_keeps_its_level`,
//! `no_contact_is_not_never` and tests of [`super::severity`]

use serde::Serialize;

use super::measure::{Nearest, Peaks, RunMeasure};
use crate::math::stats::Interval;
use crate::math::stats::mean;
use crate::math::stats::sample::{
    mean_interval, poisson_rate, pooled_rms, standard_deviation, t_quantile,
};
use crate::spec::failures::FailureLimitsSpec;

/// Share of a limit that seeds come to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Next {
    /// The limit of which the largest share was seen.
    pub limit: String,
    /// That share.
    pub seen_frac: f64,
    /// The greatest share that the next seed comes to; infinite (`null` in JSON) from one seed.
    pub next_frac: f64,
}

impl Next {
    /// Of one number a seed; none of none.
    pub(super) fn of<'a>(all: impl Iterator<Item = &'a Nearest>, level: f64) -> Option<Self> {
        let all: Vec<&Nearest> = all.collect();
        let most = all.iter().max_by(|a, b| a.frac.total_cmp(&b.frac))?;
        let logs: Vec<f64> = all.iter().map(|n| n.frac.max(1e-9).ln()).collect();
        Some(Next {
            limit: most.limit.clone(),
            seen_frac: most.frac,
            next_frac: next(&logs, level).exp(),
        })
    }

    /// A further seed may pass the limit.
    pub(super) fn may_pass(&self) -> bool {
        self.next_frac >= 1.0
    }
}

/// Upper end of the prediction of a further sample.
fn next(x: &[f64], level: f64) -> f64 {
    if x.len() < 2 {
        return f64::INFINITY;
    }
    let n = x.len() as f64;
    let t = t_quantile(0.5 + 0.5 * level, n - 1.0);
    mean(x) + t * standard_deviation(x) * (1.0 + 1.0 / n).sqrt()
}

/// Ratio of the root mean squares of pairs.
fn ratio(pairs: &[(f64, f64)], level: f64) -> Interval {
    let square = |of: &dyn Fn(&(f64, f64)) -> f64| {
        let all: Vec<f64> = pairs.iter().map(|p| of(p).powi(2)).collect();
        mean(&all)
    };
    let (a2, b2) = (square(&|p| p.0), square(&|p| p.1));
    let value = (a2 / b2).sqrt();
    let errors: Vec<f64> = pairs.iter().map(|(a, b)| a * a / a2 - b * b / b2).collect();
    // the errors' mean is zero
    let off = mean_interval(&errors, level);
    Interval {
        value,
        low: value * (0.5 * off.low).exp(),
        high: value * (0.5 * off.high).exp(),
    }
}

/// Largest ratio of an RMS with the transient over to the sound craft's on the same seas; none where either has no run
/// of which it could be told.
pub(super) fn worse(runs: &[RunMeasure], sound: &[RunMeasure], level: f64) -> Option<Interval> {
    let pairs: Vec<(&Peaks, &Peaks)> = runs
        .iter()
        .zip(sound)
        .filter_map(|(r, s)| Some((r.later.as_ref()?, s.later.as_ref()?)))
        .collect();
    let points = pairs.first().map_or(0, |p| p.0.vertical_rms_m_s2.len());
    let each = 1.0 - (1.0 - level) / (2 + points) as f64;
    let of = |f: &dyn Fn(&Peaks) -> f64| {
        let numbers: Vec<(f64, f64)> = pairs.iter().map(|(r, s)| (f(r), f(s))).collect();
        ratio(&numbers, each)
    };
    let mut all = vec![of(&|p| p.roll_rms_deg), of(&|p| p.pitch_rms_deg)];
    all.extend((0..points).map(|k| of(&|p| p.vertical_rms_m_s2.get(k).map_or(f64::NAN, |v| v.1))));
    all.retain(|i| i.value.is_finite());
    let greatest = |f: fn(&Interval) -> f64| all.iter().map(f).max_by(f64::total_cmp);
    Some(Interval {
        value: greatest(|i| i.value)?,
        low: greatest(|i| i.low)?,
        high: greatest(|i| i.high)?,
    })
}

/// Contacts of stretches, an hour.
pub(super) fn contacts_per_h(rides: &[&Peaks], level: f64) -> Interval {
    let hours: f64 = rides.iter().map(|p| p.length_s).sum::<f64>() / 3600.0;
    let count: usize = rides.iter().map(|p| p.contacts).sum();
    if count == 0 {
        return poisson_rate(0.0, hours, level);
    }
    let hourly = |p: &&Peaks| 3600.0 * p.contacts as f64 / p.length_s.max(1.0);
    let each: Vec<f64> = rides.iter().map(hourly).collect();
    let over = mean_interval(&each, level);
    Interval {
        value: count as f64 / hours,
        low: over.low.max(0.0),
        high: over.high,
    }
}

/// A number of the ride beside its limit.
pub(super) struct Against {
    what: String,
    unit: &'static str,
    decimals: usize,
    found: Interval,
    most: f64,
}

impl Against {
    pub(super) fn is_beyond(&self) -> bool {
        self.found.value.is_nan() || self.found.value > self.most
    }

    /// The interval holds the limit.
    pub(super) fn is_open(&self) -> bool {
        self.found.low <= self.most && self.found.high > self.most
    }

    pub(super) fn words(&self) -> String {
        let (d, found, most) = (self.decimals, self.found.value, self.most);
        let (what, unit) = (&self.what, self.unit);
        format!("{what} {found:.d$}{unit}, at most {most:.d$}")
    }

    /// The same with both ends.
    pub(super) fn doubt(&self) -> String {
        let d = self.decimals;
        let (low, high) = (self.found.low.max(0.0), self.found.high);
        let high = if high.is_finite() {
            format!("{high:.d$}")
        } else {
            "any".to_owned()
        };
        let (what, unit, most) = (&self.what, self.unit, self.most);
        format!("{what} {low:.d$} to {high}{unit}, at most {most:.d$}")
    }
}

/// A ride over seeds, each number beside its limit; nothing without seeds.
pub(super) fn against(rides: &[&Peaks], limits: &FailureLimitsSpec, level: f64) -> Vec<Against> {
    let Some(first) = rides.first() else {
        return Vec::new();
    };
    let pooled = |f: &dyn Fn(&Peaks) -> f64| {
        let each: Vec<f64> = rides.iter().map(|p| f(p)).collect();
        pooled_rms(&each, level)
    };
    let angle = |name: &str, found, most| Against {
        what: format!("{name} RMS"),
        unit: " deg",
        decimals: 2,
        found,
        most,
    };
    let mut out = vec![
        angle("roll", pooled(&|p| p.roll_rms_deg), limits.roll_rms_deg),
        angle("pitch", pooled(&|p| p.pitch_rms_deg), limits.pitch_rms_deg),
        Against {
            what: "contacts".to_owned(),
            unit: " an hour",
            decimals: 0,
            found: contacts_per_h(rides, level),
            most: limits.contacts_per_h,
        },
    ];
    let points = first.vertical_rms_m_s2.iter().enumerate();
    out.extend(points.map(|(k, (name, _))| Against {
        what: format!("vertical acceleration RMS at {name}"),
        unit: " m/s2",
        decimals: 2,
        found: pooled(&|p| p.vertical_rms_m_s2.get(k).map_or(0.0, |v| v.1)),
        most: limits.vertical_rms_m_s2,
    }));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};

    const TRIALS: u64 = 4000;
    /// Three standard errors of a share of 0.95 in so many trials.
    fn chance() -> f64 {
        3.0 * (0.95 * 0.05 / TRIALS as f64).sqrt()
    }

    /// RMS of six stretches that scatter by a tenth, most of it shared by the pair.
    fn pair(s: &mut Stream, times: f64) -> (f64, f64) {
        let shared = 1.0 + 0.1 * s.normal();
        let own = |s: &mut Stream| 1.0 + 0.04 * s.normal();
        (times * shared * own(s), shared * own(s))
    }

    #[test]
    fn the_ratio_keeps_its_level() {
        let mut held = 0;
        for trial in 0..TRIALS {
            let mut s = Stream::new(5, trial, Purpose::Other);
            let pairs: Vec<_> = (0..6).map(|_| pair(&mut s, 1.3)).collect();
            held += u64::from(ratio(&pairs, 0.95).holds(1.3));
        }
        let share = held as f64 / TRIALS as f64;
        assert!((share - 0.95).abs() < chance() + 0.005, "{share}");
        // by hand: one pair has no scatter to tell of
        let one = ratio(&[(3.0, 2.0)], 0.95);
        assert!((one.value - 1.5).abs() < 1e-12 && one.high.is_infinite());
    }

    #[test]
    fn the_next_seed_keeps_its_level() {
        let mut below = 0;
        for trial in 0..TRIALS {
            let mut s = Stream::new(6, trial, Purpose::Other);
            // largest of 60 Rayleigh amplitudes
            let mut peak = || {
                let all = (0..60).map(|_| (-2.0 * (1.0 - s.uniform()).ln()).sqrt());
                Nearest {
                    frac: 0.2 * all.fold(0.0, f64::max),
                    limit: "roll".to_owned(),
                }
            };
            let six: Vec<Nearest> = (0..6).map(|_| peak()).collect();
            let bound = Next::of(six.iter(), 0.95).unwrap().next_frac;
            below += u64::from(peak().frac <= bound);
        }
        // upper end of a two-sided interval of 0.95: 0.975; peaks lean, so some go beyond
        let share = below as f64 / TRIALS as f64;
        assert!(share > 0.96, "{share}");
    }

    #[test]
    fn no_contact_is_not_never() {
        let ride = |contacts| Peaks {
            length_s: 600.0,
            contacts,
            ..Peaks::default()
        };
        let (none, two) = (ride(0), ride(2));
        // Poisson: no event in an hour, at most 3.689 an hour
        let quiet = contacts_per_h(&[&none; 6], 0.95);
        assert!((quiet.high - 3.689).abs() < 1e-3, "{quiet:?}");
        let some = contacts_per_h(&[&none, &two], 0.95);
        assert!((some.value - 6.0).abs() < 1e-12 && some.holds(6.0));
    }
}
