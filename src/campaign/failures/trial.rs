//! The runs of one row: going on with the fault, and slowing down with it.
//!
//! # Equation
//! ```text
//! fault    at t_f, drawn for each seed, alike for all faults and laws
//! order    slow down to U_k at t_f + reaction
//! slowed   first t >= t_f with u <= U_k + 0.25 kn
//! there    from 30 s after that to the end: the ride at that speed, with the fault as it happened
//! ```
//!
//! # Symbols
//! u speed along the keel, U_k a speed of the search (kn).
//!
//! # Valid when
//! Slowing down, wave forces are blended between tables of several speeds and the memory is that of the speed at which
//! the fault happened ([`crate::sim::ramp`]); throttles go to their stops until the last knots, as in ramps. The order
//! takes a course that is kept by thrust and rudders: springs that hold the mean speed do not slow down.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `slowing_down_is_simulated`, `rows_do_not_depend_on_threads_or_stops` (tests/failures.rs)

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::doubt::{Against, against};
use super::measure::{
    LimitPassed, Nearest, Peaks, RunMeasure, TRANSIENT_S, column, first_limit, measured, nearest,
    sample, stretch,
};
use super::settle::Track;
use crate::campaign::stage::{LawPlan, SpeedStage, Stage, Variant};
use crate::closed_loop::LoopCraft;
use crate::closed_loop::schedule::ramp::THROTTLE_S;
use crate::dynamics::plant::Plant;
use crate::error::Result;
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::LEVEL;
use crate::sim::case::Case;
use crate::sim::craft::Craft;
use crate::sim::ramp::RampCraft;
use crate::sim::record::Record;
use crate::sim::run::run;
use crate::spec::failures::{FailureLimitsSpec, FailuresSpec};
use crate::spec::fault::{BreakageSpec, FaultEventSpec, StartSpec};
use crate::spec::orders::{ActionSpec, OrderSpec};
use crate::spec::scenario::CourseSpec;
use crate::units::{kn, to_kn};

/// Speed this near to the one ordered counts as reached, kn.
const REACHED_KN: f64 = 0.25;
/// Least distance of two speeds whose wave forces are blended, m/s.
const TABLE_STEP_M_S: f64 = 1.0;

/// One seed in which the order to slow down is given.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SlowRun {
    /// Seed.
    pub seed: u64,
    /// How the run ended when early.
    pub ended: Option<String>,
    /// Time from the fault to that end, s.
    pub ended_after_s: Option<f64>,
    /// Time from the fault to the speed ordered, s; none when it was not reached.
    pub slowed_after_s: Option<f64>,
    /// First limit passed after the fault.
    pub limit: Option<LimitPassed>,
    /// How near it comes to its limits between the fault and the speed ordered, or the end.
    pub nearest: Option<Nearest>,
    /// The ride from 30 s after the speed ordered was reached; none when the run is too short for it.
    pub there: Option<Peaks>,
    /// First limit passed in that time.
    pub limit_there: Option<LimitPassed>,
}

impl SlowRun {
    /// A limit was passed, or the run ended, before the craft had slowed down.
    pub fn is_too_late(&self) -> bool {
        let slowed = self.slowed_after_s.unwrap_or(f64::INFINITY);
        let limit = self.limit.as_ref().map_or(f64::INFINITY, |l| l.after_s);
        let end = self.ended_after_s.unwrap_or(f64::INFINITY);
        limit.min(end) < slowed
    }

    fn verdict(&self) -> Verdict {
        let told = |words: &str| format!("seed {}: {words}", self.seed);
        if let Some(ended) = &self.ended {
            Verdict::Fails(told(ended))
        } else if self.slowed_after_s.is_none() {
            Verdict::TooShort("the run ends before the speed is reached".to_owned())
        } else if self.there.is_none() {
            Verdict::TooShort("the run ends too soon after the speed is reached".to_owned())
        } else {
            match &self.limit_there {
                Some(l) => Verdict::Fails(told(&format!("{} beyond its limit", l.limit))),
                None => Verdict::Holds,
            }
        }
    }
}

