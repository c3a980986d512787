//! How severe a fault is, in a few words, and the order of the rows.
//!
//! # Equation
//! ```text
//! control lost    a run ends early after the fault: capsized, diverged, out of range
//! limit passed    a limit is passed before the craft has slowed down, or in the fault's transient at a speed that holds
//! no speed holds  what is needed is not there at this speed, nor at any lower one looked at
//! slow down       it is not there at this speed; a lower one holds and is reached in time
//! ride worse      all holds; an RMS grows by more than the share stated
//! none            nothing of these
//! not judged      no run reached the fault: all ended before it
//! ```
//!
//! # Symbols
//! Limits and share are those of the file. A run that ends before its fault is no failure of the fault and counts for
//! nothing; such runs are counted apart.
//!
//! # Valid when
//! The seeds run show what can happen; the interval of a share tells how far that can be trusted.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `words_follow_from_the_row`, `the_worst_comes_first`, `the_ride_is_worse_by_the_greatest_ratio`

use std::cmp::Ordering;

use serde::Serialize;

use super::Row;
use super::measure::{Peaks, RunMeasure};
use crate::spec::failures::FailureLimitsSpec;

/// Classes, mildest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// No run reached the fault.
    NotJudged,
    /// All holds.
    None,
    /// The ride is worse.
    RideWorse,
    /// The craft must slow down, and has the time to.
    SlowDown,
    /// What is needed is there at no speed looked at.
    NoSpeedHolds,
    /// A limit is passed first.
    LimitPassed,
    /// A run ended early.
    ControlLost,
}

impl Severity {
    /// All, mildest first.
    pub const ALL: [Severity; 7] = [
        Severity::NotJudged,
        Severity::None,
        Severity::RideWorse,
        Severity::SlowDown,
        Severity::NoSpeedHolds,
        Severity::LimitPassed,
        Severity::ControlLost,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Severity::NotJudged => "not judged",
            Severity::None => "none",
            Severity::RideWorse => "ride worse",
            Severity::SlowDown => "slow down",
            Severity::NoSpeedHolds => "no speed holds",
            Severity::LimitPassed => "limit passed",
            Severity::ControlLost => "control lost",
        }
    }
}

/// Judges the rows of one law, speed and heading, the sound craft first among them.
pub(super) fn settle(rows: &mut [Row], limits: &FailureLimitsSpec) {
    let sound: Vec<RunMeasure> = rows.first().map_or(Vec::new(), |r| r.runs.clone());
    for row in rows {
        row.worse_ratio = worse(&row.runs, &sound);
        (row.severity, row.because) = judge(row, limits);
    }
}

fn judge(row: &Row, limits: &FailureLimitsSpec) -> (Severity, String) {
    if row.runs.len() == row.ended_before_fault {
        let how = row.runs.iter().find_map(|r| r.ended.clone());
        let told = format!(
            "every run ended before the fault: {}",
            how.unwrap_or_default()
        );
        return (Severity::NotJudged, told);
    }
    if let Some(t) = row.to_end_s {
        let mut with_fault = row.runs.iter().filter(|r| !r.ended_before_fault());
        let how = with_fault.find_map(|r| r.ended.clone());
        let told = format!("after {t:.0} s: {}", how.unwrap_or_default());
        return (Severity::ControlLost, told);
    }
    let limit = row.limit.as_ref().map(|l| {
        let (words, t) = (&l.limit, l.after_s);
        format!("{words} beyond its limit after {t:.0} s")
    });
    match (&row.come_down.fails, row.come_down.speed_kn, limit) {
        (None, _, Some(limit)) => {
            let told = format!("{limit}, in the transient; this speed holds after it");
            (Severity::LimitPassed, told)
        }
        (None, _, None) => match row.worse_ratio {
            Some(r) if r > 1.0 + limits.worse_frac => (
                Severity::RideWorse,
                format!("RMS {:+.0} %", 100.0 * (r - 1.0)),
            ),
            _ => (Severity::None, String::new()),
        },
        (Some(_), None, Some(limit)) => (
            Severity::LimitPassed,
            format!("{limit}; no lower speed holds"),
        ),
        (Some(why), None, None) => (Severity::NoSpeedHolds, why.clone()),
        (Some(why), Some(to_kn), limit) => down(row, why, to_kn, limit),
    }
}

