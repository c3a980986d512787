//! A rare-event file: by itself, and with all files it names.

use std::path::Path;

use super::bundle::{keep, law_with_craft, with_craft};
use super::scenario::divides;
use super::{ascending, fault, must_be_known, number, paths};
use crate::error::{Error, Problem, Result};
use crate::spec::controller::ControllerSpec;
use crate::spec::craft::CraftSpec;
use crate::spec::fault::FaultSpec;
use crate::spec::load::{Loaded, load_controller, load_craft, load_fault, load_rare, load_sea};
use crate::spec::rare::{RareEventSpec, RareSpec};
use crate::spec::scenario::{Integrator, ScenarioSpec};
use crate::spec::sea::{SeaSpec, SpectrumSpec};
use crate::spec::source::locate;

/// Everything a search for rare events needs, read and checked.
#[derive(Clone, Debug)]
pub struct RareBundle {
    /// The file itself.
    pub rare: Loaded<RareSpec>,
    /// Its craft.
    pub craft: Loaded<CraftSpec>,
    /// Its sea.
    pub sea: Loaded<SeaSpec>,
    /// Its law.
    pub law: Loaded<ControllerSpec>,
    /// What breaks in every run, if anything.
    pub fault: Option<Loaded<FaultSpec>>,
}

impl RareBundle {
    /// Every file that was read, the rare-event file first.
    pub fn sources(&self) -> Vec<&crate::spec::Source> {
        let mut all = vec![
            &self.rare.source,
            &self.craft.source,
            &self.sea.source,
            &self.law.source,
        ];
        all.extend(self.fault.iter().map(|f| &f.source));
        all
    }
}

/// Reads a rare-event file and all files it names, and tells the faults of all of them at once.
///
/// # Errors
/// All problems of all files.
pub fn rare_bundle(path: impl AsRef<Path>) -> Result<RareBundle> {
    let rare = load_rare(path)?;
    let folder = rare.source.folder().to_owned();
    let spec = &rare.spec;
    let mut problems = Vec::new();
    let craft = keep(&mut problems, load_craft(folder.join(&spec.craft)));
    let sea = keep(&mut problems, load_sea(folder.join(&spec.sea)));
    let law = keep(&mut problems, load_controller(folder.join(&spec.law)));
    let broken = spec.fault.as_ref().map(|n| load_fault(folder.join(n)));
    let broken = broken.and_then(|f| keep(&mut problems, f));
    if let Some(craft) = &craft {
        let scenario = scenario(spec);
        let mut own = with_craft(&scenario, &craft.spec);
        points(&mut own, spec, &craft.spec);
        problems.extend(locate(own, &rare.source));
        if let Some(law) = &law {
            let own = law_with_craft(&law.spec, &craft.spec, &scenario);
            problems.extend(locate(own, &law.source));
        }
        if let Some(f) = &broken {
            let own = fault::with_craft(&f.spec.events, &craft.spec);
            problems.extend(locate(own, &f.source));
        }
    }
    if let Some(sea) = &sea {
        let regular = |s: &SpectrumSpec| matches!(s, SpectrumSpec::Regular { .. });
        if sea.spec.systems.iter().all(|s| regular(&s.spectrum)) {
            let p = Problem::at(
                "sea",
                format!("is {:?}, in which no wave is random", spec.sea),
            );
            let p = p.hint("take a sea with a spectrum: its waves are what is searched");
            problems.extend(locate(vec![p], &rare.source));
        }
    }
    match (craft, sea, law) {
        (Some(craft), Some(sea), Some(law)) if problems.is_empty() => Ok(RareBundle {
            rare,
            craft,
            sea,
            law,
            fault: broken,
        }),
        _ => Err(Error::from(problems)),
    }
}

/// Accelerations are asked for at points that the craft has.
fn points(problems: &mut Vec<Problem>, spec: &RareSpec, craft: &CraftSpec) {
    let known: Vec<&str> = craft.points.iter().map(|p| p.name.as_str()).collect();
    for (i, e) in spec.events.iter().enumerate() {
        if let RareEventSpec::VerticalAcceleration { point, .. } = e {
            let at = format!("events[{i}].vertical_acceleration.point");
            must_be_known(problems, at, point, &known, "point of the craft");
        }
    }
}

