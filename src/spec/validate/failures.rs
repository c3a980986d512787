//! Checks of a failures file, and the files it names.

use std::path::Path;

use super::bundle::keep;
use super::{Bundle, bundle, fault, unique};
use crate::error::{Error, Problem, Result};
use crate::spec::Source;
use crate::spec::craft::CraftSpec;
use crate::spec::failures::FailuresSpec;
use crate::spec::fault::{FaultEventSpec, StartSpec};
use crate::spec::load::{Loaded, load_failures, load_sea};
use crate::spec::sea::SeaSpec;
use crate::spec::source::locate;

/// Least time that a run goes on after its fault, s: 30 s for the transient, as many to judge.
const AFTER_S: f64 = 60.0;

pub(crate) fn failures(spec: &FailuresSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    let [first, last] = spec.breaks_within_s;
    if !(first >= 0.0 && last >= first) {
        let told = format!("is {first} to {last} s, must go from one second to a later one");
        let p = Problem::at("breaks_within_s", told);
        problems.push(p.hint("write the earlier second first"));
    }
    let names = spec.together.iter().map(|t| t.name.as_str());
    unique(&mut problems, "together", "name", names);
    problems
}

/// A failures file with everything it names.
#[derive(Clone, Debug)]
pub struct FailuresBundle {
    /// The file.
    pub failures: Loaded<FailuresSpec>,
    /// Its scenario.
    pub scenario: Bundle,
    /// Its seas, the scenario's own where it names none; their names differ.
    pub seas: Vec<Loaded<SeaSpec>>,
}

impl FailuresBundle {
    /// Every file that was read and that rows depend on, the failures file first.
    pub fn sources(&self) -> Vec<&Source> {
        let s = &self.scenario;
        let mut all = vec![&self.failures.source, &s.scenario.source, &s.craft.source];
        all.extend(self.seas.iter().map(|sea| &sea.source));
        all.extend(s.controllers.iter().map(|law| &law.source));
        all
    }
}

/// Reads a failures file, its scenario and all files that one names.
///
/// # Errors
/// All problems of the files; faults that do not fit the craft; faults that start outside the judged run.
pub fn failures_bundle(path: impl AsRef<Path>) -> Result<FailuresBundle> {
    let failures = load_failures(path)?;
    let scenario = bundle(failures.source.folder().join(&failures.spec.scenario))?;
    let seas = seas(&failures, &scenario)?;
    let mut problems = against(&failures.spec, &scenario.craft.spec);
    let names = seas.iter().map(|sea| sea.spec.name.as_str());
    unique(&mut problems, "seas", "name", names);
    let s = &scenario.scenario.spec;
    let (run_in, end) = (s.run_in_s, s.run_in_s + s.duration_s);
    let [first, last] = failures.spec.breaks_within_s;
    if first <= run_in || last + AFTER_S > end {
        let told = format!(
            "is {first} to {last} s, must lie after the run-in of {run_in} s and at least {AFTER_S} s before the end of \
             the scenario's runs at {end} s"
        );
        let p = Problem::at("breaks_within_s", told);
        problems.push(p.hint("leave time before it to compare with, and time after it to settle"));
    }
    let first = s.seeds.len();
    if let Some(u) = failures.spec.until_decided
        && (u.most as usize) < first
    {
        let told = format!("is {}, the scenario has {first} seeds already", u.most);
        let p = Problem::at("until_decided.most", told);
        problems.push(p.hint("ask for more seeds than the scenario has, or leave it out"));
    }
    if scenario.fault.is_some() {
        let told =
            "names a scenario that breaks something itself; a matrix breaks one thing at a time";
        let p = Problem::at("scenario", told);
        problems
            .push(p.hint("take `fault` out of the scenario, or write its events under `together`"));
    }
    if problems.is_empty() {
        Ok(FailuresBundle {
            failures,
            scenario,
            seas,
        })
    } else {
        Err(Error::from(locate(problems, &failures.source)))
    }
}

fn seas(failures: &Loaded<FailuresSpec>, scenario: &Bundle) -> Result<Vec<Loaded<SeaSpec>>> {
    let folder = failures.source.folder();
    let mut problems = Vec::new();
    let read = failures.spec.seas.iter().map(|n| load_sea(folder.join(n)));
    let mut seas: Vec<_> = read.filter_map(|r| keep(&mut problems, r)).collect();
    if !problems.is_empty() {
        return Err(Error::from(problems));
    }
    if seas.is_empty() {
        seas.push(scenario.sea.clone());
    }
    Ok(seas)
}

fn against(spec: &FailuresSpec, craft: &CraftSpec) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (k, t) in spec.together.iter().enumerate() {
        let events: Vec<FaultEventSpec> = t
            .faults
            .iter()
            .map(|f| FaultEventSpec {
                start: StartSpec::AtS(0.0),
                lasts_s: None,
                fault: f.clone(),
            })
            .collect();
        let mut told = fault::alone(&events);
        told.extend(fault::with_craft(&events, craft));
        for mut p in told {
            // the file writes the faults without their times
            let key = p.place.key.replacen("events", "faults", 1);
            p.place.key = format!("together[{k}].{}", key.replacen("].fault", "]", 1));
            problems.push(p);
        }
    }
    problems
}
