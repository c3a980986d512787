//! Faults on known signals and on the toy craft.

use serde_json::{Value, json};

use super::readings::chains;
use super::*;
use crate::control::signal::Measurement;
use crate::sim::case::Case;
use crate::sim::run::{Run, run};
use crate::sim::toy::{self, Toy, ToyLaw};
use crate::spec::fault::FaultEventSpec;
use crate::units::to_deg;

fn craft() -> CraftSpec {
    serde_json::from_str(include_str!("../../../scenarios/craft/coastal_survey.json")).unwrap()
}

fn event(at_s: f64, lasts_s: Value, fault: Value) -> FaultEventSpec {
    let mut event = json!({"start": {"at_s": at_s}});
    (event["lasts_s"], event["fault"]) = (lasts_s, fault);
    serde_json::from_value(event).unwrap()
}

/// Readings of pitch (deg) and their validity at 0.1 s, truth a ramp of 1 deg/s, of a fault at 5 s for 5 s.
fn read(failures: &[Value]) -> Vec<(f64, bool)> {
    let events: Vec<_> = failures
        .iter()
        .map(|f| {
            event(
                5.0,
                json!(5.0),
                json!({"sensor": {"name": "pitch", "failure": f}}),
            )
        })
        .collect();
    let faults = resolve(&events, &craft(), 3, 0).unwrap();
    let mut all = chains(&faults, 0.1);
    let setup = toy::parts(Toy::new(), Vec::new(), toy::timing(1.0, 0.0, 0.05)).setup;
    let mut y = Measurement::at_trim(&setup);
    let mut out = Vec::new();
    for k in 0..200_u32 {
        let t_s = f64::from(k) * 0.1;
        for (i, starts) in [(50, true), (100, false)] {
            if k == i {
                (0..faults.len()).for_each(|f| all[0].edge(f, starts, t_s));
            }
        }
        y.theta_rad = deg(t_s);
        all[0].lift_flag(&mut y);
        all[0].pass(t_s, 0.1, 9.81, &mut y);
        out.push((to_deg(y.theta_rad), y.valid.attitude));
    }
    out
}

#[test]
fn every_sensor_failure_does_what_it_says() {
    let t = |k: usize| k as f64 * 0.1;
    let check = |failures: &[Value], want: &dyn Fn(usize) -> f64| {
        let got = read(failures);
        for (k, got) in got.iter().enumerate() {
            let fails = (50..100).contains(&k);
            let want = if fails { want(k) } else { t(k) };
            let told = format!("{failures:?} {k}: {} {want}", got.0);
            assert!((got.0 - want).abs() < 1e-9, "{told}");
            assert!(got.1, "{failures:?}: flagged");
        }
    };
    let bias = json!({"bias": {"bias": -1.5}});
    let drift = json!({"drift": {"drift_per_min": 30.0}});
    let scaled = json!({"scaled": {"scale": 0.5}});
    let reversed = json!({"reversed": {}});
    let late = json!({"late": {"delay_s": 1.2}});
    let frozen = json!({"frozen": {}});
    check(std::slice::from_ref(&bias), &|k| t(k) - 1.5);
    check(std::slice::from_ref(&drift), &|k| t(k) + 0.5 * (t(k) - 5.0));
    check(std::slice::from_ref(&scaled), &|k| 0.5 * t(k));
    check(std::slice::from_ref(&reversed), &|k| -t(k));
    check(std::slice::from_ref(&late), &|k| t(k) - 1.2);
    check(std::slice::from_ref(&frozen), &|_| 4.9);
    // together: late, then scale and sign, then bias and drift; frozen over all
    let all = [bias, drift, scaled, reversed, late];
    check(&all, &|k| -0.5 * (t(k) - 1.2) - 1.5 + 0.5 * (t(k) - 5.0));
    let mut and_frozen = all.to_vec();
    and_frozen.push(frozen);
    check(&and_frozen, &|_| 4.9);
    // noise: its size within four standard errors of 50 samples, and nothing but noise
    let got = read(&[json!({"noisy": {"noise": 2.0}})]);
    let errors: Vec<f64> = (50..100).map(|k| got[k].0 - t(k)).collect();
    let size = (errors.iter().map(|e| e * e).sum::<f64>() / 50.0).sqrt();
    assert!((size / 2.0 - 1.0).abs() < 4.0 / 100.0_f64.sqrt(), "{size}");
    assert!((got[49].0 - t(49)).abs() < 1e-9 && (got[100].0 - t(100)).abs() < 1e-9);
}

