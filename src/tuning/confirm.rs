//! What was found, simulated: beside the start and beside fins fixed at trim, on seas that the search
//! never saw.
//!
//! # Equation
//! ```text
//! J_s of a law: the objective of the tuning file from its records of seed s
//! change = mean over seeds of ln(J_s found / J_s start), with its t interval: same seas for both
//! confirmed: the whole interval lies below zero, every run reached its end
//! ```
//!
//! # Valid when
//! The search uses spectra only, so any seed is new to it. Records that left the model's validity are
//! counted and said.
//!
//! # Source
//! A. M. Law & W. D. Kelton, Simulation Modeling and Analysis: common random numbers.
//!
//! # Checked by
//! `a_change_counts_beyond_its_interval_only`; `a_tuned_law_is_confirmed` (tests/tuning_craft.rs)

use serde::Serialize;

use super::least::Least;
use super::objective::{CaseAt, Objective, Watched};
use crate::campaign::compare::{Comparison, RunResult, Selection, compare, count};
use crate::campaign::judge::LEVEL;
use crate::campaign::stage::Stage;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::math::stats::{Interval, sample};
use crate::metrics::compare::paired_change_percent;
use crate::metrics::pool::{Quantity, entries};
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::load::{Document, Loaded, parse};
use crate::spec::scenario::ScenarioSpec;
use crate::spec::tuning::ConfirmSpec;
use crate::spec::validate::{Bundle, TuningBundle};

/// Places of the laws in all lists: fins fixed at trim, the start, what was found.
pub const LAWS: usize = 3;
const START: usize = 1;
const FOUND: usize = 2;

/// One ride number of one case under all laws.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ConfirmedNumber {
    /// Sea.
    pub sea: String,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// What it is.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Mean over the seeds, of each law; none when a run ended early.
    pub values: [Option<Interval>; LAWS],
    /// Found against start, per cent.
    pub change_percent: Option<Interval>,
    /// Least that any law could reach with fins as busy as under the law found; linear model.
    pub least: Option<Least>,
}

/// A limit of the tuning file, seen in simulation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ConfirmedLimit {
    /// What it is.
    pub name: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Greatest value allowed.
    pub limit: f64,
    /// Worst case's mean over the seeds.
    pub value: f64,
    /// Not above the limit.
    pub met: bool,
}

/// What simulation says of the law found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Better than the start beyond the interval, all limits that simulation can see are met.
    Confirmed,
    /// The interval of the change holds zero.
    WithinScatter,
    /// Worse than the start beyond the interval.
    Worse,
    /// Better, but a limit is not met in simulation.
    LimitNotMet,
    /// A run of the law found ended early, or more of its records left the model's validity.
    RunsFailed,
    /// The start ended early: nothing to compare with.
    NothingToCompare,
}

/// Everything that confirms or does not.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Confirmation {
    /// Names of the laws.
    pub laws: [String; LAWS],
    /// Seeds.
    pub seeds: Vec<u64>,
    /// Length of each record, s.
    pub duration_s: f64,
    /// Ride numbers, case by case.
    pub numbers: Vec<ConfirmedNumber>,
    /// The objective of each law, mean over seeds.
    pub objective: [Option<Interval>; LAWS],
    /// Change of the objective, found against start, per cent.
    pub change_percent: Option<Interval>,
    /// Found against fins fixed at trim, per cent.
    pub against_fixed_percent: Option<Interval>,
    /// Fin rate RMS over fins and cases, deg/s.
    pub fin_rate_deg_s: [Option<f64>; LAWS],
    /// Limits that simulation can see.
    pub limits: Vec<ConfirmedLimit>,
    /// Runs of each law that ended early.
    pub ended: [usize; LAWS],
    /// Records of each law that left the model's validity.
    pub outside: [usize; LAWS],
    /// Verdict.
    pub verdict: Verdict,
    /// The same in words.
    pub words: String,
}

impl Confirmation {
    /// Puts the least that can be reached beside the numbers, in the order of the judge.
    pub fn with_least(&mut self, least: &[Option<Least>]) {
        for (n, l) in self.numbers.iter_mut().zip(least) {
            n.least = *l;
        }
    }
}

/// Made ready to run.
pub struct Trial {
    stages: Vec<Stage>,
    laws: [String; LAWS],
    spec: ConfirmSpec,
}

