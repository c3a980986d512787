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
//!
//! open            the class seen may be another: an interval holds a limit between two classes ([`super::doubt`])
//!   none, ride worse     the ratio of RMS holds the share stated
//!   slow down            an RMS or the contacts with the fault hold their limit, either way
//!   limit passed         none is seen to be passed, but the next seed may
//! rank            from 1 + rows that are surely graver to all less rows that are surely milder
//! surely graver   a graver class, both decided or without common class; in one class, decided, by intervals apart:
//!                 shares that end or pass, the ratio of RMS, the speed to come down to by more than a step of the search
//! ```
//!
//! # Symbols
//! Limits and share are those of the file. What was seen in a seed is sure to be possible. A run that ends before its fault is no failure of the fault and counts for
//! nothing; such runs are counted apart.
//!
//! # Valid when
//! The seeds run show what can happen; the interval of a share tells how far that can be trusted.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `words_follow_from_the_row`, `the_worst_comes_first`, `an_interval_across_a_limit_is_undecided`,
//! `what_overlaps_shares_a_rank`

use std::cmp::Ordering;

use serde::Serialize;

use super::doubt::{Next, against, worse};
use super::measure::{Peaks, RunMeasure};
use super::row::Row;
use crate::math::stats::Interval;
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

/// Judges the rows of one law, sea, speed and heading, the sound craft first among them.
pub(super) fn settle(rows: &mut [Row], limits: &FailureLimitsSpec, level: f64) {
    let sound: Vec<RunMeasure> = rows.first().map_or(Vec::new(), |r| r.runs.clone());
    for row in rows {
        judge_row(row, &sound, limits, level);
    }
}

/// Judges a row against the sound craft's runs.
pub(super) fn judge_row(
    row: &mut Row,
    sound: &[RunMeasure],
    limits: &FailureLimitsSpec,
    level: f64,
) {
    row.worse_ratio = worse(&row.runs, sound, level);
    (row.severity, row.because) = judge(row, limits);
    let open = Open::of(row, limits, level);
    (row.at_least, row.at_most) = (open.least, open.most);
    row.open = open.why.join("; ");
}

/// Classes that intervals leave, and why more than one.
struct Open {
    least: Severity,
    most: Severity,
    why: Vec<String>,
}

impl Open {
    fn of(row: &Row, limits: &FailureLimitsSpec, level: f64) -> Self {
        let mut open = Open {
            least: row.severity,
            most: row.severity,
            why: Vec::new(),
        };
        // what a seed has shown is sure
        let is_seen = matches!(
            row.severity,
            Severity::NotJudged | Severity::LimitPassed | Severity::ControlLost
        );
        if !is_seen {
            open.by_ratio(row, limits);
            open.by_ride(row, limits, level);
            open.by_next(row);
        }
        open
    }

    fn by_ratio(&mut self, row: &Row, limits: &FailureLimitsSpec) {
        let Some(r) = row.worse_ratio.filter(|_| row.come_down.fails.is_none()) else {
            return;
        };
        let from = 1.0 + limits.worse_frac;
        self.least = ride(r.low, from);
        self.most = ride(r.high, from);
        if self.least != self.most {
            let from = 100.0 * limits.worse_frac;
            let told = percents(r);
            self.why
                .push(format!("RMS {told}, worse from {from:+.0} %"));
        }
    }

    /// RMS and contacts that hold their limits.
    fn by_ride(&mut self, row: &Row, limits: &FailureLimitsSpec, level: f64) {
        let rides: Vec<&Peaks> = row.runs.iter().filter_map(|r| r.later.as_ref()).collect();
        let all = against(&rides, limits, level);
        if row.come_down.fails.is_none() {
            for a in all.iter().filter(|a| a.is_open()) {
                self.most = self.most.max(Severity::SlowDown);
                self.why.push(a.doubt());
            }
            return;
        }
        let mut beyond = all.iter().filter(|a| a.is_beyond());
        if fails_by_ride_alone(row, limits) && beyond.clone().all(super::doubt::Against::is_open) {
            let low = row.worse_ratio.map_or(1.0, |r| r.low);
            self.least = ride(low, 1.0 + limits.worse_frac);
            self.why
                .extend(beyond.next().map(super::doubt::Against::doubt));
        }
    }

    /// A limit that no seed has passed yet: on the way down where the craft must slow down and does so in the runs.
    fn by_next(&mut self, row: &Row) {
        let slow = row.slow_down.as_ref().map(|s| &s.nearest);
        let near = slow.unwrap_or(&row.nearest).as_ref();
        if let Some(n) = near.filter(|n| n.may_pass()) {
            self.most = Severity::LimitPassed;
            self.why.push(may_pass(n));
        }
    }
}