#[test]
fn dropped_samples_come_by_chance_and_are_flagged() {
    let gone = read(&[json!({"dropped_out": {}})]);
    assert!(
        gone[50..100]
            .iter()
            .all(|y| (y.0 - 4.9).abs() < 1e-9 && !y.1)
    );
    assert!(gone[..50].iter().chain(&gone[100..]).all(|y| y.1));
    let zero = read(&[json!({"dropped_out": {"reads": "zero", "is_flagged": false}})]);
    assert!(zero[50..100].iter().all(|y| y.0.abs() < 1e-12 && y.1));
    let some = read(&[json!({"dropped_out": {"lost_frac": 0.4}})]);
    let lost = some[50..100].iter().filter(|y| !y.1).count();
    // binomial of 50 draws: mean 20, standard deviation 3.5
    assert!((7..34).contains(&lost), "{lost}");
    for k in 51..100 {
        let want = if some[k].1 {
            k as f64 * 0.1
        } else {
            some[k - 1].0
        };
        assert!(
            (some[k].0 - want).abs() < 1e-9,
            "a lost sample repeats the last good one"
        );
    }
}

fn fault(from_s: f64, until_s: f64, breakage: Breakage, place: u32) -> Fault {
    Fault {
        from_s,
        until_s,
        words: format!("{breakage:?}"),
        breakage,
        key: (1, 0, place),
    }
}

fn sailed(faults: Vec<Fault>, duration_s: f64, law: &mut ToyLaw) -> Run {
    let timing = toy::timing(duration_s, 0.0, 0.05);
    let mut parts = toy::parts(Toy::new(), Vec::new(), timing);
    parts.faults = faults;
    run(&Case::new(parts).unwrap(), law)
}

fn at(r: &Run, column: &str, t_s: f64) -> f64 {
    r.record.column(column).unwrap().data[(t_s / 0.1).round() as usize]
}

#[test]
fn the_last_to_start_holds_a_surface_and_hands_it_back() {
    let held = |h| Breakage::Held(0, h);
    let faults = vec![
        fault(1.0, 9.0, held(Holder::Run(0.1)), 0),
        fault(3.0, 5.0, held(Holder::Run(-0.1)), 1),
        fault(3.0, 4.0, held(Holder::Run(0.2)), 2),
        fault(7.0, 8.0, held(Holder::Jam), 3),
    ];
    let r = sailed(faults, 12.0, &mut ToyLaw::default());
    let angle = |t_s| at(&r, "fwd.angle", t_s);
    // 30 deg/s: each is there well within the second
    for (t_s, want) in [
        (0.9, 0.0),
        (2.9, 0.1),
        (4.0, 0.2),  // of two at one instant the later in the list
        (4.9, -0.1), // which then hands over to the one that still lasts
        (6.9, 0.1),
        (8.5, 0.1),
        (11.0, 0.0), // and the servo follows its command again
    ] {
        assert!((angle(t_s) - want).abs() < 1e-3, "{t_s}: {}", angle(t_s));
    }
    let happened: Vec<f64> = r.record.happenings.iter().map(|h| h.t_s).collect();
    assert_eq!(happened.len(), 8);
    assert!(happened.windows(2).all(|w| w[0] <= w[1]), "{happened:?}");
}

#[test]
fn oscillation_has_amplitude_and_frequency() {
    let omega = std::f64::consts::TAU * 0.5;
    let swing = Breakage::Held(1, Holder::Swing(0.05, omega));
    let r = sailed(
        vec![fault(2.0, 99.0, swing, 0)],
        10.0,
        &mut ToyLaw::default(),
    );
    for k in 20..100 {
        let t_s = f64::from(k) * 0.1;
        let want = 0.05 * (omega * (t_s - 2.0)).sin();
        assert!((at(&r, "aft.angle", t_s) - want).abs() < 1e-12, "{t_s}");
    }
}

