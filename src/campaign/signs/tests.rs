//! The check on the small demonstration craft: right, reversed, crossed, a law of the wrong sign.

use std::path::Path;

use super::*;
use crate::spec::controller::{CalibrationSpec, ControllerSpec};
use crate::spec::load::{load_controller, load_craft};
use crate::spec::scenario::PhysicsSpec;
use crate::units::{deg, kn};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Few stations and frequencies: signs need no accuracy.
fn model() -> CraftModel {
    let craft = load_craft(root().join("scenarios/craft/coastal_survey.json")).unwrap();
    let physics = PhysicsSpec {
        frequencies_rad_s: Some(vec![0.3, 0.6, 0.9, 1.2, 1.6, 2.0, 2.6, 3.4, 4.5, 6.0]),
        ..PhysicsSpec::default()
    };
    CraftModel::build(&craft.spec, &physics, None).unwrap()
}

fn pid() -> ControllerSpec {
    load_controller(root().join("scenarios/start/pid.json"))
        .unwrap()
        .spec
}

fn checked(model: &CraftModel, spec: &ControllerSpec) -> SignCheck {
    let plan = LawPlan::new(spec, &root().join("controllers"), model).unwrap();
    check(model, &plan, kn(16.0), deg(3.0), true).unwrap()
}

fn entry(surface: &str, scale: f64, wired_to: Option<&str>) -> CalibrationSpec {
    CalibrationSpec {
        surface: surface.into(),
        zero_deg: 0.0,
        scale,
        stop_min_deg: None,
        stop_max_deg: None,
        wired_to: wired_to.map(str::to_owned),
    }
}

fn fin<'a>(c: &'a SignCheck, name: &str) -> &'a MovedFin {
    c.fins.iter().find(|f| f.surface == name).unwrap()
}

#[test]
fn healthy_craft_passes() {
    let c = checked(&model(), &pid());
    assert_eq!(c.fins.len(), 4);
    for f in &c.fins {
        assert_eq!(f.verdict, Verdict::Right, "{f:?}");
        // the sign card: lift up; starboard up by starboard fins; bow up by forward ones
        let roll = if f.surface.ends_with("starboard") {
            -1.0
        } else {
            1.0
        };
        let pitch = if f.surface.starts_with("forward") {
            1.0
        } else {
            -1.0
        };
        for (found, sign) in f.found.iter().zip([1.0, roll, pitch]) {
            assert!(found * sign > 0.0, "{f:?}");
        }
        assert!((f.reached_deg - 3.0).abs() < 0.1, "{f:?}");
        // lift builds up from half (Wagner), coupling is in the expected: never more than it
        for (found, expected) in f.found.iter().zip(&f.expected) {
            assert!(found / expected > 0.1 && found / expected < 1.1, "{f:?}");
        }
    }
    assert_eq!(c.tilts.len(), 3);
    for t in &c.tilts {
        assert!(!t.pushes_wrong_way() && !t.asks_nothing(), "{t:?}");
    }
    assert!(c.passes());
}

#[test]
fn reversed_fin_is_named() {
    let mut spec = pid();
    spec.calibration = vec![
        entry("aft port", -1.0, None),
        entry("forward port", 0.5, None),
    ];
    let c = checked(&model(), &spec);
    assert_eq!(fin(&c, "aft port").verdict, Verdict::Reversed);
    assert!((fin(&c, "aft port").reached_deg + 3.0).abs() < 0.1);
    assert!(matches!(fin(&c, "forward port").verdict, Verdict::Scale(f) if (f - 0.5).abs() < 0.05));
    assert_eq!(fin(&c, "aft starboard").verdict, Verdict::Right);
    assert!(!c.passes());
}

#[test]
fn crossed_channels_are_named() {
    let model = model();
    for (a, b, how) in [
        ("aft port", "aft starboard", "port and starboard"),
        ("forward starboard", "aft starboard", "forward and aft"),
        ("forward port", "aft starboard", "channels"),
    ] {
        let mut spec = pid();
        spec.calibration = vec![entry(a, 1.0, Some(b)), entry(b, -1.0, Some(a))];
        let c = checked(&model, &spec);
        let want = |with: &str, reversed| Verdict::Swapped {
            with: with.into(),
            how,
            reversed,
        };
        assert_eq!(fin(&c, a).verdict, want(b, false), "{:?}", fin(&c, a));
        assert_eq!(fin(&c, b).verdict, want(a, true), "{:?}", fin(&c, b));
        assert!(!c.passes());
    }
}

#[test]
fn law_that_pushes_the_wrong_way_is_told() {
    let mut spec = pid();
    if let crate::spec::controller::LawSpec::Pid(p) = &mut spec.law {
        p.roll.proportional_deg_per_deg = -0.4;
        p.roll.integral_deg_per_deg_s = 0.0;
        p.pitch.proportional_deg_per_deg = 0.0;
        p.pitch.integral_deg_per_deg_s = 0.0;
    }
    let plan = LawPlan::new(&spec, root(), &model()).unwrap();
    let c = check(&model(), &plan, kn(16.0), deg(3.0), true).unwrap();
    let told: Vec<(bool, bool)> = c
        .tilts
        .iter()
        .map(|t| (t.pushes_wrong_way(), t.asks_nothing()))
        .collect();
    assert_eq!(told, [(true, false), (false, true), (false, false)]);
    assert!(!c.passes() && c.fins.iter().all(|f| f.verdict == Verdict::Right));
}

#[test]
fn nearest_direction_names_the_fault() {
    let e = [[1.0, 2.0, 3.0], [1.0, -2.0, 3.0], [2.0, 4.0, -3.0]];
    assert_eq!(nearest(&[0.0; 3], &e), None);
    assert_eq!(nearest(&[-1.1, 1.9, -3.0], &e), Some((1, -1.0)));
    assert_eq!(nearest(&[1.0, 2.0, -1.5], &e).unwrap().0, 2);
}
