//! The failure matrix: every fault of a list with every law, speed and heading of a scenario.
//!
//! ```text
//! row = fault x law x speed x heading
//! linear      stable with the fault? margins left
//! simulated   over seeds: peaks before and after, contacts, time to settle, ride after, time to a limit
//! search      the speed to come down to: linear loop, then slowing down simulated; time to get there against the limit
//! severity    from all, by stated limits; rows ranked by it
//! ```
//! The first fault of the list is none at all: what the sound craft does on the same seas.

mod descent;
pub mod journal;
mod list;
mod measure;
mod settle;
mod severity;
mod spread;
mod trial;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

pub use descent::{ComeDown, Descent};
pub use journal::Journal;
pub use list::{Trouble, troubles};
pub use measure::{LimitPassed, Peaks, RunMeasure};
pub use settle::Settling;
pub use severity::Severity;
pub use spread::{SlowDown, Spread};
pub use trial::SlowRun;

use self::settle::Track;
use self::trial::{Runs, Verdict, fails_going_on};
use super::in_order;
use super::stage::{LawPlan, SpeedStage, Stage};
use crate::closed_loop::LoopCraft;
use crate::closed_loop::faulted::{LinearFault, LinearVerdict};
use crate::closed_loop::schedule::surge::{surge, times_s};
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::math::stats::Interval;
use crate::math::stats::sample::clopper_pearson;
use crate::spec::failures::FailuresSpec;
use crate::spec::scenario::CourseSpec;
use crate::units::kn;

/// Level of all intervals.
pub const LEVEL: f64 = 0.95;

/// What was run and searched for one row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Found {
    linear: Option<LinearVerdict>,
    linear_leaves_out: Vec<String>,
    come_down: ComeDown,
    slowed_in_calm_s: Option<f64>,
    runs: Vec<RunMeasure>,
    slow_runs: Vec<SlowRun>,
}

/// One row of the matrix.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// The fault in words.
    pub fault: String,
    /// Law.
    pub law: String,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// How severe.
    pub severity: Severity,
    /// Why, in words.
    pub because: String,
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
    pub worse_ratio: Option<f64>,
    /// Every seed.
    pub runs: Vec<RunMeasure>,
}

impl Row {
    /// Of what was found; `place` is speed (kn) and wave heading (deg). Severity comes with the sound craft's row.
    fn of(fault: &str, law: &str, place: (f64, f64), found: Found) -> Self {
        let runs = found.runs;
        let reached = || runs.iter().filter(|r| !r.ended_before_fault());
        let n = reached().count() as u64;
        let is_passed = |r: &&RunMeasure| r.limit.is_some() || r.to_end_s().is_some();
        let passed = reached().filter(is_passed).count() as u64;
        let first = reached().min_by(|a, b| a.to_limit_s().total_cmp(&b.to_limit_s()));
        let times: Vec<f64> = reached().map(RunMeasure::to_limit_s).collect();
        Row {
            fault: fault.to_owned(),
            law: law.to_owned(),
            speed_kn: place.0,
            heading_deg: place.1,
            severity: Severity::None,
            because: String::new(),
            linear: found.linear,
            linear_leaves_out: found.linear_leaves_out,
            come_down: found.come_down,
            slow_down: (!found.slow_runs.is_empty()).then(|| SlowDown::of(found.slow_runs)),
            slowed_in_calm_s: found.slowed_in_calm_s,
            ended_before_fault: runs.len() - n as usize,
            passes_limit: clopper_pearson(passed, n, LEVEL),
            limit: first.and_then(|r| r.limit.clone()),
            median_limit_s: spread::median_s(&times),
            to_end_s: reached()
                .filter_map(RunMeasure::to_end_s)
                .min_by(f64::total_cmp),
            spread: Spread::of(&runs),
            worse_ratio: None,
            runs,
        }
    }
}

/// Everything found.
#[derive(Clone, Debug, Serialize)]
pub struct Matrix {
    /// Name of the craft.
    pub craft: String,
    /// Name of the sea.
    pub sea: String,
    /// Laws in the scenario's order.
    pub laws: Vec<String>,
    /// Faults in the order of the list; the first is none.
    pub faults: Vec<String>,
    /// Limits used.
    pub limits: crate::spec::failures::FailureLimitsSpec,
    /// Seeds.
    pub seeds: Vec<u64>,
    /// Rows, most severe first.
    pub rows: Vec<Row>,
}

