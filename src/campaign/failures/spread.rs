//! What the seeds of a row have in common: means and shares with their intervals.
//!
//! # Equation
//! ```text
//! mean over seeds     xbar / f ... xbar f,  f = exp(t_(n-1) s / (xbar sqrt(n)))      shares   Clopper-Pearson
//! contacts            [`super::doubt`]
//! time to a limit     median of the seeds, ranks as its interval; a seed that passes none counts as later than all
//! ```
//!
//! # Symbols
//! n seeds whose runs reached the fault.
//!
//! # Valid when
//! Seeds independent. What has a mean cannot be negative, so neither can its ends; from one seed a mean has no upper
//! end (infinite, `null` in JSON); a median has two ends at the level of 95 % from six seeds on.
//!
//! # Source
//! [`crate::math::stats::sample`], [`crate::math::stats::order`].
//!
//! # Checked by
//! `seeds_that_end_before_the_fault_do_not_count`, `a_median_with_seeds_that_pass_nothing`

use serde::Serialize;

use super::doubt::{Next, contacts_per_h};
use super::measure::{Peaks, RunMeasure};
use super::trial::SlowRun;
use crate::math::stats::Interval;
use crate::math::stats::order::quantile_interval;
use crate::math::stats::sample::{clopper_pearson, positive_mean_interval};

/// Means over seeds before the fault, after it (peaks) and from 30 s after it on (RMS).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Spread {
    /// Largest roll before, deg.
    pub roll_before_deg: Interval,
    /// Largest roll after, deg.
    pub roll_after_deg: Interval,
    /// Largest pitch before, deg.
    pub pitch_before_deg: Interval,
    /// Largest pitch after, deg.
    pub pitch_after_deg: Interval,
    /// Largest rise or sinkage before, m.
    pub heave_before_m: Interval,
    /// Largest rise or sinkage after, m.
    pub heave_after_m: Interval,
    /// Largest vertical acceleration at any point before, m/s2.
    pub vertical_before_m_s2: Interval,
    /// Largest vertical acceleration at any point after, m/s2.
    pub vertical_after_m_s2: Interval,
    /// Largest lateral acceleration felt at any point before, m/s2.
    pub lateral_before_m_s2: Interval,
    /// Largest lateral acceleration felt at any point after, m/s2.
    pub lateral_after_m_s2: Interval,
    /// Roll RMS, the transient over, deg.
    pub roll_rms_deg: Interval,
    /// Pitch RMS, the transient over, deg.
    pub pitch_rms_deg: Interval,
    /// Greatest vertical acceleration RMS of the named points, the transient over, m/s2.
    pub vertical_rms_m_s2: Interval,
    /// Contacts before, an hour.
    pub contacts_before_per_h: Interval,
    /// Contacts after, an hour.
    pub contacts_after_per_h: Interval,
    /// Time to settle, s, of the runs that did.
    pub settles_after_s: Interval,
    /// Runs that settled.
    pub settled_runs: usize,
}

impl Spread {
    /// Of the runs of a row that reached the fault.
    pub fn of(runs: &[RunMeasure], level: f64) -> Self {
        let with_fault = || runs.iter().filter(|r| !r.ended_before_fault());
        let over = |x: Vec<f64>| positive_mean_interval(&x, level);
        let before = |f: &dyn Fn(&Peaks) -> f64| over(with_fault().map(|r| f(&r.before)).collect());
        let after = |f: &dyn Fn(&Peaks) -> f64| {
            over(
                runs.iter()
                    .filter_map(|r| r.after.as_ref())
                    .map(f)
                    .collect(),
            )
        };
        let later = |f: &dyn Fn(&Peaks) -> f64| {
            over(
                runs.iter()
                    .filter_map(|r| r.later.as_ref())
                    .map(f)
                    .collect(),
            )
        };
        let settled: Vec<f64> = runs.iter().filter_map(|r| r.settles.after_s).collect();
        let all_before: Vec<&Peaks> = with_fault().map(|r| &r.before).collect();
        let all_after: Vec<&Peaks> = runs.iter().filter_map(|r| r.after.as_ref()).collect();
        Spread {
            roll_before_deg: before(&|p| p.roll_deg),
            roll_after_deg: after(&|p| p.roll_deg),
            pitch_before_deg: before(&|p| p.pitch_deg),
            pitch_after_deg: after(&|p| p.pitch_deg),
            heave_before_m: before(&|p| p.heave_m),
            heave_after_m: after(&|p| p.heave_m),
            vertical_before_m_s2: before(&|p| greatest(&p.vertical_m_s2)),
            vertical_after_m_s2: after(&|p| greatest(&p.vertical_m_s2)),
            lateral_before_m_s2: before(&|p| greatest(&p.lateral_m_s2)),
            lateral_after_m_s2: after(&|p| greatest(&p.lateral_m_s2)),
            roll_rms_deg: later(&|p| p.roll_rms_deg),
            pitch_rms_deg: later(&|p| p.pitch_rms_deg),
            vertical_rms_m_s2: later(&|p| greatest(&p.vertical_rms_m_s2)),
            contacts_before_per_h: contacts_per_h(&all_before, level),
            contacts_after_per_h: contacts_per_h(&all_after, level),
            settled_runs: settled.len(),
            settles_after_s: over(settled),
        }
    }
}