impl Trial {
    /// Prepares the simulation of `found` beside `start` and fins fixed at trim.
    ///
    /// # Errors
    /// Durations and steps that do not fit, a law that cannot be made.
    pub fn new(
        bundle: &TuningBundle,
        spec: &ConfirmSpec,
        model: &CraftModel,
        start: &ControllerSpec,
        found: &ControllerSpec,
    ) -> Result<Self> {
        let fixed = ControllerSpec {
            name: "fins fixed at trim".to_owned(),
            note: String::new(),
            channels: Vec::new(),
            law: LawSpec::Fixed {},
            modes: None,
            monitor: None,
            provenance: None,
            ..start.clone()
        };
        let mut found = found.clone();
        if found.name == start.name {
            found.name += ", tuned";
        }
        let path = &bundle.controller.source.path;
        let laws = [&fixed, start, &found];
        let loaded = laws
            .iter()
            .map(|l| reread(path, *l))
            .collect::<Result<Vec<_>>>()?;
        let stages = (0..bundle.tuning.spec.cases.len())
            .map(|case| {
                let scenario = scenario(bundle, spec, case);
                let one = Bundle {
                    scenario: reread(&bundle.tuning.source.path, &scenario)?,
                    craft: bundle.craft.clone(),
                    sea: bundle.seas[case].clone(),
                    controllers: loaded.clone(),
                    fault: None,
                };
                Stage::on(model.clone(), &one)
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(Trial {
            stages,
            laws: laws.map(|l| l.name.clone()),
            spec: spec.clone(),
        })
    }

    /// Runs that will be made.
    pub fn count(&self) -> usize {
        let all = Selection::default();
        self.stages.iter().map(|s| count(s, &all)).sum()
    }

    /// Runs and judges; `done` is called after every run, from any thread.
    ///
    /// # Errors
    /// A case that cannot be set up.
    pub fn run(
        &self,
        objective: &Objective,
        watched: &[Watched],
        done: &(dyn Fn() + Sync),
    ) -> Result<Confirmation> {
        let all = Selection::default();
        let found = self
            .stages
            .iter()
            .map(|s| compare(s, &all, done))
            .collect::<Result<Vec<_>>>()?;
        Ok(self.judged(&found, objective, watched))
    }

    fn judged(
        &self,
        found: &[Comparison],
        objective: &Objective,
        watched: &[Watched],
    ) -> Confirmation {
        let seeds = &self.spec.seeds;
        let records = Records {
            found,
            laws: &self.laws,
            objective,
        };
        let per_seed: [Option<Vec<f64>>; LAWS] = std::array::from_fn(|l| {
            let all = seeds.iter().map(|seed| records.objective_of(l, *seed));
            all.collect()
        });
        let change = |a: usize| {
            let (a, b) = (per_seed[a].as_ref()?, per_seed[FOUND].as_ref()?);
            paired_change_percent(a, b, LEVEL)
        };
        let change_percent = change(START);
        let limits = records.limits(watched);
        let (ended, outside) = (
            std::array::from_fn(|l| records.count(l, |r| !r.completed)),
            std::array::from_fn(|l| {
                records.count(l, |r| r.ride.as_ref().is_some_and(|v| !v.in_validity))
            }),
        );
        let verdict = verdict(change_percent, &limits, ended, outside);
        Confirmation {
            laws: self.laws.clone(),
            seeds: seeds.clone(),
            duration_s: self.spec.duration_s,
            numbers: records.numbers(seeds),
            objective: std::array::from_fn(|l| {
                per_seed[l]
                    .as_ref()
                    .map(|j| sample::mean_interval(j, LEVEL))
            }),
            change_percent,
            against_fixed_percent: change(0),
            fin_rate_deg_s: std::array::from_fn(|l| records.fin_rate(l)),
            words: words(verdict, change_percent, &limits, ended, outside),
            limits,
            ended,
            outside,
            verdict,
        }
    }
}

/// A specification as if it had been read from a file.
fn reread<T: Document>(path: &std::path::Path, spec: &T) -> Result<Loaded<T>> {
    let text = serde_json::to_string_pretty(spec)
        .map_err(|e| Error::new(format!("cannot write a part of the trial as JSON: {e}")))?;
    parse(path, &text)
}

fn scenario(bundle: &TuningBundle, spec: &ConfirmSpec, case: usize) -> ScenarioSpec {
    let tuning = &bundle.tuning.spec;
    let of = &tuning.cases[case];
    let text = serde_json::json!({
        "format": "ridewright.scenario/1",
        "name": tuning.name,
        "craft": tuning.craft,
        "sea": of.sea,
        "controllers": ["fixed", "start", "found"],
        "speeds_kn": of.speeds_kn,
        "headings_deg": of.headings_deg,
        "seeds": spec.seeds,
        "duration_s": spec.duration_s,
        "run_in_s": spec.run_in_s,
        "integrator": "predictor_corrector",
        "course": tuning.course,
        "physics": tuning.physics,
    });
    // all of it was read and checked as part of the tuning file
    serde_json::from_value(text).unwrap_or_else(|e| unreachable!("a scenario by its own keys: {e}"))
}

/// All records of a trial.
struct Records<'a> {
    found: &'a [Comparison],
    laws: &'a [String; LAWS],
    objective: &'a Objective,
}

impl Records<'_> {
    fn runs(&self, law: usize) -> impl Iterator<Item = &RunResult> {
        let all = self.found.iter().flat_map(|f| &f.runs);
        all.filter(move |r| r.law == self.laws[law])
    }