/// The file as a scenario of one run: what checks, trim and law are made for.
pub fn scenario(spec: &RareSpec) -> ScenarioSpec {
    ScenarioSpec {
        format: "ridewright.scenario/1".to_owned(),
        name: spec.name.clone(),
        note: spec.note.clone(),
        craft: spec.craft.clone(),
        sea: spec.sea.clone(),
        controllers: vec![spec.law.clone()],
        speeds_kn: vec![spec.speed_kn],
        headings_deg: vec![spec.heading_deg],
        seeds: vec![spec.seed],
        duration_s: spec.duration_s,
        run_in_s: spec.run_in_s,
        step_s: spec.step_s,
        record_s: spec.record_s,
        integrator: Some(Integrator::PredictorCorrector),
        course: spec.course.clone(),
        orders: Vec::new(),
        fault: spec.fault.clone(),
        physics: spec.physics.clone(),
    }
}

pub(crate) fn rare(spec: &RareSpec, folder: Option<&Path>) -> Vec<Problem> {
    let mut p = Vec::new();
    for (key, name) in [
        ("craft", &spec.craft),
        ("sea", &spec.sea),
        ("law", &spec.law),
    ] {
        paths::must_exist(&mut p, key.into(), name, folder);
    }
    if let Some(name) = &spec.fault {
        paths::must_exist(&mut p, "fault".into(), name, folder);
    }
    divides(&mut p, spec.step_s, "record_s", spec.record_s);
    if spec.record_s > spec.duration_s && spec.duration_s > 0.0 {
        let told = format!(
            "is {} s, must be at most the duration of {} s",
            number(spec.record_s),
            number(spec.duration_s)
        );
        p.push(Problem::at("record_s", told));
    }
    for (i, e) in spec.events.iter().enumerate() {
        if let Some(first) = spec.events[..i].iter().position(|o| o == e) {
            let told = format!("is the same as events[{first}]");
            p.push(Problem::at(format!("events[{i}]"), told).hint("each event once"));
        }
    }
    let s = &spec.search;
    if s.one_in > 0
        && (!s.runs_per_level.is_multiple_of(s.one_in) || s.runs_per_level < 2 * s.one_in)
    {
        let fits = s
            .runs_per_level
            .next_multiple_of(s.one_in)
            .max(2 * s.one_in);
        let told = format!(
            "is {}, must be a multiple of `one_in` ({}), at least twice it",
            s.runs_per_level, s.one_in
        );
        p.push(Problem::at("search.runs_per_level", told).hint(format!("{fits} does")));
    }
    if let Some(stations) = &spec.physics.stations_x_m {
        let at = |i| format!("physics.stations_x_m[{i}]");
        ascending(&mut p, stations.iter().copied(), at, "m");
    }
    if let Some(list) = &spec.physics.frequencies_rad_s {
        let at = |i| format!("physics.frequencies_rad_s[{i}]");
        ascending(&mut p, list.iter().copied(), at, "rad/s");
    }
    p
}

#[cfg(test)]
mod tests {
    use crate::spec::load::parse;
    use crate::spec::rare::RareSpec;

    #[test]
    fn slips_of_a_rare_event_file_are_told() {
        let text = r#"{
            "format": "ridewright.rare/1", "name": "x", "craft": "c.json", "sea": "s.json", "law": "l.json",
            "speed_kn": 16, "heading_deg": 180, "duration_s": 60, "step_s": 0.07,
            "events": [{"roll": {"beyond_deg": 10}}, {"loss_of_control": {}}, {"roll": {"beyond_deg": 10}}],
            "search": {"runs_per_level": 505}
        }"#;
        let told = parse::<RareSpec>("r.json", text).unwrap_err().to_string();
        for words in [
            "is the same as events[0]",
            "510 does",
            "must divide `record_s`",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }
}