/// What slowing down to a speed says of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Verdict {
    /// All runs go on there within limits.
    Holds,
    /// One does not, in words.
    Fails(String),
    /// The runs are too short to tell, in words.
    TooShort(String),
}

/// Why a craft that goes on at its speed does not hold there; none when it does.
pub(super) fn fails_going_on(runs: &[RunMeasure], limits: &FailureLimitsSpec) -> Option<String> {
    let with_fault = || runs.iter().filter(|r| !r.ended_before_fault());
    for r in with_fault() {
        if let Some(ended) = &r.ended {
            return Some(format!("seed {}: {ended}", r.seed));
        }
        if let Some(l) = &r.limit_later {
            return Some(format!("seed {}: {} beyond its limit", r.seed, l.limit));
        }
    }
    rides_badly(with_fault().filter_map(|r| r.later.as_ref()), limits)
}

/// The first RMS, root of mean squares over runs, beyond its limit; or too many contacts.
fn rides_badly<'a>(
    rides: impl Iterator<Item = &'a Peaks>,
    limits: &FailureLimitsSpec,
) -> Option<String> {
    let rides: Vec<&Peaks> = rides.collect();
    let all = against(&rides, limits, LEVEL);
    all.iter().find(|a| a.is_beyond()).map(Against::words)
}

/// The runs of one row.
pub(super) struct Runs<'a> {
    pub(super) stage: &'a Stage,
    pub(super) speed: &'a SpeedStage,
    pub(super) spec: &'a FailuresSpec,
    pub(super) plan: &'a LawPlan,
    pub(super) heading_deg: f64,
    pub(super) faults: &'a [BreakageSpec],
}

