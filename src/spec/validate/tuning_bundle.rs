//! A tuning with all files it names, and the checks between them.

use std::path::Path;

use serde_json::Value;

use super::must_be_known;
use crate::error::{Error, Problem, Result};
use crate::spec::controller::{ControllerSpec, LawSpec, gain_in_row};
use crate::spec::craft::CraftSpec;
use crate::spec::key_path;
use crate::spec::load::{Loaded, load_controller, load_craft, load_sea, load_tuning, problems_of};
use crate::spec::sea::SeaSpec;
use crate::spec::source::locate;
use crate::spec::tuning::{RideNumberSpec, TuningSpec};

/// Everything a tuning needs, read and checked.
#[derive(Clone, Debug)]
pub struct TuningBundle {
    /// The tuning.
    pub tuning: Loaded<TuningSpec>,
    /// Its craft.
    pub craft: Loaded<CraftSpec>,
    /// Other loadings of it, in their order.
    pub loadings: Vec<Loaded<CraftSpec>>,
    /// The controller to begin with.
    pub controller: Loaded<ControllerSpec>,
    /// The sea of each of its cases, in their order.
    pub seas: Vec<Loaded<SeaSpec>>,
}

impl TuningBundle {
    /// A tuning without `loadings` for its own craft and for each of the other loadings, in this order.
    pub fn each_loading(&self) -> Vec<TuningBundle> {
        let mut own = self.clone();
        own.tuning.spec.loadings.clear();
        let others = std::mem::take(&mut own.loadings);
        let with = |craft| TuningBundle {
            craft,
            ..own.clone()
        };
        let others: Vec<_> = others.into_iter().map(with).collect();
        std::iter::once(own).chain(others).collect()
    }
}

/// Reads a tuning and all files it names, and tells the faults of all of them at once.
///
/// # Errors
/// All problems of all files.
pub fn tuning_bundle(path: impl AsRef<Path>) -> Result<TuningBundle> {
    let tuning = load_tuning(path)?;
    let folder = tuning.source.folder().to_owned();
    let mut problems = Vec::new();
    let craft = keep(&mut problems, load_craft(folder.join(&tuning.spec.craft)));
    let law = load_controller(folder.join(&tuning.spec.controller));
    let controller = keep(&mut problems, law);
    let mut seas = Vec::new();
    for case in &tuning.spec.cases {
        seas.push(keep(&mut problems, load_sea(folder.join(&case.sea))));
    }
    let mut loadings = Vec::new();
    for loading in &tuning.spec.loadings {
        loadings.push(keep(&mut problems, load_craft(folder.join(loading))));
    }
    let mut own = Vec::new();
    for craft in craft.iter().chain(loadings.iter().flatten()) {
        points(&mut own, &tuning.spec, &craft.spec);
    }
    if let Some(controller) = &controller {
        free(&mut own, &tuning.spec, &controller.spec);
        if !tuning.spec.loadings.is_empty() {
            free_with_loadings(&mut own, &tuning.spec);
        }
    }
    problems.extend(locate(own, &tuning.source));
    let seas = seas.into_iter().collect::<Option<Vec<_>>>();
    let loadings = loadings.into_iter().collect::<Option<Vec<_>>>();
    match (craft, loadings, controller, seas) {
        (Some(craft), Some(loadings), Some(controller), Some(seas)) if problems.is_empty() => {
            Ok(TuningBundle {
                tuning,
                craft,
                loadings,
                controller,
                seas,
            })
        }
        _ => Err(Error::from(problems)),
    }
}

fn keep<T>(problems: &mut Vec<Problem>, read: Result<T>) -> Option<T> {
    match read {
        Ok(value) => Some(value),
        Err(e) => {
            for p in e.problems {
                if !problems.contains(&p) {
                    problems.push(p); // two cases may name the same sea
                }
            }
            None
        }
    }
}