    fn count(&self, law: usize, is: impl Fn(&RunResult) -> bool) -> usize {
        self.runs(law).filter(|r| is(r)).count()
    }

    fn run(&self, law: usize, case: &CaseAt, seed: u64) -> Option<&RunResult> {
        let here = |a: f64, b: f64| (a - b).abs() < 1e-9;
        self.found[case.case].runs.iter().find(|r| {
            r.law == self.laws[law]
                && r.seed == seed
                && here(r.speed_kn, case.speed_kn)
                && here(r.heading_deg, case.heading_deg)
        })
    }

    fn values(&self, law: usize, case: &CaseAt, seed: u64) -> Option<Vec<f64>> {
        let run = self.run(law, case, seed).filter(|r| r.completed)?;
        self.objective.values_in(&entries(run.ride.as_ref()?))
    }

    fn objective_of(&self, law: usize, seed: u64) -> Option<f64> {
        let cases = self.objective.cases.iter().map(|c| {
            let values = self.values(law, c, seed)?;
            Some((c.weight, self.objective.of_case(&values)))
        });
        Some(self.objective.of_all(&cases.collect::<Option<Vec<_>>>()?))
    }

    fn numbers(&self, seeds: &[u64]) -> Vec<ConfirmedNumber> {
        let mut out = Vec::new();
        for case in &self.objective.cases {
            let all: [Option<Vec<Vec<f64>>>; LAWS] = std::array::from_fn(|l| {
                let each = seeds.iter().map(|s| self.values(l, case, *s));
                each.collect()
            });
            for (t, term) in self.objective.terms.iter().enumerate() {
                let of = |l: usize| -> Option<Vec<f64>> {
                    Some(all[l].as_ref()?.iter().map(|v| v[t]).collect())
                };
                let both = of(START).zip(of(FOUND));
                out.push(ConfirmedNumber {
                    sea: self.found[case.case].sea.clone(),
                    speed_kn: case.speed_kn,
                    heading_deg: case.heading_deg,
                    name: term.name.clone(),
                    unit: term.unit,
                    values: std::array::from_fn(|l| {
                        of(l).map(|v| sample::mean_interval(&v, LEVEL))
                    }),
                    change_percent: both.and_then(|(a, b)| paired_change_percent(&a, &b, LEVEL)),
                    least: None,
                });
            }
        }
        out
    }

    /// Pooled numbers of a law's cells: the greatest of a quantity over cases and surfaces that lift.
    fn worst(&self, law: usize, quantities: &[Quantity], of: Option<&str>) -> Option<f64> {
        let cells = self.found.iter().flat_map(|f| &f.cells);
        cells
            .filter(|c| c.law == self.laws[law])
            .filter_map(|c| c.numbers.as_ref())
            .flat_map(|n| &n.entries)
            .filter(|e| quantities.contains(&e.quantity))
            .filter(|e| of.map_or(!e.of.contains("rudder"), |name| e.of == name))
            .map(|e| e.value.value)
            .max_by(f64::total_cmp)
    }

    fn limits(&self, watched: &[Watched]) -> Vec<ConfirmedLimit> {
        let seen: [(&str, &[Quantity], Option<&str>); 4] = [
            ("fin angle RMS", &[Quantity::SurfaceRms], None),
            ("fin rate RMS", &[Quantity::SurfaceRateRms], None),
            (
                "share of time at fin limits",
                &[Quantity::AtAngleLimit, Quantity::AtRateLimit],
                None,
            ),
            ("contacts", &[Quantity::EventRate], Some("cross-structure")),
        ];
        let mut out = Vec::new();
        for (name, quantities, of) in seen {
            let asked = watched.iter().find(|w| w.name == name);
            let Some((w, limit)) = asked.and_then(|w| Some((w, w.limit?))) else {
                continue;
            };
            if let Some(value) = self.worst(FOUND, quantities, of) {
                out.push(ConfirmedLimit {
                    name: w.name,
                    unit: w.unit,
                    limit,
                    value,
                    met: value <= limit,
                });
            }
        }
        out
    }

