//! Each check fires on a file that breaks one thing, names the key, and stays silent otherwise.

use serde_json::{Value, json};

use crate::error::Problem;
use crate::spec::controller::ControllerSpec;
use crate::spec::craft::CraftSpec;
use crate::spec::fault::FaultSpec;
use crate::spec::load::{Document, parse, problems_of};
use crate::spec::scenario::ScenarioSpec;
use crate::spec::sea::SeaSpec;

const CRAFT: &str = include_str!("../../../tests/data/spec/craft.json");
const SEA: &str = include_str!("../../../tests/data/spec/sea.json");
const PID: &str = include_str!("../../../tests/data/spec/pid.json");
const LQR: &str = include_str!("../../../tests/data/spec/lqr.json");
const FAULT: &str = include_str!("../../../tests/data/spec/fault.json");
const SCENARIO: &str = include_str!("../../../tests/data/spec/scenario.json");

mod loadings;

/// The problems of a file after `value` was written at the JSON pointer `at`.
fn after<T: Document>(text: &str, at: &str, value: Value) -> Vec<Problem> {
    let mut file: Value = serde_json::from_str(text).unwrap();
    let (holder, key) = at.rsplit_once('/').unwrap();
    let holder = file.pointer_mut(holder).unwrap();
    match holder {
        Value::Array(list) => {
            let i: usize = key.parse().unwrap();
            if i == list.len() {
                list.push(value);
            } else {
                list[i] = value;
            }
        }
        other => other[key] = value,
    }
    match parse::<T>("x.json", &file.to_string()) {
        Ok(_) => Vec::new(),
        Err(e) => e.problems,
    }
}

/// One change gives exactly one problem, at the key, with the words.
fn one<T: Document>(text: &str, at: &str, value: Value, key: &str, words: &str) {
    let problems = after::<T>(text, at, value);
    let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_eq!(problems.len(), 1, "{at}: {told:#?}");
    assert_eq!(problems[0].place.key, key, "{told:?}");
    assert!(problems[0].message.contains(words), "{at}: {told:?}");
    assert!(problems[0].place.line.is_some(), "{at}: has no line");
}

#[test]
fn the_files_of_the_tests_are_valid() {
    assert!(after::<CraftSpec>(CRAFT, "/name", json!("a")).is_empty());
    assert!(after::<SeaSpec>(SEA, "/name", json!("a")).is_empty());
    assert!(after::<ControllerSpec>(PID, "/name", json!("a")).is_empty());
    assert!(after::<ControllerSpec>(LQR, "/name", json!("a")).is_empty());
    assert!(after::<ScenarioSpec>(SCENARIO, "/name", json!("a")).is_empty());
}

#[test]
fn hulls_and_stations() {
    let craft =
        |at: &str, v: Value, key: &str, words: &str| one::<CraftSpec>(CRAFT, at, v, key, words);
    let s1 = "lower_hulls.stations[1]";
    craft(
        "/lower_hulls/stations/1/x_m",
        json!(-14),
        &format!("{s1}.x_m"),
        "must be greater",
    );
    craft(
        "/lower_hulls/stations/1/half_height_m",
        json!(1.0),
        &format!("{s1}.half_height_m"),
        "must be equal",
    );
    craft(
        "/lower_hulls/stations/1/axis_height_m",
        json!(2.5),
        &format!("{s1}.half_breadth_m"),
        "below the design waterline",
    );
    craft(
        "/lower_hulls/stations/1/half_breadth_m",
        json!(-1),
        &format!("{s1}.half_breadth_m"),
        "between 0 m and 50 m",
    );
    // 1.21 m keeps the fins' roots and propulsors near enough to be quiet about: hulls that touch
    let problems = after::<CraftSpec>(CRAFT, "/lower_hulls/lateral_position_m", json!(1.15));
    assert!(
        problems.iter().any(|p| p.message.contains("they overlap")),
        "{problems:?}"
    );
}

