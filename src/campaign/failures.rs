//! The failure matrix: every fault of a list with every law, speed and heading of a scenario.
//!
//! ```text
//! row = fault x law x speed x heading
//! linear      stable with the fault? disk margin; highest speed at which margin and ride limits hold
//! simulated   over seeds: peaks before and after, contacts, time to settle, ride after,
//!             time to a limit against time to slow down
//! severity    from both, by stated limits; rows ranked by it
//! ```
//! The first fault of the list is none at all: what the sound craft does on the same seas.

mod descent;
mod list;
mod measure;
mod severity;

use rayon::prelude::*;
use serde::Serialize;

pub use descent::{ComeDown, Descent, Needs};
pub use list::{Trouble, troubles};
pub use measure::{Peaks, RunMeasure, Spread};
pub use severity::Severity;

use super::stage::{LawPlan, SpeedStage, Stage};
use crate::closed_loop::LoopCraft;
use crate::closed_loop::faulted::{LinearFault, LinearVerdict, verdict};
use crate::closed_loop::schedule::surge::{surge, times_s};
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::math::stats::Interval;
use crate::math::stats::sample::wilson;
use crate::spec::failures::FailuresSpec;
use crate::units::kn;

/// Level of all intervals.
pub const LEVEL: f64 = 0.95;

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
    pub linear_leaves_out: Vec<&'static str>,
    /// Speed to come down to; none where the law has no linear form.
    pub come_down: Option<ComeDown>,
    /// Time from the fault to that speed: reaction and throttles back, s; none where no speed was found.
    pub slowed_after_s: Option<f64>,
    /// That time comes from simulated runs; else from resistance and thrust in calm water.
    pub slowing_is_simulated: bool,
    /// Share of seeds that pass a limit after the fault.
    pub passes_limit: Interval,
    /// Shortest time from the fault to a limit, s; none where no seed passes one.
    pub to_limit_s: Option<f64>,
    /// Which limit that is.
    pub limit: Option<String>,
    /// Shortest time from the fault to an early end of a run, s.
    pub to_end_s: Option<f64>,
    /// Share of seeds in which a limit is passed on the way down, when the order to slow down is given.
    pub passes_limit_slowing: Option<Interval>,
    /// Peaks and ride over seeds, before and after the fault.
    pub spread: Spread,
    /// Largest ratio of an RMS after the fault to the sound craft's with the same law.
    pub worse_ratio: f64,
    /// Every seed.
    pub runs: Vec<RunMeasure>,
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

/// Runs and judges; `done` is called after every row, from any thread.
///
/// # Errors
/// A craft without trim; a case that cannot be set up. Runs that end early are results.
pub fn matrix(stage: &Stage, spec: &FailuresSpec, done: &(dyn Fn() + Sync)) -> Result<Matrix> {
    let troubles = troubles(spec, stage);
    let mut rows = Vec::new();
    for speed in &stage.speeds {
        let place = Place::new(stage, speed, spec)?;
        let jobs: Vec<(usize, f64, &Trouble)> = (0..stage.laws.len())
            .flat_map(|law| {
                let headings = stage.scenario.headings_deg.iter();
                let troubles = &troubles;
                headings.flat_map(move |h| troubles.iter().map(move |t| (law, *h, t)))
            })
            .collect();
        let mut found = jobs
            .par_iter()
            .map(|(law, heading_deg, trouble)| {
                let row = place.row(*law, *heading_deg, trouble);
                done();
                row
            })
            .collect::<Vec<Result<Row>>>()
            .into_iter()
            .collect::<Result<Vec<Row>>>()?;
        for group in found.chunks_mut(troubles.len()) {
            severity::settle(group, &spec.limits);
        }
        rows.extend(found);
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
    /// Sound crafts from the speed down.
    crafts: Vec<LoopCraft>,
    /// Linear forms of every law at every one of them; none for a law that has none.
    laws: Vec<Option<Vec<LinearLaw>>>,
}

impl<'a> Place<'a> {
    fn new(stage: &'a Stage, speed: &'a SpeedStage, spec: &'a FailuresSpec) -> Result<Self> {
        let crafts = descent::grid_kn(speed.speed_kn, spec.least_speed_kn, spec.speed_step_kn)
            .par_iter()
            .map(|u| LoopCraft::new(&stage.model, kn(*u), &stage.scenario.course))
            .collect::<Vec<Result<LoopCraft>>>()
            .into_iter()
            .collect::<Result<Vec<_>>>()?;
        let laws = stage.laws.iter().map(|plan| forms(plan, &crafts)).collect();
        Ok(Place {
            stage,
            speed,
            spec,
            crafts,
            laws,
        })
    }

    fn row(&self, law: usize, heading_deg: f64, trouble: &Trouble) -> Result<Row> {
        let fault = LinearFault::of(&trouble.faults, &self.stage.model.craft.spec);
        let needs = Needs::of(&self.spec.limits);
        let (mut linear, mut come_down) = (None, None);
        if let Some(laws) = &self.laws[law] {
            linear = Some(verdict(
                &fault.craft(&self.crafts[0]),
                &fault.law(&laws[0]),
            )?);
            let descent = Descent {
                stage: self.stage,
                heading_deg,
                crafts: &self.crafts,
                laws,
                fault: &fault,
                needs,
            };
            come_down = Some(descent.search()?);
        }
        let plan = &self.stage.laws[law];
        let run = measure::Runs {
            stage: self.stage,
            speed: self.speed,
            spec: self.spec,
            heading_deg,
            faults: &trouble.faults,
        };
        let runs = run.free(plan)?;
        let to = come_down.as_ref().and_then(|c| c.speed_kn);
        let computed_s = to.map(|v| self.spec.reaction_s + self.slowing_s(v));
        let slowing = to
            .filter(|v| *v < self.speed.speed_kn)
            .map(|v| run.slowing(plan, v))
            .transpose()?
            .flatten();
        let simulated_s = slowing.as_ref().and_then(|s| s.slowed_after_s);
        let n = runs.len() as u64;
        let passed = |r: &&RunMeasure| r.limit_after_s.is_some();
        let k = runs.iter().filter(passed).count() as u64;
        let first = runs
            .iter()
            .filter(passed)
            .min_by(|a, b| a.to_limit_s().total_cmp(&b.to_limit_s()));
        let ends = runs.iter().filter_map(|r| r.ended_after_s);
        Ok(Row {
            fault: trouble.name.clone(),
            law: plan.spec.name.clone(),
            speed_kn: self.speed.speed_kn,
            heading_deg,
            severity: Severity::None,
            because: String::new(),
            linear,
            linear_leaves_out: fault.left_out.clone(),
            come_down,
            slowed_after_s: simulated_s.or(computed_s),
            slowing_is_simulated: simulated_s.is_some(),
            passes_limit: wilson(k, n, LEVEL),
            to_limit_s: first.and_then(|r| r.limit_after_s),
            limit: first.and_then(|r| r.limit.clone()),
            to_end_s: ends.min_by(f64::total_cmp),
            passes_limit_slowing: slowing.map(|s| wilson(s.passed, n, LEVEL)),
            spread: Spread::of(&runs),
            worse_ratio: 1.0,
            runs,
        })
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
