//! Orders on the toy craft: who obeys, when, and that nothing changes without them.

use super::*;
use crate::control::modes::Supervised;
use crate::control::{Controller, ControllerInfo};
use crate::sim::case::Case;
use crate::sim::outcome::Outcome;
use crate::sim::run::{Run, run};
use crate::sim::toy::{self, SPEED_M_S, Toy, ToyLaw};
use crate::spec::controller::{ModeSpec, ModesSpec, TripsSpec};

fn event(at_s: f64, action: Action) -> Event {
    Event {
        at_s,
        action,
        words: format!("{action:?}"),
    }
}

fn sailed(events: Vec<Event>, modes: &ModesSpec, duration_s: f64, waves: usize) -> Run {
    let mut parts = toy::parts(
        Toy::new(),
        toy::sea(waves),
        toy::timing(duration_s, 0.0, 0.05),
    );
    parts.orders = events;
    let law = ToyLaw {
        heave_rate: 0.2,
        ..ToyLaw::default()
    };
    let mut law = Supervised::new(Box::new(law), modes);
    run(&Case::new(parts).unwrap(), &mut law)
}

fn at(r: &Run, column: &str, t_s: f64) -> f64 {
    r.record.column(column).unwrap().data[(t_s / 0.1).round() as usize]
}

#[test]
fn orders_reach_whom_they_are_for() {
    let fin = |angle_rad| {
        Action::Law(Order::Fin {
            surface: 1,
            angle_rad,
        })
    };
    let events = vec![
        event(5.0, Action::Law(Order::Mode(Mode::Engaged))),
        event(20.0, fin(0.2)),
        event(30.0, Action::Release),
        event(40.0, Action::Speed(0.9 * SPEED_M_S)),
        event(40.0, Action::Course(0.1)),
        event(160.0, Action::Rudder(0.05)),
        event(180.0, Action::Release),
    ];
    let standby = ModesSpec {
        start: ModeSpec::Standby,
        ..ModesSpec::default()
    };
    let r = sailed(events, &standby, 300.0, 0);
    assert!(r.outcome.is_completed(), "{}", r.outcome);
    assert!((at(&r, "law.mode", 4.9) - 2.0).abs() < 1e-15);
    assert!(
        (at(&r, "law.mode", 5.0) - 3.0).abs() < 1e-15,
        "at its own sample"
    );
    // command by hand at once (the toy's delay of 0.1 s and servo behind it)
    assert!(at(&r, "aft.command", 20.0).abs() < 0.02);
    assert!((at(&r, "aft.command", 20.1) - 0.2).abs() < 1e-12);
    assert!((at(&r, "aft.angle", 29.9) - 0.2).abs() < 1e-3);
    assert!(at(&r, "aft.command", 39.0).abs() < 0.02, "given back");
    assert!((at(&r, "order.speed", 39.9) - SPEED_M_S).abs() < 1e-12);
    assert!((at(&r, "order.speed", 40.0) - 0.9 * SPEED_M_S).abs() < 1e-12);
    assert!((at(&r, "u", 159.9) - 0.9 * SPEED_M_S).abs() < 0.02 * SPEED_M_S);
    assert!(
        (at(&r, "yaw", 159.9) - 0.1).abs() < 0.005,
        "{}",
        at(&r, "yaw", 159.9)
    );
    assert!((at(&r, "rudder.command", 170.0) - 0.05).abs() < 1e-12);
    assert!((at(&r, "order.rudder", 170.0) - 0.05).abs() < 1e-12);
    // released: the heading of that moment is kept
    let kept = at(&r, "order.course", 180.0);
    assert!((kept - at(&r, "yaw", 180.0)).abs() < 1e-12 && (kept - 0.1).abs() > 0.05);
    assert!((at(&r, "yaw", 300.0) - kept).abs() < 0.005);
}

