//! Promises of faults in the loop, on the smaller demonstration craft.
#![allow(clippy::unwrap_used)] // tests

mod common;
#[path = "common/rig.rs"]
mod rig;

use ridewright::control::Controller;
use ridewright::math::ode::Tolerance;
use ridewright::sim::case::{Case, Integrator, Sensing, Timing};
use ridewright::sim::faults::resolve;
use ridewright::sim::run::{Run, run};
use ridewright::spec::fault::{FaultEventSpec, FaultSpec};
use ridewright::spec::scenario::CourseSpec;
use ridewright::units::{deg, to_deg};
use serde_json::{Value, json};

use crate::rig::{Rig, SURFACES, at, last, model, pid, surface, value};

/// Largest difference of any column, of the whole record.
fn apart(a: &Run, b: &Run) -> (f64, String) {
    let mut worst = (0.0, String::new());
    for (c, d) in a.record.columns.iter().zip(&b.record.columns) {
        assert_eq!(c.name, d.name);
        for (x, y) in c.data.iter().zip(&d.data) {
            let off = (x - y).abs() / x.abs().max(1.0);
            if off > worst.0 {
                worst = (off, c.name.clone());
            }
        }
    }
    worst
}

fn bits(r: &Run) -> Vec<u64> {
    let all = r.record.columns.iter().flat_map(|c| &c.data);
    all.map(|v| v.to_bits()).collect()
}

#[test]
fn a_jam_at_trim_in_calm_water_changes_nothing() {
    let rig = Rig::new(14.0, CourseSpec::default());
    let jams: Vec<_> = SURFACES
        .iter()
        .map(|s| at(5.0, surface(s, json!({"jammed": {}}))))
        .collect();
    let at_angle: Vec<_> = SURFACES
        .iter()
        .zip(&rig.trim.surface_rad)
        .map(|(s, a)| {
            at(
                5.0,
                surface(s, json!({"jammed_at": {"angle_deg": to_deg(*a)}})),
            )
        })
        .collect();
    let laws: [fn() -> Box<dyn Controller>; 2] = [common::fixed, pid];
    for law in laws {
        let healthy = rig.sail(60.0, &[], &mut *law());
        for events in [&jams, &at_angle] {
            let broken = rig.sail(60.0, events, &mut *law());
            let (off, what) = apart(&healthy, &broken);
            // what rounding leaves; issue 4, section 1
            assert!(off < 1e-9, "{what}: {off:e}");
            assert_eq!(broken.record.happenings.len(), 6);
        }
    }
}

/// By the reference and by the way of campaigns, whose formulas remember steps that are past.
#[test]
fn a_fault_after_the_end_changes_not_one_bit() {
    let mut rig = Rig::new(16.0, CourseSpec::default());
    rig.sea = common::irregular(1.25, 7.0, deg(150.0), 1, 100);
    let file: FaultSpec = common::read("tests/data/spec/fault.json");
    let mut late = file.events.clone();
    late.push(at(0.0, surface("aft port", json!({"lost": {}}))));
    for e in &mut late {
        *e = at(1e4, serde_json::to_value(&e.fault).unwrap());
    }
    let mut ways = Vec::new();
    for (integrator, step_s) in [
        (Integrator::FixedStep, 0.05),
        (Integrator::PredictorCorrector, 0.05),
        (Integrator::PredictorCorrector, 0.1),
    ] {
        let sailed = |events: &[FaultEventSpec]| {
            let mut parts = rig.parts(30.0, events);
            parts.integrator = integrator;
            parts.timing = Timing::new(30.0, 0.0, step_s, 0.1, 0.1).unwrap();
            if let Sensing::Suite { errors, .. } = &mut parts.sensing {
                *errors = true;
            }
            run(&Case::new(parts).unwrap(), &mut *pid())
        };
        let (healthy, spared, broken) = (sailed(&[]), sailed(&late), sailed(&file.events));
        assert!(healthy.outcome.is_completed(), "{integrator:?}");
        assert!(
            bits(&healthy) == bits(&spared),
            "{integrator:?}: a fault that never comes"
        );
        assert!(
            spared.record.happenings.is_empty() && spared.warnings.len() > healthy.warnings.len()
        );
        // and before the first of those that come, at 10 s
        let until = |r: &Run, n: usize| -> Vec<u64> {
            let all = r.record.columns.iter().flat_map(|c| c.data[..n].to_vec());
            all.map(f64::to_bits).collect()
        };
        assert!(
            until(&healthy, 100) == until(&broken, 100),
            "{integrator:?}"
        );
        assert!(until(&healthy, 120) != until(&broken, 120), "it does come");
        assert!(
            sailed(&file.events).record == broken.record,
            "the same again"
        );
        ways.push(bits(&healthy));
    }
    assert!(ways[0] != ways[1], "each its own way");
}

