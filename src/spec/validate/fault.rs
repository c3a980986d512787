//! Checks of a fault file: by itself, and against the craft it breaks.

use std::path::Path;

use super::{must_be_known, number};
use crate::error::Problem;
use crate::spec::craft::{CraftSpec, MovingPart};
use crate::spec::fault::{
    BreakageSpec, FaultEventSpec, FaultSpec, FloodedSpec, PlaceSpec, SensorFailureSpec,
    SensorNameSpec, StartSpec, SurfaceFailureSpec,
};
use crate::spec::outline::Outline;
use crate::spec::resolve::height_sensors_m;

pub(crate) fn fault(spec: &FaultSpec, _: Option<&Path>) -> Vec<Problem> {
    alone(&spec.events)
}

/// What the events alone can tell.
pub(crate) fn alone(events: &[FaultEventSpec]) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (k, e) in events.iter().enumerate() {
        let at = format!("events[{k}]");
        if let StartSpec::WithinS([first, last]) = e.start
            && (last < first)
        {
            let told = format!(
                "ends at {} s before it begins at {} s",
                number(last),
                number(first)
            );
            let p = Problem::at(format!("{at}.start.within_s"), told);
            problems.push(p.hint("write the earlier second first"));
        }
        match &e.fault {
            BreakageSpec::Sensor { name, failure } => {
                motion_unit(&mut problems, &at, name, failure);
            }
            BreakageSpec::WeightShift { from, to, .. } if from == to => {
                let p = Problem::at(format!("{at}.fault.weight_shift.to"), "is where it was");
                problems.push(p.hint("write where the weight goes to"));
            }
            _ => {}
        }
    }
    problems
}

/// Failures with a number are in the unit of one sensor; the motion unit has three units.
fn motion_unit(
    problems: &mut Vec<Problem>,
    at: &str,
    sensor: &SensorNameSpec,
    failure: &SensorFailureSpec,
) {
    let has_unit = matches!(
        failure,
        SensorFailureSpec::Bias { .. }
            | SensorFailureSpec::Drift { .. }
            | SensorFailureSpec::Noisy { .. }
    );
    if has_unit && *sensor == SensorNameSpec::MotionUnit {
        let told = "is a number in one unit, but the motion unit reads deg/s, deg and m/s2";
        let p = Problem::at(format!("{at}.fault.sensor.failure"), told);
        problems.push(p.hint("name one of its sensors, such as \"pitch\""));
    }
}

/// Events against the craft.
pub(crate) fn with_craft(events: &[FaultEventSpec], craft: &CraftSpec) -> Vec<Problem> {
    let mut problems = Vec::new();
    let known = Names::of(craft);
    for (k, e) in events.iter().enumerate() {
        let at = format!("events[{k}].fault");
        match &e.fault {
            BreakageSpec::Surface { name, failure } => {
                of_surface(&mut problems, &at, name, *failure, craft, &known);
            }
            BreakageSpec::Supply { name: Some(s), .. } => {
                let place = format!("{at}.supply.name");
                must_be_known(&mut problems, place, s, &known.supplies, "supply");
            }
            BreakageSpec::Sensor { name, .. } => {
                of_sensor(&mut problems, &at, name, craft, &known);
            }
            BreakageSpec::Shaft { name, .. } => {
                let place = format!("{at}.shaft.name");
                must_be_known(&mut problems, place, name, &known.shafts, "propulsor");
            }
            BreakageSpec::WeightShift { from, to, .. } => {
                for (key, p) in [("from", from), ("to", to)] {
                    inside(
                        &mut problems,
                        &format!("{at}.weight_shift.{key}"),
                        p,
                        [0.0; 2],
                        craft,
                    );
                }
            }
            BreakageSpec::Flooded(c) => {
                let size = [c.length_m, c.breadth_m];
                inside(
                    &mut problems,
                    &format!("{at}.flooded"),
                    &floor(c),
                    size,
                    craft,
                );
            }
            BreakageSpec::Supply { name: None, .. } | BreakageSpec::Controller(_) => {}
        }
    }
    problems
}

struct Names<'a> {
    surfaces: Vec<&'a str>,
    turning: Vec<&'a str>,
    supplies: Vec<&'a str>,
    shafts: Vec<&'a str>,
}