fn greatest(all: &[(String, f64)]) -> f64 {
    all.iter().map(|v| v.1).fold(0.0, f64::max)
}

/// How coming down to the speed found went, over the seeds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SlowDown {
    /// Time from the fault to that speed, s, the reaction included; of the seeds that reached it.
    pub slowed_after_s: Interval,
    /// Seeds that reached it.
    pub slowed_runs: usize,
    /// Share of seeds that pass a limit, or end, before they have slowed down.
    pub too_late: Interval,
    /// Share of seeds that end, or pass a limit at that speed: none seen, with its upper end.
    pub does_not_hold: Interval,
    /// Largest share of any limit before the speed is reached; none without seeds.
    pub nearest: Option<Next>,
    /// Shortest time to a limit on the way down, s; none where no seed passes one.
    pub first_limit_s: Option<f64>,
    /// Roll RMS there, deg.
    pub roll_rms_deg: Interval,
    /// Pitch RMS there, deg.
    pub pitch_rms_deg: Interval,
    /// Greatest vertical acceleration RMS of the named points there, m/s2.
    pub vertical_rms_m_s2: Interval,
    /// Every seed.
    pub runs: Vec<SlowRun>,
}

impl SlowDown {
    /// Of the runs to the speed found.
    pub fn of(runs: Vec<SlowRun>, level: f64) -> Self {
        let slowed: Vec<f64> = runs.iter().filter_map(|r| r.slowed_after_s).collect();
        let late = runs.iter().filter(|r| r.is_too_late()).count() as u64;
        let is_bad = |r: &&SlowRun| r.ended.is_some() || r.limit_there.is_some();
        let bad = runs.iter().filter(is_bad).count() as u64;
        let told = runs
            .iter()
            .filter(|r| r.ended.is_some() || r.there.is_some());
        let told = told.count() as u64;
        let limits = runs.iter().filter(|r| r.is_too_late());
        let limits = limits.filter_map(|r| r.limit.as_ref().map(|l| l.after_s));
        let there = |f: &dyn Fn(&Peaks) -> f64| {
            let all = runs.iter().filter_map(|r| r.there.as_ref());
            positive_mean_interval(&all.map(f).collect::<Vec<_>>(), level)
        };
        SlowDown {
            slowed_runs: slowed.len(),
            slowed_after_s: positive_mean_interval(&slowed, level),
            too_late: clopper_pearson(late, runs.len() as u64, level),
            does_not_hold: clopper_pearson(bad, told, level),
            nearest: Next::of(runs.iter().filter_map(|r| r.nearest.as_ref()), level),
            first_limit_s: limits.min_by(f64::total_cmp),
            roll_rms_deg: there(&|p| p.roll_rms_deg),
            pitch_rms_deg: there(&|p| p.pitch_rms_deg),
            vertical_rms_m_s2: there(&|p| greatest(&p.vertical_rms_m_s2)),
            runs,
        }
    }
}

/// Median of times of which some are infinite, the lower of the two in the middle, with its interval by ranks.
pub(super) fn median_s(times: &[f64], level: f64) -> Option<Interval> {
    let mut sorted = times.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.first().filter(|t| t.is_finite())?;
    let ends = quantile_interval(&sorted, 0.5, level);
    Some(Interval {
        value: sorted[(sorted.len() - 1) / 2],
        low: ends.low.max(0.0),
        high: ends.high,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::failures::settle::Settling;

    fn run(roll_deg: f64, reached: bool) -> RunMeasure {
        let peaks = Peaks {
            roll_deg,
            length_s: 60.0,
            contacts: 1,
            ..Peaks::default()
        };
        RunMeasure {
            seed: 1,
            fault_s: 100.0,
            ended: None,
            ended_after_s: (!reached).then_some(-5.0),
            before: peaks.clone(),
            after: reached.then(|| peaks.clone()),
            later: None,
            settles: Settling::default(),
            nearest: None,
            limit: None,
            limit_later: None,
        }
    }

    #[test]
    fn seeds_that_end_before_the_fault_do_not_count() {
        let s = Spread::of(&[run(2.0, true), run(4.0, true), run(40.0, false)], 0.95);
        assert!((s.roll_after_deg.value - 3.0).abs() < 1e-12);
        assert!((s.roll_before_deg.value - 3.0).abs() < 1e-12);
        // Student's 12.706 of one degree of freedom, sqrt(2) / sqrt(2) deg on 3 deg: on the scale of logarithms
        let factor = (12.706_f64 / 3.0).exp();
        assert!((s.roll_after_deg.high / (3.0 * factor) - 1.0).abs() < 1e-3);
        assert!((s.roll_after_deg.low * factor / 3.0 - 1.0).abs() < 1e-3);
        assert!((s.contacts_after_per_h.value - 60.0).abs() < 1e-9);
    }

    #[test]
    fn a_median_with_seeds_that_pass_nothing() {
        let never = f64::INFINITY;
        assert_eq!(median_s(&[never, never], 0.95), None);
        let m = median_s(&[never, 3.0, 9.0, 5.0, never, 7.0, 8.0, 6.0], 0.95).unwrap();
        assert!((m.value - 7.0).abs() < 1e-12);
        // eight samples: the first and the last bound the median at 95 % (sign test, 2/256)
        assert!((m.low - 3.0).abs() < 1e-12 && m.high.is_infinite(), "{m:?}");
    }
}
