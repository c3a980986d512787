//! Laws side by side: every law of a scenario at every speed, heading and seed.

use rayon::prelude::*;
use serde::Serialize;

use super::criteria::JudgedCell;
use super::design::{LawDesign, designs};
use super::in_order;
use super::judge;
use super::stage::Stage;
use crate::error::{Error, Result};
use crate::metrics::compare::{Change, against};
use crate::metrics::pool::{CaseNumbers, pool};
use crate::metrics::ride::RideReport;
use crate::sim::orders::Happening;
use crate::sim::record::Record;
use crate::sim::run::{Run, run};
use crate::spec::fault::FaultEventSpec;

/// Which cases of a scenario to run: everything that is not named is run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Selection {
    /// Only these speeds, kn.
    pub speeds_kn: Vec<f64>,
    /// Only these headings, deg.
    pub headings_deg: Vec<f64>,
    /// Only the law of this name.
    pub law: Option<String>,
}

/// One run.
#[derive(Clone, Debug, Serialize)]
pub struct RunResult {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Seed of the sea and the sensors.
    pub seed: u64,
    /// Law.
    pub law: String,
    /// How it ended, in words.
    pub outcome: String,
    /// It reached its end.
    pub completed: bool,
    /// What may spoil it.
    pub warnings: Vec<String>,
    /// What happened in its course: orders, faults, trips.
    pub happenings: Vec<Happening>,
    /// Simulated time, s.
    pub simulated_s: f64,
    /// The judgement; none when the run ended within the run-in.
    pub ride: Option<RideReport>,
    /// Time histories, of the first seed only.
    #[serde(skip)]
    pub record: Option<Record>,
}

/// One law at one speed and heading, seeds pooled.
#[derive(Clone, Debug, Serialize)]
pub struct Cell {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// Every run reached its end.
    pub completed: bool,
    /// How the runs that did not ended.
    pub endings: Vec<String>,
    /// The numbers, none when no run could be judged.
    pub numbers: Option<CaseNumbers>,
    /// The same beside the baseline's.
    pub changes: Vec<Change>,
}

/// Everything a comparison found.
#[derive(Clone, Debug, Serialize)]
pub struct Comparison {
    /// Name of the craft.
    pub craft: String,
    /// Name of the sea.
    pub sea: String,
    /// Laws, the baseline first.
    pub laws: Vec<String>,
    /// How the gains of laws with solved gains came out.
    pub designs: Vec<LawDesign>,
    /// Every run, in the scenario's order: speed, heading, seed, law.
    pub runs: Vec<RunResult>,
    /// Every law at every speed and heading.
    pub cells: Vec<Cell>,
    /// Criteria sets laid against the cells, set by set; empty when none was asked for.
    pub judgements: Vec<JudgedCell>,
}

/// One case to run.
struct Job {
    speed: usize,
    heading_deg: f64,
    seed: u64,
    law: usize,
}

/// Runs and judges. `done` is called after every run, from any thread.
///
/// # Errors
/// A case that cannot be set up; runs that end early are results, not errors.
pub fn compare(
    stage: &Stage,
    selection: &Selection,
    done: &(dyn Fn() + Sync),
) -> Result<Comparison> {
    let jobs = jobs(stage, selection);
    let runs = in_order(jobs.par_iter().map(|job| {
        let result = one(stage, job);
        done();
        result
    }))?;
    let mut laws: Vec<String> = stage.laws.iter().map(|l| l.spec.name.clone()).collect();
    if let Some(only) = &selection.law {
        laws.retain(|l| l == only);
    }
    let cells = cells(&runs, &laws);
    Ok(Comparison {
        craft: stage.model.craft.spec.name.clone(),
        sea: stage.sea.name.clone(),
        designs: designs(&stage.laws),
        laws,
        runs,
        cells,
        judgements: Vec::new(),
    })
}

/// How many runs [`compare`] will make.
pub fn count(stage: &Stage, selection: &Selection) -> usize {
    jobs(stage, selection).len()
}