impl<'a> Names<'a> {
    fn of(craft: &'a CraftSpec) -> Self {
        let turns = |m: &MovingPart| !matches!(m, MovingPart::Fixed {});
        let surfaces = craft.surfaces.iter();
        Names {
            turning: surfaces
                .clone()
                .filter(|s| turns(&s.moving))
                .map(|s| s.name.as_str())
                .collect(),
            surfaces: surfaces.map(|s| s.name.as_str()).collect(),
            supplies: craft.supplies.iter().map(|s| s.name.as_str()).collect(),
            shafts: craft.propulsors.iter().map(|s| s.name.as_str()).collect(),
        }
    }
}

fn of_surface(
    problems: &mut Vec<Problem>,
    at: &str,
    name: &str,
    failure: SurfaceFailureSpec,
    craft: &CraftSpec,
    known: &Names,
) {
    let place = format!("{at}.surface.name");
    if failure == (SurfaceFailureSpec::Lost {}) {
        must_be_known(problems, place, name, &known.surfaces, "surface");
    } else {
        must_be_known(problems, place, name, &known.turning, "surface that turns");
    }
    let SurfaceFailureSpec::JammedAt { angle_deg } = failure else {
        return;
    };
    let Some(s) = craft.surfaces.iter().find(|s| s.name == name) else {
        return;
    };
    if angle_deg < s.min_deg || angle_deg > s.max_deg {
        let told = format!(
            "is {} deg, its stops are {} and {} deg",
            number(angle_deg),
            number(s.min_deg),
            number(s.max_deg)
        );
        let place = format!("{at}.surface.failure.jammed_at.angle_deg");
        problems.push(Problem::at(place, told).hint("a surface cannot jam beyond its stops"));
    }
}

fn of_sensor(
    problems: &mut Vec<Problem>,
    at: &str,
    sensor: &SensorNameSpec,
    craft: &CraftSpec,
    known: &Names,
) {
    match sensor {
        SensorNameSpec::Height { height_sensor } => {
            let given = craft.sensors.height_sensors_m.len();
            let count = if given > 0 {
                given
            } else {
                height_sensors_m(craft).len()
            };
            if *height_sensor as usize >= count {
                let place = format!("{at}.sensor.name.height.height_sensor");
                let told = format!("is {height_sensor}, the craft has {count}, counted from 0");
                problems.push(Problem::at(place, told));
            }
        }
        SensorNameSpec::SurfaceAngle { surface } => {
            let place = format!("{at}.sensor.name.surface_angle.surface");
            must_be_known(problems, place, surface, &known.surfaces, "surface");
        }
        _ => {}
    }
}

fn floor(c: &FloodedSpec) -> PlaceSpec {
    PlaceSpec {
        x_m: c.x_m,
        y_m: c.y_m,
        height_m: c.floor_height_m,
    }
}

/// A place, with a length and breadth about it, inside the craft's outline seen from above.
fn inside(
    problems: &mut Vec<Problem>,
    at: &str,
    p: &PlaceSpec,
    [length_m, breadth_m]: [f64; 2],
    craft: &CraftSpec,
) {
    let (mut aft, mut fore) = (
        craft.cross_structure.aft_x_m,
        craft.cross_structure.fore_x_m,
    );
    if let Some((a, f)) = Outline::of(&craft.lower_hulls).map(|h| h.ends()) {
        (aft, fore) = (aft.min(a), fore.max(f));
    }
    let hull = craft.lower_hulls.stations.iter().map(|s| s.half_breadth_m);
    let hull_m = craft.lower_hulls.lateral_position_m + hull.fold(0.0, f64::max);
    let half_m = hull_m.max(craft.cross_structure.half_breadth_m);
    let mut outside = |key: &str, value: f64, half: f64, low: f64, high: f64| {
        if value - half < low - 1e-9 || value + half > high + 1e-9 {
            let reach = if half > 0.0 {
                format!(
                    " and reaches {} m to {} m",
                    number(value - half),
                    number(value + half)
                )
            } else {
                String::new()
            };
            let told = format!(
                "is {} m{reach}, the craft reaches from {} m to {} m",
                number(value),
                number(low),
                number(high)
            );
            let place = format!("{at}.{key}");
            problems.push(Problem::at(place, told).hint("a place must lie inside the craft"));
        }
    };
    outside("x_m", p.x_m, 0.5 * length_m, aft, fore);
    outside("y_m", p.y_m, 0.5 * breadth_m, -half_m, half_m);
}
