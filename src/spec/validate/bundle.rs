//! A scenario with all files it names, and the checks between them.

use std::path::Path;

use super::scenario::divides;
use super::{fault, must_be_known, number, orders};
use crate::error::{Error, Problem, Result};
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::craft::{CraftSpec, MovingPart, SurfaceGroup};
use crate::spec::fault::FaultSpec;
use crate::spec::load::{Loaded, load_controller, load_craft, load_fault, load_scenario, load_sea};
use crate::spec::outline::Outline;
use crate::spec::scenario::{CourseSpec, ScenarioSpec};
use crate::spec::sea::SeaSpec;
use crate::spec::source::locate;

/// Everything a run needs, read and checked.
#[derive(Clone, Debug)]
pub struct Bundle {
    /// The scenario.
    pub scenario: Loaded<ScenarioSpec>,
    /// Its craft.
    pub craft: Loaded<CraftSpec>,
    /// Its sea.
    pub sea: Loaded<SeaSpec>,
    /// Its controllers, in its order; the first is the baseline.
    pub controllers: Vec<Loaded<ControllerSpec>>,
    /// What breaks in every run, if anything.
    pub fault: Option<Loaded<FaultSpec>>,
}

/// Reads a scenario and all files it names, and tells the faults of all of them at once.
///
/// # Errors
/// All problems of all files.
pub fn bundle(path: impl AsRef<Path>) -> Result<Bundle> {
    let scenario = load_scenario(path)?;
    let folder = scenario.source.folder().to_owned();
    let craft = load_craft(folder.join(&scenario.spec.craft));
    let sea = load_sea(folder.join(&scenario.spec.sea));
    let names = &scenario.spec.controllers;
    let controllers: Vec<_> = names
        .iter()
        .map(|n| load_controller(folder.join(n)))
        .collect();
    let broken = scenario
        .spec
        .fault
        .as_ref()
        .map(|n| load_fault(folder.join(n)));

    let mut problems = Vec::new();
    let craft = keep(&mut problems, craft);
    let sea = keep(&mut problems, sea);
    let controllers: Vec<_> = controllers
        .into_iter()
        .map(|c| keep(&mut problems, c))
        .collect();
    let broken = broken.and_then(|f| keep(&mut problems, f));
    if let (Some(craft), Some(f)) = (&craft, &broken) {
        let more = fault::with_craft(&f.spec.events, &craft.spec);
        problems.extend(locate(more, &f.source));
    }
    if let Some(craft) = &craft {
        let more = with_craft(&scenario.spec, &craft.spec);
        problems.extend(locate(more, &scenario.source));
        for law in controllers.iter().flatten() {
            let mut more = Vec::new();
            orders::with_law(&mut more, &scenario.spec.orders, &law.spec);
            problems.extend(locate(more, &scenario.source));
            let more = law_with_craft(&law.spec, &craft.spec, &scenario.spec);
            problems.extend(locate(more, &law.source));
        }
    }
    match (
        craft,
        sea,
        controllers.into_iter().collect::<Option<Vec<_>>>(),
    ) {
        (Some(craft), Some(sea), Some(controllers)) if problems.is_empty() => Ok(Bundle {
            scenario,
            craft,
            sea,
            controllers,
            fault: broken,
        }),
        _ => Err(Error::from(problems)),
    }
}

pub(super) fn keep<T>(problems: &mut Vec<Problem>, read: Result<T>) -> Option<T> {
    match read {
        Ok(value) => Some(value),
        Err(e) => {
            problems.extend(e.problems);
            None
        }
    }
}

fn movable(craft: &CraftSpec, group: SurfaceGroup) -> usize {
    let turns = |m: &MovingPart| !matches!(m, MovingPart::Fixed {});
    craft
        .surfaces
        .iter()
        .filter(|s| s.group == group && turns(&s.moving))
        .count()
}