/// Steps of work that [`matrix`] will tell.
pub fn count(stage: &Stage, spec: &FailuresSpec) -> usize {
    let s = &stage.scenario;
    troubles(spec, stage).len() * stage.laws.len() * s.speeds_kn.len() * s.headings_deg.len()
}

/// Runs and judges; `done` is called after every row, from any thread; rows that the journal has are not run again.
///
/// # Errors
/// A craft without trim; a case that cannot be set up; a journal that cannot be written. Runs that end early are
/// results.
pub fn matrix(
    stage: &Stage,
    spec: &FailuresSpec,
    journal: Option<&Journal>,
    done: &(dyn Fn() + Sync),
) -> Result<Matrix> {
    let troubles = troubles(spec, stage);
    let mut rows = Vec::new();
    for speed in &stage.speeds {
        let place = Place::new(stage, speed, spec, journal)?;
        rows.extend(place.rows(&troubles, done)?);
    }
    severity::rank(&mut rows);
    Ok(Matrix {
        craft: stage.model.craft.spec.name.clone(),
        sea: stage.sea.name.clone(),
        laws: stage.laws.iter().map(|l| l.spec.name.clone()).collect(),
        faults: troubles.into_iter().map(|t| t.name).collect(),
        limits: spec.limits,
        seeds: stage.scenario.seeds.clone(),
        rows,
    })
}

/// One speed of the scenario with the grid of speeds below it.
struct Place<'a> {
    stage: &'a Stage,
    speed: &'a SpeedStage,
    spec: &'a FailuresSpec,
    journal: Option<&'a Journal>,
    /// Sound crafts from the speed down.
    crafts: Vec<LoopCraft>,
    /// Linear forms of every law at every one of them; none for a law that has none.
    laws: Vec<Option<Vec<LinearLaw>>>,
}

/// A law (by index) in waves of a heading, deg.
type Going = (usize, f64);

impl<'a> Place<'a> {
    fn new(
        stage: &'a Stage,
        speed: &'a SpeedStage,
        spec: &'a FailuresSpec,
        journal: Option<&'a Journal>,
    ) -> Result<Self> {
        let grid_kn = descent::grid_kn(speed.speed_kn, spec.least_speed_kn, spec.speed_step_kn);
        let course = &stage.scenario.course;
        let crafts = in_order(
            grid_kn
                .par_iter()
                .map(|u| LoopCraft::new(&stage.model, kn(*u), course)),
        )?;
        let laws = stage.laws.iter().map(|plan| forms(plan, &crafts)).collect();
        Ok(Place {
            stage,
            speed,
            spec,
            journal,
            crafts,
            laws,
        })
    }

    /// All rows of this speed, judged: the sound craft first, which the others are held against.
    fn rows(&self, troubles: &[Trouble], done: &(dyn Fn() + Sync)) -> Result<Vec<Row>> {
        let Some((nothing, broken)) = troubles.split_first() else {
            return Ok(Vec::new());
        };
        let headings = &self.stage.scenario.headings_deg;
        let goings: Vec<Going> = (0..self.stage.laws.len())
            .flat_map(|law| headings.iter().map(move |h| (law, *h)))
            .collect();
        let sound = in_order(goings.par_iter().map(|g| {
            let found = self.find(*g, nothing, None)?;
            done();
            Ok(found)
        }))?;
        let jobs: Vec<(usize, &Trouble)> = (0..goings.len())
            .flat_map(|g| broken.iter().map(move |t| (g, t)))
            .collect();
        let found = in_order(jobs.par_iter().map(|(g, trouble)| {
            let found = self.kept(goings[*g], trouble, &sound[*g].1)?;
            done();
            Ok(found)
        }))?;
        let mut found = found.into_iter();
        let mut out = Vec::new();
        for (g, (of_sound, _)) in goings.iter().zip(sound) {
            let all = std::iter::once(of_sound).chain(found.by_ref().take(broken.len()));
            let mut group: Vec<Row> = troubles
                .iter()
                .zip(all)
                .map(|(t, f)| {
                    let place = (self.speed.speed_kn, g.1);
                    Row::of(&t.name, &self.stage.laws[g.0].spec.name, place, f)
                })
                .collect();
            severity::settle(&mut group, &self.spec.limits);
            out.extend(group);
        }
        Ok(out)
    }