impl Runs<'_> {
    /// One seed, nobody slowing down; `sound` has the track of the sound craft, none when this is it.
    pub(super) fn going_on(&self, seed: u64, sound: Option<&Track>) -> Result<(RunMeasure, Track)> {
        let fault_s = self.fault_s(seed);
        let case = self.case(seed, None)?;
        let result = run(&case, self.plan.make()?.as_mut());
        let (record, outcome) = (&result.record, &result.outcome);
        let mut m = measured(record, outcome, fault_s, &self.spec.limits, sound);
        m.seed = seed;
        Ok((m, Track::of(record, outcome.is_completed())))
    }

    /// Slows down to the last of `crafts`, which go down from this row's speed, on `seeds`, of which `runs` has the first
    /// already. No more seeds are run after the first that fails.
    pub(super) fn slowing(
        &self,
        crafts: &[LoopCraft],
        seeds: &[u64],
        runs: &mut Vec<SlowRun>,
    ) -> Result<Verdict> {
        let to_kn = crafts.last().map_or(0.0, |c| to_kn(c.speed_m_s));
        let mut craft: Option<Arc<dyn Craft>> = None;
        let mut short = None;
        for (k, seed) in seeds.iter().enumerate() {
            if k >= runs.len() {
                let made: Arc<dyn Craft> = match &craft {
                    Some(made) => Arc::clone(made),
                    None => Arc::new(blended(&self.speed.plant, crafts)?),
                };
                let case = self.case(*seed, Some((to_kn, Arc::clone(&made))))?;
                runs.push(self.slow(&case, *seed, to_kn)?);
                craft = Some(made);
            }
            let verdict = runs[k].verdict();
            match verdict {
                Verdict::Holds => {}
                Verdict::Fails(_) => return Ok(verdict),
                Verdict::TooShort(_) => short = Some(verdict),
            }
        }
        let rides = runs.iter().filter_map(|r| r.there.as_ref());
        let bad = rides_badly(rides, &self.spec.limits).map(Verdict::Fails);
        Ok(bad.or(short).unwrap_or(Verdict::Holds))
    }

    /// The draw of the first event of a fault file, alike for all faults and laws of a seed, s.
    fn fault_s(&self, seed: u64) -> f64 {
        let [first, last] = self.spec.breaks_within_s;
        Stream::with_index(seed, 0, Purpose::Failures, 0).uniform_in(first, last)
    }

    /// The one place where cases of the matrix are made.
    fn case(&self, seed: u64, slow: Option<(f64, Arc<dyn Craft>)>) -> Result<Case> {
        let fault_s = self.fault_s(seed);
        let events: Vec<FaultEventSpec> = self
            .faults
            .iter()
            .map(|f| FaultEventSpec {
                start: StartSpec::AtS(fault_s),
                lasts_s: None,
                fault: f.clone(),
            })
            .collect();
        let mut orders = self.stage.scenario.orders.clone();
        let course = if slow.is_some() {
            with_throttles(&self.stage.scenario.course)
        } else {
            self.stage.scenario.course.clone()
        };
        let (to_kn, craft) = slow.unzip();
        if let Some(v) = to_kn {
            orders.push(OrderSpec {
                at_s: fault_s + self.spec.reaction_s,
                order: ActionSpec::SpeedKn(v),
            });
        }
        let variant = Variant {
            events: &events,
            orders: &orders,
            craft,
            course: &course,
        };
        self.stage
            .case_varied(self.speed, self.heading_deg, seed, &variant)
    }

    fn slow(&self, case: &Case, seed: u64, to_kn: f64) -> Result<SlowRun> {
        let (fault_s, limits) = (self.fault_s(seed), &self.spec.limits);
        let result = run(case, self.plan.make()?.as_mut());
        let record = &result.record;
        let slowed_s = reached_s(record, fault_s, to_kn);
        let there = slowed_s.map(|t| sample(record, t + TRANSIENT_S));
        let at = sample(record, fault_s);
        let until = slowed_s.map_or(record.len(), |t| sample(record, t));
        let ended = (!result.outcome.is_completed()).then(|| result.outcome.to_string());
        Ok(SlowRun {
            seed,
            ended,
            ended_after_s: result.outcome.ended_s().map(|t| t - fault_s),
            slowed_after_s: slowed_s.map(|t| t - fault_s),
            limit: first_limit(record, at, fault_s, limits),
            nearest: Some(nearest(record, at, until, limits)),
            there: there.and_then(|i| stretch(record, i)),
            limit_there: there.and_then(|i| first_limit(record, i, fault_s, limits)),
        })
    }
}

/// Speed kept as in a ramp: throttles go to their stops until the last knots.
fn with_throttles(course: &CourseSpec) -> CourseSpec {
    let mut out = course.clone();
    if let CourseSpec::Kept { speed_hold_s, .. } = &mut out {
        *speed_hold_s = speed_hold_s.min(THROTTLE_S);
    }
    out
}

fn reached_s(record: &Record, fault_s: f64, to_kn: f64) -> Option<f64> {
    let u = column(record, "u");
    let most = kn(to_kn + REACHED_KN);
    let from = sample(record, fault_s);
    (from..u.len())
        .find(|i| u[*i] <= most)
        .map(|i| record.time_s(i))
}

/// Memory and layout of `plant`, wave forces of the speeds of `crafts`, fastest first.
fn blended(plant: &Plant, crafts: &[LoopCraft]) -> Result<RampCraft> {
    let mut tables: Vec<Plant> = Vec::new();
    for c in crafts.iter().rev() {
        let apart = tables
            .last()
            .is_none_or(|t| c.speed_m_s - t.speed_m_s >= TABLE_STEP_M_S);
        if apart {
            tables.push((*c.plant).clone());
        }
    }
    if tables.last().is_some_and(|t| t.speed_m_s < plant.speed_m_s) {
        tables.push(plant.clone());
    }
    RampCraft::between(plant.clone(), tables)
}
