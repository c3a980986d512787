//! One row of the matrix: what was run for it, and what that says.

use serde::{Deserialize, Serialize};

use super::descent::ComeDown;
use super::doubt::Next;
use super::measure::{LimitPassed, RunMeasure};
use super::severity::Severity;
use super::spread::{self, SlowDown, Spread};
use super::trial::SlowRun;
use crate::closed_loop::faulted::LinearVerdict;
use crate::math::stats::Interval;
use crate::math::stats::sample::clopper_pearson;

/// What was run and searched for one row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Found {
    pub(super) linear: Option<LinearVerdict>,
    pub(super) linear_leaves_out: Vec<String>,
    pub(super) come_down: ComeDown,
    pub(super) slowed_in_calm_s: Option<f64>,
    pub(super) runs: Vec<RunMeasure>,
    pub(super) slow_runs: Vec<SlowRun>,
}

/// Where a row belongs.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// Law.
    pub law: String,
    /// Sea.
    pub sea: String,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
}

/// One row of the matrix.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// The fault in words.
    pub fault: String,
    /// Law.
    pub law: String,
    /// Name of the sea.
    pub sea: String,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// How severe, by what the seeds show.
    pub severity: Severity,
    /// Mildest class that the intervals leave open.
    pub at_least: Severity,
    /// Gravest class that the intervals leave open; the class is undecided where it is another than `at_least`.
    pub at_most: Severity,
    /// Why, in words.
    pub because: String,
    /// What leaves the class open, in words; empty where it is decided.
    pub open: String,
    /// First and last place among all rows, from 1, that intervals leave open; rows that overlap are not told apart.
    pub rank: [usize; 2],
    /// The linear loop with the fault; none for a law without linear form.
    pub linear: Option<LinearVerdict>,
    /// What of the fault the linear loop leaves out.
    pub linear_leaves_out: Vec<String>,
    /// Speed to come down to.
    pub come_down: ComeDown,
    /// Coming down to it, simulated; none where this speed holds, where none does, or where it is not simulated.
    pub slow_down: Option<SlowDown>,
    /// Time from the fault to that speed at the best, s: reaction, then throttles back in calm water.
    pub slowed_in_calm_s: Option<f64>,
    /// Runs that ended before the fault: they say nothing of it and count for nothing.
    pub ended_before_fault: usize,
    /// Share of the seeds that reach the fault and pass a limit after it, or end.
    pub passes_limit: Interval,
    /// Share of the seeds that reach the fault and end early after it.
    pub ends: Interval,
    /// Largest share of any limit that a motion or acceleration comes to after the fault: seen, and the greatest that the
    /// next seed may come to; none without seeds.
    pub nearest: Option<Next>,
    /// The soonest limit of all seeds; none where no seed passes one.
    pub limit: Option<LimitPassed>,
    /// Median time from the fault to the first limit, s; none where no seed passes one, infinite (`null` in JSON)
    /// where fewer than half do.
    pub median_limit_s: Option<Interval>,
    /// Shortest time from the fault to an early end of a run, s.
    pub to_end_s: Option<f64>,
    /// Peaks and ride over seeds, before and after the fault.
    pub spread: Spread,
    /// Largest ratio of an RMS after the fault to the sound craft's with the same law; none where it cannot be told.
    pub worse_ratio: Option<Interval>,
    /// Every seed.
    pub runs: Vec<RunMeasure>,
}

impl Row {
    /// Of what was found at `spot`, its intervals at `level`. Severity comes with the sound craft's row.
    pub(super) fn of(fault: &str, spot: &Spot, found: Found, level: f64) -> Self {
        let runs = found.runs;
        let reached = || runs.iter().filter(|r| !r.ended_before_fault());
        let n = reached().count() as u64;
        let is_passed = |r: &&RunMeasure| r.limit.is_some() || r.to_end_s().is_some();
        let passed = reached().filter(is_passed).count() as u64;
        let ended = reached().filter(|r| r.to_end_s().is_some()).count() as u64;
        let first = reached().min_by(|a, b| a.to_limit_s().total_cmp(&b.to_limit_s()));
        let times: Vec<f64> = reached().map(RunMeasure::to_limit_s).collect();
        let slow = (!found.slow_runs.is_empty()).then(|| SlowDown::of(found.slow_runs, level));
        Row {
            fault: fault.to_owned(),
            law: spot.law.clone(),
            sea: spot.sea.clone(),
            speed_kn: spot.speed_kn,
            heading_deg: spot.heading_deg,
            severity: Severity::None,
            at_least: Severity::None,
            at_most: Severity::None,
            because: String::new(),
            open: String::new(),
            rank: [1, 1],
            linear: found.linear,
            linear_leaves_out: found.linear_leaves_out,
            come_down: found.come_down,
            slow_down: slow,
            slowed_in_calm_s: found.slowed_in_calm_s,
            ended_before_fault: runs.len() - n as usize,
            passes_limit: clopper_pearson(passed, n, level),
            ends: clopper_pearson(ended, n, level),
            nearest: Next::of(reached().filter_map(|r| r.nearest.as_ref()), level),
            limit: first.and_then(|r| r.limit.clone()),
            median_limit_s: spread::median_s(&times, level),
            to_end_s: reached()
                .filter_map(RunMeasure::to_end_s)
                .min_by(f64::total_cmp),
            spread: Spread::of(&runs, level),
            worse_ratio: None,
            runs,
        }
    }

    /// The intervals leave one class only.
    pub fn is_decided(&self) -> bool {
        self.at_least == self.at_most
    }

    /// The class in words; `undecided` where the intervals leave several.
    pub fn class(&self) -> String {
        if self.is_decided() {
            self.severity.words().to_owned()
        } else {
            let (mild, grave) = (self.at_least.words(), self.at_most.words());
            format!("undecided: {mild} to {grave}")
        }
    }

    /// Waves, speed and sea of another row are these.
    pub fn is_at(&self, other: &Row) -> bool {
        self.sea == other.sea
            && self.speed_kn.total_cmp(&other.speed_kn).is_eq()
            && self.heading_deg.total_cmp(&other.heading_deg).is_eq()
    }
}
