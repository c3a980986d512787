//! How severe a fault is, in five words, and the order of the rows.
//!
//! # Equation
//! ```text
//! control lost    a run ends early: capsized, diverged, out of range
//! limit passed    a limit is passed in a seed before the craft can have slowed down, or no speed is left to slow to
//! slow down       margin or ride fails at this speed, or a limit is passed later; a lower speed holds
//! ride worse      an RMS grows by more than the share stated, all else holds
//! none            nothing of these
//! ```
//!
//! # Symbols
//! Limits and share are those of the file.
//!
//! # Valid when
//! The seeds run show what can happen; the interval of the share of seeds tells how far that can be trusted.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `the_worst_comes_first`

use std::cmp::Ordering;

use serde::Serialize;

use super::Row;
use super::measure::RunMeasure;
use crate::spec::failures::FailureLimitsSpec;

/// Classes, mildest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// All holds.
    None,
    /// The ride is worse.
    RideWorse,
    /// The craft must slow down, and has the time to.
    SlowDown,
    /// A limit is passed first.
    LimitPassed,
    /// A run ended early.
    ControlLost,
}

impl Severity {
    /// All, mildest first.
    pub const ALL: [Severity; 5] = [
        Severity::None,
        Severity::RideWorse,
        Severity::SlowDown,
        Severity::LimitPassed,
        Severity::ControlLost,
    ];

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Severity::None => "none",
            Severity::RideWorse => "ride worse",
            Severity::SlowDown => "slow down",
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
    if let Some(t) = row.to_end_s {
        let how = row.runs.iter().find_map(|r| r.ended.clone());
        let how = how.unwrap_or_default();
        return (Severity::ControlLost, format!("within {t:.0} s: {how}"));
    }
    let limit = row.limit.clone().unwrap_or_default();
    let down = row.come_down.as_ref();
    let fails = down.and_then(|c| c.fails.clone());
    let none_left = down.is_some_and(|c| c.speed_kn.is_none());
    if let Some(t) = row.to_limit_s {
        let holds_here = down.is_some() && fails.is_none();
        let slowed = row.slowed_after_s.filter(|_| !holds_here);
        return match slowed {
            Some(s) if t > s => (
                Severity::SlowDown,
                format!("{limit} beyond its limit after {t:.0} s, slowed down after {s:.0} s"),
            ),
            Some(s) => (
                Severity::LimitPassed,
                format!("{limit} beyond its limit after {t:.0} s, slowed down only after {s:.0} s"),
            ),
            None => (
                Severity::LimitPassed,
                format!("{limit} beyond its limit after {t:.0} s"),
            ),
        };
    }
    match fails {
        Some(why) if none_left => (
            Severity::LimitPassed,
            format!("{why}; no lower speed holds"),
        ),
        Some(why) => (Severity::SlowDown, why),
        None if row.worse_ratio > 1.0 + limits.worse_frac => (
            Severity::RideWorse,
            format!("RMS {:+.0} %", 100.0 * (row.worse_ratio - 1.0)),
        ),
        None => (Severity::None, String::new()),
    }
}

/// Largest ratio of an RMS, root of mean squares over the seeds, to the sound craft's on the same seas.
fn worse(runs: &[RunMeasure], sound: &[RunMeasure]) -> f64 {
    let of = |all: &[RunMeasure], f: &dyn Fn(&RunMeasure) -> f64| {
        all.iter().map(|r| f(r).powi(2)).sum::<f64>() / all.len().max(1) as f64
    };
    let ratio = |f: &dyn Fn(&RunMeasure) -> f64| (of(runs, f) / of(sound, f)).sqrt();
    let points = sound.first().map_or(0, |r| r.after.vertical_rms_m_s2.len());
    let mut all = vec![
        ratio(&|r| r.after.roll_rms_deg),
        ratio(&|r| r.after.pitch_rms_deg),
    ];
    all.extend(
        (0..points).map(|k| ratio(&|r| r.after.vertical_rms_m_s2.get(k).map_or(f64::NAN, |v| v.1))),
    );
    all.into_iter()
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max)
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
    let lower = |r: &Row| r.come_down.as_ref().map(|c| c.speed_kn.unwrap_or(0.0));
    b.severity
        .cmp(&a.severity)
        .then_with(|| soon(a.to_end_s, b.to_end_s))
        .then_with(|| b.passes_limit.value.total_cmp(&a.passes_limit.value))
        .then_with(|| soon(a.to_limit_s, b.to_limit_s))
        .then_with(|| soon(lower(a), lower(b)))
        .then_with(|| b.worse_ratio.total_cmp(&a.worse_ratio))
}

#[cfg(test)]
mod tests {
    use super::Severity;

    #[test]
    fn the_worst_comes_first() {
        let mut all = Severity::ALL.to_vec();
        all.sort_by(|a, b| b.cmp(a));
        assert_eq!(all[0], Severity::ControlLost);
        assert_eq!(all[4], Severity::None);
    }
}