#[test]
fn struts_and_cross_structure() {
    let craft =
        |at: &str, v: Value, key: &str, words: &str| one::<CraftSpec>(CRAFT, at, v, key, words);
    craft(
        "/struts/0/aft_x_m",
        json!(-16),
        "struts[0].aft_x_m",
        "must lie over the lower hull",
    );
    craft(
        "/struts/0/fore_x_m",
        json!(-12.5),
        "struts[0].fore_x_m",
        "must be forward of",
    );
    craft(
        "/struts/0/thickness_m",
        json!(3.0),
        "struts[0].thickness_m",
        "gives a foot",
    );
    craft(
        "/struts/0/offset_outboard_m",
        json!(1.5),
        "struts[0].thickness_m",
        "gives a foot",
    );
    craft(
        "/struts/0/waterplane",
        json!({"parabolic_ends": {"fore_length_m": 20, "aft_length_m": 6}}),
        "struts[0].waterplane.parabolic_ends",
        "must fit",
    );
    craft(
        "/struts/0/waterplane",
        json!({"offsets": {"x_m": [-12, 0, 11], "half_thickness_m": [0, 0.45]}}),
        "struts[0].waterplane.offsets.half_thickness_m",
        "must have as many",
    );
    craft(
        "/struts/0/waterplane",
        json!({"offsets": {"x_m": [-12, 0, 11], "half_thickness_m": [0, 0.3, 0]}}),
        "struts[0].thickness_m",
        "twice the greatest half thickness",
    );
    let second = json!({
        "name": "aft strut", "fore_x_m": -2, "aft_x_m": -10, "thickness_m": 0.8,
        "waterplane": {"parabola": {}}
    });
    craft("/struts/1", second, "struts[1].fore_x_m", "must be aft of");
    craft(
        "/cross_structure/fore_x_m",
        json!(-14),
        "cross_structure.fore_x_m",
        "must be forward",
    );
    craft(
        "/cross_structure/underside_height_m",
        json!(2),
        "cross_structure.underside_height_m",
        "above the design waterline",
    );
    craft(
        "/cross_structure/half_breadth_m",
        json!(5),
        "cross_structure.half_breadth_m",
        "must reach",
    );
}

#[test]
fn surfaces_sit_on_the_craft_and_turn() {
    let craft =
        |at: &str, v: Value, key: &str, words: &str| one::<CraftSpec>(CRAFT, at, v, key, words);
    craft(
        "/surfaces/0/root_y_m",
        json!(2),
        "surfaces[0].root_y_m",
        "puts the root 2.824 m away from the nearest lower hull",
    );
    craft(
        "/surfaces/0/root_height_m",
        json!(-2),
        "surfaces[0].root_y_m",
        "nearest lower hull",
    );
    craft(
        "/surfaces/0/span_angle_deg",
        json!(0),
        "surfaces[0].span_angle_deg",
        "runs through the hull",
    );
    craft(
        "/surfaces/0/min_deg",
        json!(30),
        "surfaces[0].min_deg",
        "must be below `max_deg`",
    );
    craft(
        "/surfaces/2/stock_frac",
        json!(0.7),
        "surfaces[2].moving.flap.chord_frac",
        "must be 1 - stock_frac = 0.3",
    );
    craft(
        "/surfaces/2/actuator/supply",
        json!("fwd"),
        "surfaces[2].actuator.supply",
        "there are aft",
    );
    craft(
        "/surfaces/4/span_angle_deg",
        json!(180),
        "surfaces[4].span_angle_deg",
        "within 45 deg",
    );
    craft(
        "/surfaces/1/name",
        json!("fwd_stbd"),
        "surfaces[1].name",
        "which surfaces[0] has already",
    );
    craft(
        "/surfaces/0/limit_by_speed",
        json!([{"speed_kn": 10, "limit_deg": 20}, {"speed_kn": 10, "limit_deg": 15}]),
        "surfaces[0].limit_by_speed[1].speed_kn",
        "must be greater",
    );
    let problems = after::<CraftSpec>(CRAFT, "/surfaces/0/max_deg", json!(-19.7));
    assert!(
        problems[0]
            .hint
            .as_deref()
            .is_some_and(|h| h.contains("radians"))
    );
}

#[test]
fn weights_tables_and_points() {
    let craft =
        |at: &str, v: Value, key: &str, words: &str| one::<CraftSpec>(CRAFT, at, v, key, words);
    craft(
        "/mass/total/k_zz_m",
        json!(12),
        "mass.total.k_zz_m",
        "no body with the other two",
    );
    let nothing =
        json!({"groups": {"weights": [{"name": "ship", "mass_kg": 0, "x_m": 0, "height_m": 3}]}});
    craft(
        "/mass",
        nothing,
        "mass.groups.weights",
        "must be more than 0 kg",
    );
    craft(
        "/steady/1/speed_kn",
        json!(0),
        "steady[1].speed_kn",
        "must be greater",
    );
    craft(
        "/points/1/name",
        json!("bridge"),
        "points[1].name",
        "has already",
    );
    craft(
        "/points/1/x_m",
        json!(-100),
        "points[1].x_m",
        "far outside the craft",
    );
    craft(
        "/propulsors/0/y_m",
        json!(60),
        "propulsors[0].y_m",
        "far outside the craft",
    );
}