fn jobs(stage: &Stage, selection: &Selection) -> Vec<Job> {
    let wanted =
        |list: &[f64], v: f64| list.is_empty() || list.iter().any(|x| (x - v).abs() < 1e-9);
    let mut jobs = Vec::new();
    for (speed, s) in stage.speeds.iter().enumerate() {
        for &heading_deg in &stage.scenario.headings_deg {
            if !wanted(&selection.speeds_kn, s.speed_kn)
                || !wanted(&selection.headings_deg, heading_deg)
            {
                continue;
            }
            for &seed in &stage.scenario.seeds {
                for (law, plan) in stage.laws.iter().enumerate() {
                    if selection.law.as_ref().is_none_or(|l| *l == plan.spec.name) {
                        jobs.push(Job {
                            speed,
                            heading_deg,
                            seed,
                            law,
                        });
                    }
                }
            }
        }
    }
    jobs
}

fn one(stage: &Stage, job: &Job) -> Result<RunResult> {
    let speed = &stage.speeds[job.speed];
    let case = stage.case(speed, job.heading_deg, job.seed)?;
    let mut law = stage.laws[job.law].make()?;
    let result = run(&case, law.as_mut());
    let points: Vec<String> = case.parts().points.iter().map(|p| p.name.clone()).collect();
    let enough = result.record.judged().len() as f64 * result.record.interval_s > 60.0;
    Ok(RunResult {
        speed_kn: speed.speed_kn,
        heading_deg: job.heading_deg,
        seed: job.seed,
        law: stage.laws[job.law].spec.name.clone(),
        outcome: result.outcome.to_string(),
        completed: result.outcome.is_completed(),
        warnings: result.warnings.iter().map(ToString::to_string).collect(),
        happenings: result.record.happenings.clone(),
        simulated_s: result.record.len() as f64 * result.record.interval_s,
        ride: enough.then(|| judge::report(&result, &speed.plant, &points)),
        record: (Some(&job.seed) == stage.scenario.seeds.first()).then_some(result.record),
    })
}

/// The run of a result again, with `events` happening in place of the scenario's faults.
///
/// # Errors
/// As [`Stage::case_with_faults`]; a result of another scenario.
pub fn again(stage: &Stage, of: &RunResult, events: &[FaultEventSpec]) -> Result<Run> {
    let mut speeds = stage.speeds.iter();
    let speed = speeds.find(|s| s.speed_kn.total_cmp(&of.speed_kn).is_eq());
    let law = stage.laws.iter().find(|l| l.spec.name == of.law);
    let (Some(speed), Some(law)) = (speed, law) else {
        return Err(Error::new("this result belongs to another scenario"));
    };
    let case = stage.case_with_faults(speed, of.heading_deg, of.seed, events)?;
    Ok(run(&case, law.make()?.as_mut()))
}

/// Pools the seeds and puts every law beside the baseline of its speed and heading.
fn cells(runs: &[RunResult], laws: &[String]) -> Vec<Cell> {
    let mut places: Vec<(f64, f64)> = Vec::new();
    for r in runs {
        let place = (r.speed_kn, r.heading_deg);
        if places.last() != Some(&place) {
            places.push(place);
        }
    }
    let mut cells = Vec::new();
    for (speed_kn, heading_deg) in places {
        let mut baseline: Option<CaseNumbers> = None;
        for (k, law) in laws.iter().enumerate() {
            let mine: Vec<&RunResult> = runs
                .iter()
                .filter(|r| {
                    r.law == *law
                        && r.speed_kn.total_cmp(&speed_kn).is_eq()
                        && r.heading_deg.total_cmp(&heading_deg).is_eq()
                })
                .collect();
            let rides: Vec<RideReport> = mine.iter().filter_map(|r| r.ride.clone()).collect();
            let completed = mine.iter().all(|r| r.completed);
            let mut numbers = pool(&rides, judge::LEVEL);
            if let Some(n) = &mut numbers {
                n.completed = completed;
            }
            if k == 0 {
                baseline.clone_from(&numbers);
            }
            let changes = match (&baseline, &numbers) {
                (Some(b), Some(n)) => against(b, n),
                _ => Vec::new(),
            };
            cells.push(Cell {
                speed_kn,
                heading_deg,
                law: law.clone(),
                completed,
                endings: mine
                    .iter()
                    .filter(|r| !r.completed)
                    .map(|r| r.outcome.clone())
                    .collect(),
                numbers,
                changes,
            });
        }
    }
    cells
}