/// A lower speed holds: is there time to come down to it?
fn down(row: &Row, why: &str, to_kn: f64, limit: Option<String>) -> (Severity, String) {
    if let Some(s) = row.slow_down.as_ref().filter(|s| s.slowed_runs > 0) {
        let n = s.runs.len();
        let late = s.runs.iter().filter(|r| r.is_too_late()).count();
        let slowed = format!(
            "{to_kn:.1} kn reached after {:.0} s",
            s.slowed_after_s.value
        );
        if late > 0 {
            let told = format!("{why}; {slowed}, too late in {late} of {n} seeds");
            return (Severity::LimitPassed, told);
        }
        let told = limit.map_or(String::new(), |l| format!("; without slowing down {l}"));
        return (Severity::SlowDown, format!("{why}; {slowed}{told}"));
    }
    // not simulated: the shortest time in calm water against the soonest limit
    let soon = row.limit.as_ref().map_or(f64::INFINITY, |l| l.after_s);
    match row.slowed_in_calm_s {
        Some(t) if t < soon => (
            Severity::SlowDown,
            format!("{why}; {to_kn:.1} kn after {t:.0} s at best, not simulated"),
        ),
        _ if soon.is_finite() => (
            Severity::LimitPassed,
            format!("{why}; a limit is passed after {soon:.0} s"),
        ),
        _ => (Severity::SlowDown, why.to_owned()),
    }
}

/// Largest ratio of an RMS with the transient over, root of mean squares over the seeds, to the sound craft's on the
/// same seas; none where either has no run to the end of which it could be told.
fn worse(runs: &[RunMeasure], sound: &[RunMeasure]) -> Option<f64> {
    let pairs: Vec<(&Peaks, &Peaks)> = runs
        .iter()
        .zip(sound)
        .filter_map(|(r, s)| Some((r.later.as_ref()?, s.later.as_ref()?)))
        .collect();
    let ratio = |f: &dyn Fn(&Peaks) -> f64| {
        let sums = pairs.iter().fold((0.0, 0.0), |(a, b), (r, s)| {
            (a + f(r).powi(2), b + f(s).powi(2))
        });
        (sums.0 / sums.1).sqrt()
    };
    let points = pairs.first().map_or(0, |p| p.0.vertical_rms_m_s2.len());
    let mut all = vec![ratio(&|p| p.roll_rms_deg), ratio(&|p| p.pitch_rms_deg)];
    all.extend(
        (0..points).map(|k| ratio(&|p| p.vertical_rms_m_s2.get(k).map_or(f64::NAN, |v| v.1))),
    );
    let told = all.into_iter().filter(|v| v.is_finite());
    told.max_by(f64::total_cmp)
}

/// Most severe first; what is left equal stays in the order of the list.
pub(super) fn rank(rows: &mut [Row]) {
    rows.sort_by(compare);
}

fn compare(a: &Row, b: &Row) -> Ordering {
    let soon = |x: Option<f64>, y: Option<f64>| {
        let of = |v: Option<f64>| v.unwrap_or(f64::INFINITY);
        of(x).total_cmp(&of(y))
    };
    let limit = |r: &Row| r.limit.as_ref().map(|l| l.after_s);
    let lower = |r: &Row| Some(r.come_down.speed_kn.unwrap_or(0.0));
    let ratio = |r: &Row| r.worse_ratio.unwrap_or(0.0);
    b.severity
        .cmp(&a.severity)
        .then_with(|| soon(a.to_end_s, b.to_end_s))
        .then_with(|| b.passes_limit.value.total_cmp(&a.passes_limit.value))
        .then_with(|| soon(limit(a), limit(b)))
        .then_with(|| soon(lower(a), lower(b)))
        .then_with(|| ratio(b).total_cmp(&ratio(a)))
}

#[cfg(test)]
mod tests;