#[test]
fn seas_that_cannot_be() {
    let at = "/systems/0/spectrum";
    let sea = |v: Value, key: &str, words: &str| one::<SeaSpec>(SEA, at, v, key, words);
    sea(
        json!({"regular": {"amplitude_m": 3, "period_s": 4}}),
        "systems[0].spectrum.regular.amplitude_m",
        "waves break at 0.142",
    );
    sea(
        json!({"jonswap": {"hs_m": 8, "tp_s": 6}}),
        "systems[0].spectrum.jonswap.hs_m",
        "steepness",
    );
    sea(
        json!({"jonswap": {"hs_m": 2, "tp_s": 0.12}}),
        "systems[0].spectrum.jonswap.tp_s",
        "must lie between 1 s and 40 s",
    );
}

#[test]
fn laws_need_bounds_and_matching_channels() {
    one::<ControllerSpec>(
        PID,
        "/law/pid/pitch/integral_limit_deg",
        json!(0),
        "law.pid.pitch.integral_limit_deg",
        "must be more than 0 deg",
    );
    one::<ControllerSpec>(
        PID,
        "/law/pid/min_speed_kn",
        json!(18),
        "law.pid.min_speed_kn",
        "must be below the reference",
    );
    one::<ControllerSpec>(
        PID,
        "/channels/1",
        json!("fwd_stbd"),
        "channels[1]",
        "has already",
    );
    one::<ControllerSpec>(
        LQR,
        "/law/lqr/channel_deg",
        json!([8, 8, 8]),
        "law.lqr.channel_deg",
        "3 values for 4 channels",
    );
    one::<ControllerSpec>(
        LQR,
        "/law/lqr/design_speeds_kn",
        json!([12, 8]),
        "law.lqr.design_speeds_kn[1]",
        "must be greater",
    );
}

#[test]
fn scenarios_by_themselves() {
    let scenario = |at: &str, v: Value, key: &str, words: &str| {
        one::<ScenarioSpec>(SCENARIO, at, v, key, words);
    };
    scenario("/seeds", json!([1, 1]), "seeds[1]", "a second time");
    scenario(
        "/speeds_kn",
        json!([12, 12]),
        "speeds_kn[1]",
        "a second time",
    );
    scenario(
        "/headings_deg",
        json!([400]),
        "headings_deg[0]",
        "between 0 deg and 360 deg",
    );
    scenario("/step_s", json!(0.03), "step_s", "must divide `record_s`");
    scenario(
        "/controllers/1",
        json!("pid.json"),
        "controllers[1]",
        "a second time",
    );
    scenario(
        "/duration_s",
        json!(0),
        "duration_s",
        "must be more than 0 s",
    );
    scenario("/seeds", json!([1.5]), "seeds[0]", "whole number");
}

#[test]
fn specifications_built_in_memory_are_checked_alike() {
    let mut spec = parse::<CraftSpec>("x.json", CRAFT).unwrap().spec;
    assert!(problems_of(&spec).is_empty());
    spec.surfaces[0].span_m = f64::NAN;
    spec.struts[0].aft_x_m = -16.0;
    let keys: Vec<_> = problems_of(&spec)
        .into_iter()
        .map(|p| p.place.key)
        .collect();
    assert_eq!(keys, ["surfaces[0].span_m", "struts[0].aft_x_m"]);
}