#[test]
fn no_orders_no_change() {
    let modes = ModesSpec::default();
    let without = sailed(vec![], &modes, 60.0, 40);
    let late = sailed(vec![event(90.0, Action::Release)], &modes, 60.0, 40);
    assert!(without.record.column("order.speed").is_none());
    let mut compared = 0;
    for c in &without.record.columns {
        let same = &late.record.column(&c.name).unwrap().data;
        assert!(
            c.data
                .iter()
                .zip(same)
                .all(|(a, b)| a.to_bits() == b.to_bits()),
            "{}",
            c.name
        );
        compared += 1;
    }
    assert!(compared > 20 && late.record.happenings.is_empty());
    // and the supervisor around an engaged law is not there
    let mut parts = toy::parts(Toy::new(), toy::sea(40), toy::timing(60.0, 0.0, 0.05));
    parts.orders.clear();
    let mut law = ToyLaw {
        heave_rate: 0.2,
        ..ToyLaw::default()
    };
    let bare = run(&Case::new(parts).unwrap(), &mut law);
    let bits = |r: &Run| r.end_state.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
    assert_eq!(bits(&bare), bits(&without));
}

#[test]
fn orders_are_in_the_record() {
    let modes = ModesSpec {
        trips: TripsSpec {
            pitch_deg: Some(0.01),
            ..TripsSpec::default()
        },
        ..ModesSpec::default()
    };
    let events = vec![event(3.0, Action::Law(Order::Mode(Mode::Engaged)))];
    let r = sailed(events, &modes, 60.0, 40);
    let words: Vec<&str> = r
        .record
        .happenings
        .iter()
        .map(|h| h.words.as_str())
        .collect();
    assert!(
        words.iter().any(|w| w.contains("trip to standby: pitch")),
        "{words:?}"
    );
    let times: Vec<f64> = r.record.happenings.iter().map(|h| h.t_s).collect();
    assert!(times.windows(2).all(|w| w[0] <= w[1]));
    // two runs, the same bytes
    let again = sailed(
        vec![event(3.0, Action::Law(Order::Mode(Mode::Engaged)))],
        &modes,
        60.0,
        40,
    );
    assert_eq!(r.record, again.record);
}

#[test]
fn big_turns_in_waves_are_told() {
    let turn = |waves| {
        let r = sailed(
            vec![event(1.0, Action::Course(1.0))],
            &ModesSpec::default(),
            120.0,
            waves,
        );
        let warned = r
            .warnings
            .iter()
            .any(|w| w.to_string().contains("nominal heading in waves"));
        (r.outcome.is_completed(), warned)
    };
    assert_eq!(turn(0), (true, false));
    assert_eq!(turn(40), (true, true));
}

struct Bare;

impl Controller for Bare {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: "bare".into(),
            ..ControllerInfo::default()
        }
    }
    fn reset(&mut self, _s: &Setup) -> Result<()> {
        Ok(())
    }
    fn update(
        &mut self,
        _t_s: f64,
        _y: &crate::control::signal::Measurement,
        _u: &mut crate::control::signal::FinCommand,
    ) -> Result<()> {
        Ok(())
    }
}

#[test]
fn nobody_to_obey_is_told_with_time_and_remedy() {
    let with = |action, holds: bool| {
        let mut parts = toy::parts(Toy::new(), vec![], toy::timing(5.0, 0.0, 0.05));
        parts.orders = vec![event(2.0, action)];
        if !holds {
            (parts.heading, parts.speed) = (None, None);
        }
        run(&Case::new(parts).unwrap(), &mut Bare).outcome
    };
    for (action, holds, words) in [
        (Action::Law(Order::Mode(Mode::Off)), true, "has no modes"),
        (
            Action::Law(Order::SetPoint(SetPoint::default())),
            true,
            "set-point",
        ),
        (
            Action::Law(Order::Displacement(240e3)),
            true,
            "follows no other",
        ),
        (Action::Course(0.1), false, "nobody on board"),
        (Action::Speed(5.0), false, "nobody on board"),
    ] {
        match with(action, holds) {
            Outcome::ControllerFailed { t_s, error } => {
                assert!(
                    (t_s - 2.0).abs() < 1e-9 && error.to_string().contains(words),
                    "{error}"
                );
            }
            other => panic!("{other}"),
        }
    }
    assert!(with(Action::Release, true).is_completed());
    assert!(with(Action::Speed(SPEED_M_S), true).is_completed());
}