#[test]
fn a_slow_servo_keeps_to_its_share_of_the_rate() {
    let step = || ToyLaw {
        step: Some((1.0, 0.3)),
        ..ToyLaw::default()
    };
    let slow = fault(0.0, 99.0, Breakage::Slow(0, 0.1), 0);
    let r = sailed(vec![slow], 8.0, &mut step());
    let rate = to_deg(at(&r, "fwd.angle", 5.0) - at(&r, "fwd.angle", 3.0)) / 2.0;
    // 30 deg/s whole
    assert!((rate - 3.0).abs() < 0.01, "{rate}");
}

/// Counts how often it is asked.
struct Counted(u32);
impl crate::control::Controller for Counted {
    fn info(&self) -> crate::control::ControllerInfo {
        crate::control::ControllerInfo::default()
    }
    fn reset(&mut self, _: &crate::control::signal::Setup) -> Result<()> {
        Ok(())
    }
    fn update(
        &mut self,
        _: f64,
        _: &Measurement,
        _: &mut crate::control::signal::FinCommand,
    ) -> Result<()> {
        self.0 += 1;
        Ok(())
    }
}

#[test]
fn controller_faults_hold_skip_and_delay() {
    let step = || ToyLaw {
        step: Some((3.0, 0.2)),
        ..ToyLaw::default()
    };
    let command = |r: &Run, t_s| at(r, "fwd.command", t_s);
    let healthy = sailed(vec![], 8.0, &mut step());
    // 0.1 s of the servo itself
    assert!(command(&healthy, 3.0).abs() < 1e-12 && (command(&healthy, 3.1) - 0.2).abs() < 1e-12);
    let stop = |o| fault(2.0, 5.0, Breakage::Stopped(o), 0);
    let r = sailed(vec![stop(OutputsSpec::Hold)], 8.0, &mut step());
    assert!(command(&r, 4.9).abs() < 1e-12 && (command(&r, 5.2) - 0.2).abs() < 1e-12);
    let mut late_stop = stop(OutputsSpec::Neutral);
    (late_stop.from_s, late_stop.until_s) = (5.0, 99.0);
    let r = sailed(vec![late_stop], 8.0, &mut step());
    assert!((command(&r, 4.9) - 0.2).abs() < 1e-12 && command(&r, 5.2).abs() < 1e-12);
    let late = fault(0.0, 99.0, Breakage::Late(1.3), 0);
    let r = sailed(vec![late], 8.0, &mut step());
    assert!(command(&r, 4.3).abs() < 1e-12 && (command(&r, 4.4) - 0.2).abs() < 1e-12);
    // half of the samples: how often the law is asked
    let mut parts = toy::parts(Toy::new(), Vec::new(), toy::timing(100.0, 0.0, 0.05));
    parts.faults = vec![fault(0.0, f64::INFINITY, Breakage::Skips(0.5), 0)];
    let mut law = Counted(0);
    run(&Case::new(parts).unwrap(), &mut law);
    // binomial of 1001: 500 within four standard deviations of 16
    assert!(law.0.abs_diff(500) < 64, "{}", law.0);
}

#[test]
fn starts_lie_on_the_first_step_at_or_after_their_time() {
    let jam = |t| fault(t, 99.0, Breakage::Held(0, Holder::Run(0.2)), 0);
    for (asked, taken) in [
        (2.0, 2.0),
        (2.01, 2.05),
        (2.05, 2.05),
        (0.15, 0.15),
        (2.7, 2.7),
    ] {
        let r = sailed(vec![jam(asked)], 4.0, &mut ToyLaw::default());
        let told = r.record.happenings[0].t_s;
        assert!((told - taken).abs() < 1e-9, "{asked}: {told}");
    }
}

#[test]
fn a_toy_cannot_lose_what_it_has_not() {
    let mut parts = toy::parts(Toy::new(), Vec::new(), toy::timing(4.0, 0.0, 0.05));
    parts.faults = vec![fault(1.0, 99.0, Breakage::Lost(0), 0)];
    assert!(Case::new(parts).is_err());
}
