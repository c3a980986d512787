//! Checks of a scenario file by itself.

use std::path::Path;

use super::{ascending, distinct, number, paths};
use crate::error::Problem;
use crate::spec::scenario::ScenarioSpec;

/// Share of a step by which two times may miss being multiples (times in files are decimal).
const WHOLE: f64 = 1e-6;

pub(crate) fn scenario(spec: &ScenarioSpec, folder: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    paths::must_exist(&mut problems, "craft".into(), &spec.craft, folder);
    paths::must_exist(&mut problems, "sea".into(), &spec.sea, folder);
    for (i, name) in spec.controllers.iter().enumerate() {
        paths::must_exist(&mut problems, format!("controllers[{i}]"), name, folder);
        if spec.controllers[..i].contains(name) {
            problems.push(
                Problem::at(
                    format!("controllers[{i}]"),
                    format!("is {name:?} a second time"),
                )
                .hint("each controller file once"),
            );
        }
    }
    distinct(&mut problems, "speeds_kn", &spec.speeds_kn, "kn");
    distinct(&mut problems, "headings_deg", &spec.headings_deg, "deg");
    for (i, seed) in spec.seeds.iter().enumerate() {
        if spec.seeds[..i].contains(seed) {
            problems.push(
                Problem::at(format!("seeds[{i}]"), format!("is {seed} a second time"))
                    .hint("equal seeds give equal records, which narrows no interval"),
            );
        }
    }
    divides(&mut problems, spec.step_s, "record_s", spec.record_s);
    if spec.record_s > spec.duration_s && spec.duration_s > 0.0 {
        problems.push(Problem::at(
            "record_s",
            format!(
                "is {} s, must be at most the duration of {} s",
                number(spec.record_s),
                number(spec.duration_s)
            ),
        ));
    }
    if let Some(name) = &spec.fault {
        paths::must_exist(&mut problems, "fault".into(), name, folder);
    }
    super::orders::alone(&mut problems, spec);
    if let Some(stations) = &spec.physics.stations_x_m {
        let at = |i| format!("physics.stations_x_m[{i}]");
        ascending(&mut problems, stations.iter().copied(), at, "m");
    }
    if let Some(list) = &spec.physics.frequencies_rad_s {
        let at = |i| format!("physics.frequencies_rad_s[{i}]");
        ascending(&mut problems, list.iter().copied(), at, "rad/s");
    }
    problems
}

/// The integration step must divide a period that is kept by counting steps.
pub(super) fn divides(problems: &mut Vec<Problem>, step_s: f64, key: &str, period_s: f64) {
    let steps = period_s / step_s;
    if (steps - steps.round()).abs() > WHOLE || steps < 0.5 {
        let fits = period_s / steps.ceil().max(1.0);
        problems.push(
            Problem::at(
                "step_s",
                format!(
                    "is {} s, must divide `{key}` ({} s) into whole steps",
                    number(step_s),
                    number(period_s)
                ),
            )
            .hint(format!("{} s does", number(fits))),
        );
    }
}