/// With loadings, what is free must have a place in each of them, and be there in all of them.
fn free_with_loadings(problems: &mut Vec<Problem>, tuning: &TuningSpec) {
    for (i, f) in tuning.free.iter().enumerate() {
        if gain_in_row(&f.key).is_none() {
            let told = format!("is {:?}, which has one value for all loadings", f.key);
            let p = Problem::at(format!("free[{i}].key"), told);
            problems.push(p.hint(
                "gains under law.pid.heave, law.pid.pitch and law.pid.roll go with loading; tune the rest for one loading before",
            ));
        }
        if f.key.contains(".integral_deg") && f.low <= 0.0 && f.high >= 0.0 {
            let told = "lets an integrator vanish in one loading and not in another";
            let p = Problem::at(format!("free[{i}].low"), told);
            problems.push(p.hint("begin the range above 0; a small gain will do"));
        }
    }
}

/// Ride numbers are asked for at points that the craft has.
fn points(problems: &mut Vec<Problem>, tuning: &TuningSpec, craft: &CraftSpec) {
    let known: Vec<&str> = craft.points.iter().map(|p| p.name.as_str()).collect();
    for (i, term) in tuning.objective.terms.iter().enumerate() {
        let (word, point) = match &term.of {
            RideNumberSpec::VerticalAcceleration { point, .. } => ("vertical_acceleration", point),
            RideNumberSpec::LateralAcceleration { point, .. } => ("lateral_acceleration", point),
            RideNumberSpec::WeightedVertical { point, .. } => ("weighted_vertical", point),
            RideNumberSpec::Sickness { point, .. } => ("sickness", point),
            _ => continue,
        };
        let at = format!("objective.terms[{i}].of.{word}.point");
        let mut bad = Vec::new();
        must_be_known(&mut bad, at, point, &known, "point of the craft");
        // loadings of one craft lack the same point
        problems.extend(
            bad.into_iter()
                .filter(|b| !problems.contains(b))
                .collect::<Vec<_>>(),
        );
    }
}

/// Free numbers exist in the controller file and both ends of their ranges are allowed there.
fn free(problems: &mut Vec<Problem>, tuning: &TuningSpec, law: &ControllerSpec) {
    if matches!(law.law, LawSpec::Fixed {} | LawSpec::External(_)) {
        let p = Problem::at("controller", "has no gains that could be tuned");
        problems.push(p.hint("begin with a file whose law is `pid` or `lqr`"));
        return;
    }
    if law.follows_loading() {
        let told = "has gains under `loadings`, which stand in place of those that a search moves";
        let p = Problem::at("controller", told);
        problems.push(p.hint(
            "begin with a file without them; `loadings` of the tuning file makes them, one search for each craft file",
        ));
        return;
    }
    let Ok(document) = serde_json::to_value(law) else {
        return; // it was read from JSON
    };
    for (i, f) in tuning.free.iter().enumerate() {
        if key_path::number(&document, &f.key).is_none() {
            let at = format!("free[{i}].key");
            problems.push(key_path::unknown(&document, &f.key, &at));
            continue;
        }
        for (end, value) in [("low", f.low), ("high", f.high)] {
            if let Some(told) = refused(&document, &f.key, value) {
                let p = Problem::at(format!("free[{i}].{end}"), told);
                problems.push(p.hint("the range must lie inside what the controller file allows"));
            }
        }
        if f.per_speed && gain_in_row(&f.key).is_none() {
            let p = Problem::at(
                format!("free[{i}].per_speed"),
                format!("is true, but {:?} has no schedule", f.key),
            );
            problems.push(p.hint(
                "gains under law.pid.heave, law.pid.pitch and law.pid.roll may change with speed",
            ));
        }
    }
}

/// What the controller file says to `value` at `key` and only to that; none when it is allowed.
fn refused(document: &Value, key: &str, value: f64) -> Option<String> {
    let problems = |v: f64| -> Vec<String> {
        let mut changed = document.clone();
        key_path::set(&mut changed, key, v);
        match serde_json::from_value::<ControllerSpec>(changed) {
            Ok(spec) => problems_of(&spec)
                .into_iter()
                .map(|p| format!("{} {}", p.place.key, p.message))
                .collect(),
            Err(e) => vec![e.to_string()],
        }
    };
    let before = key_path::number(document, key)?;
    let known = problems(before);
    let new = problems(value).into_iter().find(|p| !known.contains(p))?;
    Some(format!("is {value}, which the law refuses: {new}"))
}