#[test]
fn a_random_start_is_a_function_of_the_seed_alone() {
    let spec = &model().craft.spec;
    let event = |fault: &Value| -> FaultEventSpec {
        serde_json::from_value(json!({"start": {"within_s": [100.0, 160.0]}, "fault": fault}))
            .unwrap()
    };
    let jam = surface("aft port", json!({"jammed": {}}));
    let trip = json!({"shaft": {"name": "port shaft"}});
    let start = |faults: &[&Value], seed| {
        let events: Vec<_> = faults.iter().map(|f| event(f)).collect();
        resolve(&events, spec, seed, 0).unwrap()[0].from_s
    };
    let n = 400;
    let mut drawn: Vec<f64> = Vec::new();
    for seed in 0..n {
        let t = start(&[&jam], seed);
        let same = |o: f64| t.to_bits() == o.to_bits();
        // not of what breaks, nor of what breaks besides
        assert!(same(start(&[&jam], seed)) && same(start(&[&trip, &jam], seed)));
        drawn.push(t);
    }
    let events = [event(&jam), event(&trip)];
    let two = resolve(&events, spec, 1, 0).unwrap();
    assert!(
        (two[0].from_s - two[1].from_s).abs() > 1e-6,
        "each draws its own"
    );
    // uniform: mean and variance within four standard errors (variance of a uniform's square: 1/180)
    let count = n as f64;
    let mean = drawn.iter().sum::<f64>() / count;
    let var = drawn.iter().map(|t| (t - 130.0).powi(2)).sum::<f64>() / count;
    assert!(
        (mean - 130.0).abs() < 4.0 * 60.0 / (12.0 * count).sqrt(),
        "{mean}"
    );
    assert!(
        (var / 300.0 - 1.0).abs() < 4.0 * (0.8 / count).sqrt(),
        "{var}"
    );
    assert!(drawn.iter().all(|t| (100.0..160.0).contains(t)));
}

#[test]
fn a_hard_over_runs_at_its_rate_and_stays_at_its_stop() {
    let rig = Rig::new(16.0, CourseSpec::default());
    let e = at(
        1.0,
        surface("aft port", json!({"hard_over": {"stop": "max"}})),
    );
    let r = rig.sail(4.0, &[e], &mut *pid());
    let before = value(&r, "aft port.angle", 1.0);
    let rate = (value(&r, "aft port.angle", 1.3) - before) / 0.3;
    // 25 deg/s in the craft file
    assert!((to_deg(rate) - 25.0).abs() < 1e-6, "{}", to_deg(rate));
    assert!((to_deg(last(&r, "aft port.angle")) - 22.0).abs() < 1e-9);
}