#[test]
fn orders_are_checked_with_place_and_remedy() {
    let text = |orders: &str| {
        format!(
            r#"{{"format": "ridewright.scenario/1", "name": "n", "craft": "c", "sea": "s",
            "controllers": ["x"], "speeds_kn": [10, 16], "headings_deg": [180],
            "duration_s": 100, "run_in_s": 20, "orders": [{orders}]}}"#
        )
    };
    let told = |orders: &str| {
        crate::spec::load::parse::<crate::spec::scenario::ScenarioSpec>("t.json", &text(orders))
            .map_or_else(|e| e.to_string(), |_| "fine".into())
    };
    assert_eq!(told(r#"{"at_s": 120, "order": {"mode": "off"}}"#), "fine");
    for (orders, want) in [
        (
            r#"{"at_s": 130, "order": {"mode": "off"}}"#,
            ["orders[0].at_s", "the run ends at 120 s", "run-in"],
        ),
        (
            r#"{"at_s": 9, "order": {"mode": "off"}}, {"at_s": 8, "order": {"release": {}}}"#,
            ["orders[1].at_s", "must not be earlier", "order of time"],
        ),
        (
            r#"{"at_s": 9, "order": {"speed_kn": 12.5}}"#,
            [
                "orders[0].order.speed_kn",
                "12.5 kn in runs at 10 kn",
                "between 8 and 12 kn",
            ],
        ),
        (
            r#"{"at_s": 9, "order": {"mode": "auto"}}"#,
            ["orders[0].order.mode", "standby", "engaged"],
        ),
        (
            r#"{"at_s": 9, "order": {"helm": {"cours_deg": 3}}}"#,
            ["cours_deg", "course_deg", "orders[0]"],
        ),
    ] {
        let e = told(orders);
        assert!(want.iter().all(|w| e.contains(w)), "{want:?}: {e}");
    }
    let held = text(r#"{"at_s": 9, "order": {"helm": {"rudder_deg": 3}}}"#)
        .replace(r#""name""#, r#""course": {"mean_held": {}}, "name""#);
    let e = crate::spec::load::parse::<crate::spec::scenario::ScenarioSpec>("t.json", &held);
    assert!(e.unwrap_err().to_string().contains("held by springs"));
}

#[test]
fn calibration_is_checked() {
    let told = |entries: &str| {
        let text = format!(
            r#"{{"format": "ridewright.controller/1", "name": "n", "law": {{"fixed": {{}}}},
            "modes": {{}}, "calibration": [{entries}]}}"#
        );
        crate::spec::load::parse::<crate::spec::controller::ControllerSpec>("t.json", &text)
            .map_or_else(|e| e.to_string(), |_| "fine".into())
    };
    assert_eq!(
        told(r#"{"surface": "a", "scale": -1, "zero_deg": 2}"#),
        "fine"
    );
    let crossed = r#"{"surface": "a", "wired_to": "b"}, {"surface": "b", "wired_to": "a"}"#;
    assert_eq!(told(crossed), "fine");
    for (entries, want) in [
        (r#"{"surface": "a", "scale": 0.01}"#, "calibration[0].scale"),
        (
            r#"{"surface": "a", "stop_min_deg": 5, "stop_max_deg": -5}"#,
            "stop_max_deg",
        ),
        (
            r#"{"surface": "a"}, {"surface": "a"}"#,
            "calibration[1].surface",
        ),
        (r#"{"surface": "a", "wired_to": "b"}"#, "two channels"),
    ] {
        let e = told(entries);
        assert!(e.contains(want), "{want}: {e}");
    }
}

#[test]
fn faults_alone() {
    let fault = |at: &str, v: Value, key: &str, words: &str| {
        one::<FaultSpec>(FAULT, at, v, key, words);
    };
    assert!(after::<FaultSpec>(FAULT, "/name", json!("a")).is_empty());
    let start = "events[1].start.within_s";
    fault(
        "/events/1/start/within_s",
        json!([20, 10]),
        start,
        "before it begins",
    );
    fault("/events/1/start/within_s", json!([20]), start, "exactly 2");
    fault(
        "/events/0/start/at_s",
        json!(-1),
        "events[0].start.at_s",
        "must lie between 0",
    );
    fault(
        "/events/1/lasts_s",
        json!(0),
        "events[1].lasts_s",
        "must be more than 0",
    );
    fault("/events", json!([]), "events", "1 to 1000");
    let failure = "events[0].fault.surface.failure";
    let stuck = json!({"stuck": {}});
    fault(
        "/events/0/fault/surface/failure",
        stuck,
        failure,
        "must be one of",
    );
    let sensor = "events[3].fault.sensor";
    let unit = json!("motion_unit");
    fault(
        "/events/3/fault/sensor/name",
        unit,
        &format!("{sensor}.failure"),
        "in one unit",
    );
    fault(
        "/events/3/fault/sensor/name",
        json!("pich"),
        &format!("{sensor}.name"),
        "must be one of",
    );
    let to = json!({"x_m": 0, "height_m": 7});
    let shift = "events[7].fault.weight_shift.to";
    fault("/events/7/fault/weight_shift/to", to, shift, "where it was");
    let flooded = "events[8].fault.flooded.fill_frac";
    fault(
        "/events/8/fault/flooded/fill_frac",
        json!(40),
        flooded,
        "must lie between 0 and 1",
    );
    let beyond = json!(1.5);
    let left = "events[2].fault.supply.left_frac";
    fault(
        "/events/2/fault/supply/left_frac",
        beyond,
        left,
        "must lie between 0 and 1",
    );
}