fn may_pass(n: &Next) -> String {
    let (limit, seen) = (&n.limit, n.seen_frac);
    if n.next_frac.is_finite() {
        format!(
            "{limit} comes to {seen:.2} of its limit, the next seed to {:.2} at most",
            n.next_frac
        )
    } else {
        format!("{limit} comes to {seen:.2} of its limit; one seed tells nothing of the next")
    }
}

fn ride(ratio: f64, worse_from: f64) -> Severity {
    if ratio > worse_from {
        Severity::RideWorse
    } else {
        Severity::None
    }
}

/// Neither poles nor margin nor a limit at an instant make the row's speed fail: RMS or contacts do.
fn fails_by_ride_alone(row: &Row, limits: &FailureLimitsSpec) -> bool {
    let is_fit = row
        .linear
        .as_ref()
        .is_none_or(|l| l.is_stable && l.disk.is_none_or(|d| d >= limits.disk_margin));
    is_fit && row.runs.iter().all(|r| r.limit_later.is_none())
}

/// A ratio as change in percent with its ends.
pub(super) fn percents(ratio: Interval) -> String {
    let of = |v: f64| 100.0 * (v - 1.0);
    let change = format!("{:+.0}", of(ratio.value));
    // no minus sign before a change that rounds to none
    let change = change.replace("-0", "+0");
    if ratio.high.is_finite() {
        format!("{change} % ({:.0} to {:.0})", of(ratio.low), of(ratio.high))
    } else {
        format!("{change} %")
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
            Some(r) if r.value > 1.0 + limits.worse_frac => {
                (Severity::RideWorse, format!("RMS {}", percents(r)))
            }
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

/// Most severe first by what was seen, with the places that intervals leave; what is left equal stays in the order of
/// the list. Speeds to come down to tell rows apart that differ by more than `step_kn`.
pub(super) fn rank(rows: &mut [Row], step_kn: f64) {
    rows.sort_by(compare);
    let ranks: Vec<[usize; 2]> = rows
        .iter()
        .map(|r| {
            let graver = rows.iter().filter(|o| is_graver(o, r, step_kn)).count();
            let milder = rows.iter().filter(|o| is_graver(r, o, step_kn)).count();
            [1 + graver, rows.len() - milder]
        })
        .collect();
    for (row, rank) in rows.iter_mut().zip(ranks) {
        row.rank = rank;
    }
}

/// Surely graver, whatever the intervals leave open.
fn is_graver(a: &Row, b: &Row, step_kn: f64) -> bool {
    if a.at_least > b.at_most {
        return true;
    }
    if a.severity != b.severity || !a.is_decided() || !b.is_decided() {
        return false;
    }
    let above = |x: Interval, y: Interval| x.low > y.high;
    match a.severity {
        Severity::ControlLost => above(a.ends, b.ends),
        Severity::LimitPassed => above(a.passes_limit, b.passes_limit),
        Severity::SlowDown => {
            let speed = |r: &Row| r.come_down.speed_kn.unwrap_or(0.0);
            speed(a) + step_kn + 1e-9 < speed(b)
        }
        Severity::RideWorse | Severity::None => {
            let both = a.worse_ratio.zip(b.worse_ratio);
            both.is_some_and(|(a, b)| above(a, b))
        }
        Severity::NoSpeedHolds | Severity::NotJudged => false,
    }
}

fn compare(a: &Row, b: &Row) -> Ordering {
    let soon = |x: Option<f64>, y: Option<f64>| {
        let of = |v: Option<f64>| v.unwrap_or(f64::INFINITY);
        of(x).total_cmp(&of(y))
    };
    let limit = |r: &Row| r.limit.as_ref().map(|l| l.after_s);
    let lower = |r: &Row| Some(r.come_down.speed_kn.unwrap_or(0.0));
    let ratio = |r: &Row| r.worse_ratio.map_or(0.0, |i| i.value);
    b.severity
        .cmp(&a.severity)
        .then_with(|| b.at_most.cmp(&a.at_most))
        .then_with(|| b.at_least.cmp(&a.at_least))
        .then_with(|| soon(a.to_end_s, b.to_end_s))
        .then_with(|| b.passes_limit.value.total_cmp(&a.passes_limit.value))
        .then_with(|| soon(limit(a), limit(b)))
        .then_with(|| soon(lower(a), lower(b)))
        .then_with(|| ratio(b).total_cmp(&ratio(a)))
}

#[cfg(test)]
mod tests;