    /// What the journal has, or else what is found now.
    fn kept(&self, going: Going, trouble: &Trouble, sound: &[Track]) -> Result<Found> {
        let law = &self.stage.laws[going.0].spec.name;
        let (speed, heading) = (self.speed.speed_kn, going.1);
        let name = format!("{speed} kn, {heading} deg, {law}, {}", trouble.name);
        if let Some(found) = self.journal.and_then(|j| j.found(&name)) {
            return Ok(found.clone());
        }
        let (found, _) = self.find(going, trouble, Some(sound))?;
        if let Some(journal) = self.journal {
            journal.put(&name, &found)?;
        }
        Ok(found)
    }

    /// Runs and searches one row; the tracks of its runs, for the sound craft's.
    fn find(
        &self,
        (law, heading_deg): Going,
        trouble: &Trouble,
        sound: Option<&[Track]>,
    ) -> Result<(Found, Vec<Track>)> {
        let fault = LinearFault::of(&trouble.faults, &self.stage.model.craft.spec);
        let limits = &self.spec.limits;
        let mut descent = Descent {
            stage: self.stage,
            heading_deg,
            crafts: &self.crafts,
            laws: self.laws[law].as_deref(),
            fault: &fault,
            limits,
            here: None,
        };
        descent.here = descent.linear(0)?;
        let runs = Runs {
            stage: self.stage,
            speed: self.speed,
            spec: self.spec,
            plan: &self.stage.laws[law],
            heading_deg,
            faults: &trouble.faults,
        };
        let (going_on, tracks) = runs.going_on(sound)?;
        let reached = going_on.iter().filter(|r| !r.ended_before_fault());
        let seeds: Vec<u64> = reached.map(|r| r.seed).collect();
        let mut linear_only = self.not_simulated(&seeds).map(str::to_owned);
        let mut slow_runs = Vec::new();
        let mut come_down = descent.search(&mut |k| {
            slow_runs.clear();
            if k == 0 {
                return Ok(fails_going_on(&going_on, limits));
            }
            if linear_only.is_some() {
                return Ok(None);
            }
            let (tried, verdict) = runs.slowing(&self.crafts[..=k], &seeds)?;
            slow_runs = tried;
            Ok(match verdict {
                Verdict::Holds => None,
                Verdict::Fails(why) => Some(why),
                Verdict::TooShort(why) => {
                    linear_only = Some(why);
                    None
                }
            })
        })?;
        if come_down.speed_kn.is_none() {
            slow_runs.clear();
        }
        come_down.linear_only = linear_only;
        let down = come_down.speed_kn.filter(|_| come_down.fails.is_some());
        let found = Found {
            linear: descent.here,
            linear_leaves_out: fault.left_out.iter().map(|w| (*w).to_owned()).collect(),
            slowed_in_calm_s: down.map(|v| self.spec.reaction_s + self.slowing_s(v)),
            come_down,
            runs: going_on,
            slow_runs,
        };
        Ok((found, tracks))
    }

    /// Why lower speeds cannot be tried by simulation.
    fn not_simulated(&self, seeds: &[u64]) -> Option<&'static str> {
        if seeds.is_empty() {
            Some("every run ended before the fault")
        } else if matches!(self.stage.scenario.course, CourseSpec::MeanHeld { .. }) {
            Some("springs hold the mean speed in this scenario")
        } else if self.speed.plant.shafts.is_empty() || !self.speed.plant.surge_free {
            Some("this craft has no shafts, or no surge, to slow down by")
        } else {
            None
        }
    }

    /// Shortest time from the speed down to another with the throttles back, in calm water, s.
    fn slowing_s(&self, to_kn: f64) -> f64 {
        let on_the_way = self
            .crafts
            .iter()
            .filter(|c| c.speed_m_s >= kn(to_kn) - 1e-6);
        let mut crafts: Vec<LoopCraft> = on_the_way.cloned().collect();
        crafts.reverse();
        times_s(&surge(&crafts))[1]
    }
}

fn forms(plan: &LawPlan, crafts: &[LoopCraft]) -> Option<Vec<LinearLaw>> {
    // an outside program is not started for a question it cannot answer
    if plan.make().ok()?.info().kind == "external" {
        return None;
    }
    let of = |craft: &LoopCraft| {
        let mut law = plan.make()?;
        law.reset(&craft.setup)?;
        law.linear()
    };
    crafts.iter().map(|c| of(c).ok()).collect()
}