    /// RMS over lifting surfaces and cases.
    fn fin_rate(&self, law: usize) -> Option<f64> {
        let cells = self.found.iter().flat_map(|f| &f.cells);
        let rates: Vec<f64> = cells
            .filter(|c| c.law == self.laws[law])
            .filter_map(|c| c.numbers.as_ref())
            .flat_map(|n| &n.entries)
            .filter(|e| e.quantity == Quantity::SurfaceRateRms && !e.of.contains("rudder"))
            .map(|e| e.value.value)
            .collect();
        let n = rates.len() as f64;
        (!rates.is_empty()).then(|| (rates.iter().map(|r| r * r).sum::<f64>() / n).sqrt())
    }
}

fn verdict(
    change: Option<Interval>,
    limits: &[ConfirmedLimit],
    ended: [usize; LAWS],
    outside: [usize; LAWS],
) -> Verdict {
    if ended[FOUND] > 0 || outside[FOUND] > outside[START] {
        return Verdict::RunsFailed;
    }
    match change {
        None => Verdict::NothingToCompare,
        Some(c) if c.low > 0.0 => Verdict::Worse,
        Some(c) if c.high >= 0.0 => Verdict::WithinScatter,
        Some(_) if limits.iter().any(|l| !l.met) => Verdict::LimitNotMet,
        Some(_) => Verdict::Confirmed,
    }
}

fn words(
    verdict: Verdict,
    change: Option<Interval>,
    limits: &[ConfirmedLimit],
    ended: [usize; LAWS],
    outside: [usize; LAWS],
) -> String {
    let by = change.map_or_else(String::new, |c| {
        format!("{:+.1} % ({:+.1} to {:+.1} %)", c.value, c.low, c.high)
    });
    let text = match verdict {
        Verdict::Confirmed => format!("confirmed: the objective changes by {by} against the start"),
        Verdict::WithinScatter => {
            format!("not confirmed: the change of {by} lies within the scatter of the seeds")
        }
        Verdict::Worse => format!("not confirmed: worse than the start by {by} in simulation"),
        Verdict::LimitNotMet => {
            let all = limits.iter().filter(|l| !l.met);
            let named: Vec<String> = all
                .map(|l| {
                    format!(
                        "{} is {:.3} {}, must be at most {:.3}",
                        l.name, l.value, l.unit, l.limit
                    )
                })
                .collect();
            format!(
                "not confirmed: {by} against the start, but {}",
                named.join("; ")
            )
        }
        Verdict::RunsFailed => format!(
            "not confirmed: {} runs ended early and {} records left the model's validity (start: {} and {})",
            ended[FOUND], outside[FOUND], ended[START], outside[START]
        ),
        Verdict::NothingToCompare => format!(
            "not confirmed: {} runs of the start ended early, so there is nothing to compare with",
            ended[START]
        ),
    };
    if outside[FOUND] > 0 && verdict != Verdict::RunsFailed {
        let more = " records left the model's validity: believe their absolute values only";
        return format!("{text}; {}{more}", outside[FOUND]);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn change(low: f64, high: f64) -> Interval {
        Interval {
            value: 0.5 * (low + high),
            low,
            high,
        }
    }

    #[test]
    fn a_change_counts_beyond_its_interval_only() {
        let none = [0; LAWS];
        let some = |low, high| Some(change(low, high));
        let limit = |met| ConfirmedLimit {
            name: "fin angle RMS",
            unit: "deg",
            limit: 5.0,
            value: 5.5,
            met,
        };
        let say = |c, l: &[ConfirmedLimit], e, o| verdict(c, l, e, o);
        assert_eq!(
            say(some(-9.0, -2.0), &[limit(true)], none, none),
            Verdict::Confirmed
        );
        assert_eq!(
            say(some(-9.0, 0.1), &[], none, none),
            Verdict::WithinScatter
        );
        assert_eq!(say(some(0.2, 3.0), &[], none, none), Verdict::Worse);
        assert_eq!(
            say(some(-9.0, -2.0), &[limit(false)], none, none),
            Verdict::LimitNotMet
        );
        assert_eq!(
            say(some(-9.0, -2.0), &[], [0, 0, 1], none),
            Verdict::RunsFailed
        );
        assert_eq!(
            say(some(-9.0, -2.0), &[], none, [0, 1, 2]),
            Verdict::RunsFailed
        );
        assert_eq!(say(None, &[], [0, 2, 0], none), Verdict::NothingToCompare);
        let told = words(
            Verdict::LimitNotMet,
            some(-9.0, -2.0),
            &[limit(false)],
            none,
            none,
        );
        assert!(
            told.starts_with("not confirmed") && told.contains("5.500 deg"),
            "{told}"
        );
    }
}