#[test]
fn lost_supply_of_a_side_stops_exactly_its_surfaces() {
    let mut rig = Rig::new(16.0, CourseSpec::default());
    rig.sea = common::irregular(1.25, 7.0, deg(150.0), 1, 60);
    let lost = |name: Value| at(10.0, json!({"supply": {"name": name}}));
    let spread = |r: &Run, s: &str| {
        // a servo that runs when the valves close comes to rest within a few of its time constants
        let a = &r.record.column(&format!("{s}.angle")).unwrap().data[130..];
        let (lo, hi) = a
            .iter()
            .fold((9.0, -9.0), |(l, h): (f64, f64), v| (l.min(*v), h.max(*v)));
        to_deg(hi - lo)
    };
    let side = rig.sail(40.0, &[lost(json!("port hydraulics"))], &mut *pid());
    let all = rig.sail(40.0, &[lost(Value::Null)], &mut *pid());
    for s in SURFACES {
        let stands = |r: &Run| spread(r, s) < 1e-6;
        assert_eq!(
            stands(&side),
            s.ends_with("port"),
            "{s}: {} deg",
            spread(&side, s)
        );
        assert!(stands(&all), "{s}: {} deg", spread(&all, s));
    }
    // weak: no faster than what is left, and shared
    let weak = at(
        10.0,
        json!({"supply": {"name": "port hydraulics", "left_frac": 0.1}}),
    );
    let r = rig.sail(40.0, &[weak], &mut *pid());
    let rates = |k: usize| -> f64 {
        let port = SURFACES.iter().filter(|s| s.ends_with("port"));
        port.map(|s| to_deg(r.record.column(&format!("{s}.rate")).unwrap().data[k].abs()))
            .sum()
    };
    let most = (110..400).map(rates).fold(0.0, f64::max);
    assert!(
        most > 3.0 && most < 6.0 * 1.15, // rates follow their limits late by a few hundredths of a second
        "6 deg/s are left of 60: {most}"
    );
}

#[test]
fn backlash_grows_and_goes_again() {
    let mut rig = Rig::new(16.0, CourseSpec::default());
    rig.sea = common::irregular(1.25, 7.0, deg(180.0), 1, 60);
    let mut e = at(
        10.0,
        surface("aft port", json!({"backlash": {"backlash_deg": 3.0}})),
    );
    e.lasts_s = Some(30.0);
    let r = rig.sail(60.0, &[e], &mut *pid());
    let healthy = rig.sail(60.0, &[], &mut *pid());
    let gap = |r: &Run, from: usize, to: usize| {
        let of = |c: &str| &r.record.column(c).unwrap().data[from..to];
        let pairs = of("aft port.angle").iter().zip(of("aft port.command"));
        let gaps = pairs.map(|(a, c)| to_deg((a - c).abs()));
        gaps.fold(0.0, f64::max)
    };
    let grown = gap(&r, 150, 390) - gap(&healthy, 150, 390);
    assert!(
        (1.0..2.0).contains(&grown),
        "half of 3 deg, turned over: {grown}"
    );
    let (after, as_ever) = (gap(&r, 450, 590), gap(&healthy, 450, 590));
    assert!((after - as_ever).abs() < 0.3, "{after} {as_ever}");
    let words: Vec<&str> = r
        .record
        .happenings
        .iter()
        .map(|h| h.words.as_str())
        .collect();
    assert_eq!(
        words,
        ["aft port backlash 3 deg", "aft port backlash 3 deg: over"]
    );
}

/// A law that writes down the angle that a sensor tells, deg.
struct Ear(Box<dyn Controller>, Vec<f64>);
impl Controller for Ear {
    fn info(&self) -> ridewright::control::ControllerInfo {
        self.0.info()
    }
    fn reset(&mut self, s: &ridewright::control::signal::Setup) -> ridewright::error::Result<()> {
        self.0.reset(s)
    }
    fn update(
        &mut self,
        t_s: f64,
        y: &ridewright::control::signal::Measurement,
        u: &mut ridewright::control::signal::FinCommand,
    ) -> ridewright::error::Result<()> {
        self.1.push(to_deg(y.surface_rad[2]));
        self.0.update(t_s, y, u)
    }
}