#[test]
fn words_are_short_and_times_sorted() {
    let setup = toy::parts(Toy::new(), vec![], toy::timing(5.0, 0.0, 0.05)).setup;
    let orders: Vec<OrderSpec> = serde_json::from_value(serde_json::json!([
        {"at_s": 9, "order": {"set_point": {"heave_up_m": 0.1, "pitch_deg": -0.5}}},
        {"at_s": 1, "order": {"mode": "standby"}},
        {"at_s": 2, "order": {"fin": {"surface": "aft", "angle_deg": 5}}},
        {"at_s": 3, "order": {"speed_kn": 14}},
        {"at_s": 4, "order": {"helm": {"course_deg": 15}}},
        {"at_s": 5, "order": {"helm": {"rudder_deg": -10}}},
        {"at_s": 6, "order": {"release": {}}},
        {"at_s": 7, "order": {"release": {"surface": "fwd"}}},
        {"at_s": 8, "order": {"displacement_t": 240}}
    ]))
    .unwrap();
    let e = events(&orders, &setup).unwrap();
    let words: Vec<&str> = e.iter().map(|e| e.words.as_str()).collect();
    let want = [
        "standby",
        "aft by hand 5 deg",
        "14 kn",
        "course +15 deg",
        "rudders -10 deg",
        "release",
        "release fwd",
        "displacement 240 t told",
        "set-point 0.1 m up, -0.5 deg bow up",
    ];
    assert_eq!(words, want);
    let Action::Law(Order::SetPoint(s)) = e[8].action else {
        panic!("{:?}", e[8])
    };
    assert!((s.heave_m + 0.1).abs() < 1e-15, "up is negative inside");
    assert_eq!(e[7].action, Action::Law(Order::Displacement(240e3)));
    let bad: Vec<OrderSpec> = serde_json::from_value(serde_json::json!([
        {"at_s": 2, "order": {"fin": {"surface": "wing", "angle_deg": 5}}}
    ]))
    .unwrap();
    assert!(
        events(&bad, &setup)
            .unwrap_err()
            .to_string()
            .contains("wing")
    );
}

#[test]
fn a_displacement_in_the_wrong_unit_is_told() {
    let setup = toy::parts(Toy::new(), vec![], toy::timing(5.0, 0.0, 0.05)).setup;
    let with = |told: f64| {
        let orders = serde_json::json!([{"at_s": 2, "order": {"displacement_t": told}}]);
        events(
            &serde_json::from_value::<Vec<OrderSpec>>(orders).unwrap(),
            &setup,
        )
    };
    // the toy weighs 250 t
    assert!(with(130.0).is_ok() && with(499.0).is_ok());
    for slip in [0.0, 24.0, 240e3] {
        let e = with(slip).unwrap_err().to_string();
        assert!(e.contains("orders[0].order.displacement_t"), "{e}");
        assert!(
            e.contains("between 125.0 and 500.0 t") && e.contains("weighs 250.0 t"),
            "{e}"
        );
    }
}

#[test]
fn a_displacement_told_reaches_the_law() {
    let row = |rate: f64| serde_json::json!({"speed_kn": 10, "heave": {}, "roll": {}, "pitch": {"rate_deg_s_per_deg": rate}});
    let spec = serde_json::from_value(serde_json::json!({
        "reference_speed_kn": 16, "heave": {}, "pitch": {}, "roll": {},
        "loadings": [
            {"displacement_t": 250, "schedule": [row(1.0)]},
            {"displacement_t": 290, "schedule": [row(2.0)]}
        ]
    }));
    let law = crate::control::pid::Pid::new("loaded", &spec.unwrap()).unwrap();
    let mut parts = toy::parts(Toy::new(), toy::sea(20), toy::timing(120.0, 0.0, 0.05));
    parts.orders = vec![event(60.0, Action::Law(Order::Displacement(290e3)))];
    let mut law = Supervised::new(Box::new(law), &ModesSpec::default());
    let r = run(&Case::new(parts).unwrap(), &mut law);
    assert!(r.outcome.is_completed(), "{}", r.outcome);
    let used_t = |t_s: f64| at(&r, "law.gains_displacement_kg", t_s) / 1e3;
    assert!((used_t(59.9) - 250.0).abs() < 1e-9);
    // a lag of 30 s, from the sample of the order on
    for t_s in [60.0, 90.0, 119.0] {
        let want = 290.0 - 40.0 * (-(t_s - 59.9_f64) / 30.0).exp();
        assert!(
            (used_t(t_s) - want).abs() < 1e-6,
            "{t_s} s: {} t",
            used_t(t_s)
        );
    }
    assert!(
        r.record
            .happenings
            .iter()
            .any(|h| h.words.contains("Displacement"))
    );
}