/// A scenario against its craft.
pub(super) fn with_craft(scenario: &ScenarioSpec, craft: &CraftSpec) -> Vec<Problem> {
    let mut problems = Vec::new();
    divides(
        &mut problems,
        scenario.step_s,
        "sensors.sample_period_s of the craft",
        craft.sensors.sample_period_s,
    );
    if matches!(scenario.course, CourseSpec::Kept { .. }) {
        let rudders = movable(craft, SurfaceGroup::Rudder);
        let lacks = match (rudders, craft.propulsors.len()) {
            (0, _) => Some("rudder that turns"),
            (_, 0) => Some("propulsor"),
            _ => None,
        };
        if let Some(lacks) = lacks {
            problems.push(
                Problem::at("course", format!("is kept, but the craft has no {lacks}"))
                    .hint("add one to the craft, or hold the mean course: \"course\": {\"mean_held\": {}}"),
            );
        }
    }
    orders::with_craft(&mut problems, &scenario.orders, craft);
    if let (Some(stations), Some(hull)) = (
        &scenario.physics.stations_x_m,
        Outline::of(&craft.lower_hulls),
    ) {
        let (aft, fore) = hull.ends();
        for (i, x) in stations.iter().enumerate() {
            if !(aft - 1e-9..=fore + 1e-9).contains(x) {
                problems.push(Problem::at(
                    format!("physics.stations_x_m[{i}]"),
                    format!(
                        "is {} m, must lie on the lower hull, between {} m and {} m",
                        number(*x),
                        number(aft),
                        number(fore)
                    ),
                ));
            }
        }
    }
    problems
}

/// A law against the craft it steers and the speeds it is asked for.
pub(super) fn law_with_craft(
    law: &ControllerSpec,
    craft: &CraftSpec,
    scenario: &ScenarioSpec,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    let turning: Vec<&str> = craft
        .surfaces
        .iter()
        .filter(|s| !matches!(s.moving, MovingPart::Fixed {}))
        .map(|s| s.name.as_str())
        .collect();
    for (i, channel) in law.channels.iter().enumerate() {
        let at = format!("channels[{i}]");
        must_be_known(&mut problems, at, channel, &turning, "surface that turns");
    }
    for (i, c) in law.calibration.iter().enumerate() {
        let at = format!("calibration[{i}]");
        let place = format!("{at}.surface");
        must_be_known(
            &mut problems,
            place,
            &c.surface,
            &turning,
            "surface that turns",
        );
        if let Some(other) = &c.wired_to {
            let place = format!("{at}.wired_to");
            must_be_known(&mut problems, place, other, &turning, "surface that turns");
        }
    }
    let pairs = movable(craft, SurfaceGroup::Forward) + movable(craft, SurfaceGroup::Aft);
    let drives = matches!(law.law, LawSpec::Pid(_) | LawSpec::Lqr(_));
    if drives && law.channels.is_empty() && (pairs == 0 || !scenario.physics.surfaces) {
        let why = if pairs == 0 {
            "the craft has no forward or aft surface that turns"
        } else {
            "the scenario's `physics.surfaces` is false"
        };
        problems.push(Problem::at("law", format!("has nothing to drive: {why}")));
    }
    if let LawSpec::Pid(pid) = &law.law {
        for (group, word, share) in [
            (SurfaceGroup::Forward, "forward", pid.forward_share_frac),
            (SurfaceGroup::Aft, "aft", 1.0 - pid.forward_share_frac),
        ] {
            if pairs > 0 && share > 0.0 && movable(craft, group) == 0 {
                let all = if group == SurfaceGroup::Forward {
                    "0"
                } else {
                    "1"
                };
                problems.push(
                    Problem::at(
                        "law.pid.forward_share_frac",
                        format!(
                            "gives {} to {word} surfaces, but the craft has none that turns",
                            number(share)
                        ),
                    )
                    .hint(format!("write {all}")),
                );
            }
        }
    }
    if let LawSpec::Lqr(lqr) = &law.law {
        let first = lqr.design_speeds_kn.first().copied().unwrap_or(0.0);
        let last = lqr.design_speeds_kn.last().copied().unwrap_or(0.0);
        let outside =
            |u: &&f64| **u > last + 1e-9 || (**u < first - 1e-9 && **u > lqr.min_speed_kn);
        if let Some(speed) = scenario.speeds_kn.iter().find(outside) {
            problems.push(
                Problem::at(
                    "law.lqr.design_speeds_kn",
                    format!(
                        "run from {} kn to {} kn, but the scenario {} asks for {} kn",
                        number(first),
                        number(last),
                        scenario.name,
                        number(*speed)
                    ),
                )
                .hint("add a design speed: gains are interpolated, never extrapolated"),
            );
        }
    }
    problems
}