#[test]
fn the_angle_sensor_tells_the_truth_of_a_jam_and_may_lie_itself() {
    let rig = Rig::new(16.0, CourseSpec::default());
    let jam = at(
        1.0,
        surface("aft port", json!({"jammed_at": {"angle_deg": -5.0}})),
    );
    let lie = json!({"sensor": {"name": {"surface_angle": {"surface": "aft port"}}, "failure": {"bias": {"bias": 2.0}}}});
    let mut ear = Ear(common::fixed(), Vec::new());
    rig.sail(5.0, &[jam, at(4.0, lie)], &mut ear);
    assert!((ear.1[35] + 5.0).abs() < 1e-3, "{}", ear.1[35]);
    assert!((ear.1[45] + 3.0).abs() < 1e-3, "{}", ear.1[45]);
}

#[test]
fn a_tripped_shaft_slows_and_turns() {
    let rig = Rig::new(16.0, CourseSpec::default());
    let e = at(5.0, json!({"shaft": {"name": "port shaft"}}));
    let r = rig.sail(60.0, &[e], &mut *pid());
    assert!(last(&r, "port shaft.thrust").abs() < 1.0 && last(&r, "starboard shaft.thrust") > 2e4);
    assert!(value(&r, "u", 20.0) < value(&r, "u", 5.0) - 0.1);
    // starboard thrust alone turns the bow to port, before the rudders answer
    assert!(value(&r, "r", 6.5) < 0.0, "{}", value(&r, "r", 6.5));
}

#[test]
fn the_reference_integrator_meets_the_same_faults() {
    let mut rig = Rig::new(16.0, CourseSpec::default());
    rig.sea = common::irregular(1.25, 7.0, deg(150.0), 1, 40);
    let slow = surface("forward port", json!({"slow": {"rate_frac": 0.1}}));
    let swing = json!({"oscillating": {"amplitude_deg": 4.0, "frequency_hz": 0.3}});
    let events = [
        at(10.02, surface("aft port", json!({"jammed": {}}))),
        at(15.0, slow),
        at(20.0, surface("aft starboard", swing)),
        at(30.0, surface("aft port", json!({"trailing": {}}))),
    ];
    let sailed = |integrator| {
        let mut parts = rig.parts(60.0, &events);
        parts.integrator = integrator;
        run(&Case::new(parts).unwrap(), &mut *pid())
    };
    let a = sailed(Integrator::FixedStep);
    let b = sailed(Integrator::Reference(Tolerance::default()));
    assert!(a.outcome.is_completed() && b.outcome.is_completed());
    for name in [
        "heave_up",
        "roll",
        "pitch",
        "aft port.angle",
        "forward port.angle",
    ] {
        let (x, y) = (common::judged(&a, name), common::judged(&b, name));
        let diff: Vec<f64> = x.iter().zip(y).map(|(x, y)| x - y).collect();
        let off = common::rms(&diff) / common::rms(y);
        assert!(off < 0.02, "{name}: {off:e}");
    }
}

#[test]
fn what_a_fault_cannot_break_is_told() {
    let told = |fault: Value, words: &str| {
        let e = resolve(&[at(1.0, fault)], &model().craft.spec, 1, 0).unwrap_err();
        let text = e.to_string();
        assert!(text.contains(words) && text.contains("events[0]"), "{text}");
    };
    told(
        surface("aft prot", json!({"jammed": {}})),
        "did you mean \"aft port\"?",
    );
    told(
        surface("aft port", json!({"jammed_at": {"angle_deg": 40.0}})),
        "its stops are -22 and 22 deg",
    );
    told(
        json!({"supply": {"name": "main"}}),
        "there are port hydraulics, starboard hydraulics",
    );
    told(json!({"shaft": {"name": "centre"}}), "there are port shaft");
    let height = json!({"height": {"height_sensor": 7}});
    told(
        json!({"sensor": {"name": height, "failure": {"frozen": {}}}}),
        "the craft has 2",
    );
    told(
        json!({"sensor": {"name": "motion_unit", "failure": {"bias": {"bias": 1.0}}}}),
        "is a number in one unit",
    );
    let flood = json!({"flooded": {"length_m": 4, "breadth_m": 3, "depth_m": 2, "x_m": 5, "y_m": 7, "floor_height_m": 6.4, "fill_frac": 0.4}});
    told(flood, "must lie inside the craft");
}
