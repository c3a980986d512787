//! Linear forms of the laws: matrices and `update` give the same answers.

use nalgebra::{DMatrix, DVector, Vector3};
use ridewright::control::linear::LawSignal;
use ridewright::control::modes::Order;
use ridewright::control::signal::{FinCommand, Measurement, SetPoint, Setup, Wake, vertical};
use ridewright::control::{Controller, from_spec};
use ridewright::frames::body_to_earth;
use ridewright::math::rng::{Purpose, Stream};
use ridewright::spec::controller::ControllerSpec;
use ridewright::units::G_M_S2;

use super::{folder, load, setup, shell};

/// A small motion over small waves: roll rate, pitch rate, roll, pitch, vertical acceleration of the motion
/// unit, then heave plus elevation at each height sensor.
fn readings(setup: &Setup, x: &[f64]) -> Measurement {
    let mut m = Measurement::at_trim(setup);
    m.rates_rad_s = Vector3::new(x[0], x[1], 0.0);
    m.phi_rad += x[2];
    m.theta_rad += x[3];
    let down = Vector3::new(0.0, 0.0, x[4] - G_M_S2);
    m.specific_force_m_s2 = body_to_earth(m.phi_rad, m.theta_rad, 0.0).transpose() * down;
    for (i, r) in setup.height_sensors_m.iter().enumerate() {
        m.height_m[i] = -(setup.trim_heave_m + x[5 + i] + vertical(r, m.phi_rad, m.theta_rad));
    }
    m
}

/// The signals of a linear form in the same motion.
fn signal_values(setup: &Setup, signals: &[LawSignal], x: &[f64]) -> DVector<f64> {
    let (st, ct) = setup.trim_pitch_rad.sin_cos();
    let sensors = &setup.height_sensors_m;
    let of = |s: &LawSignal| match s {
        LawSignal::RollRate => x[0],
        LawSignal::PitchRate => x[1],
        LawSignal::Roll => x[2],
        LawSignal::Pitch => x[3],
        LawSignal::VerticalAcceleration => x[4],
        LawSignal::HeightHeave => x[5..].iter().sum::<f64>() / sensors.len() as f64,
        LawSignal::Height(i) => {
            let r = &sensors[*i];
            -(x[5 + i] + ct * r.y * x[2] - (ct * r.x + st * r.z) * x[3])
        }
        LawSignal::Surface(_) => 0.0,
    };
    DVector::from_iterator(signals.len(), signals.iter().map(of))
}

/// Every law that claims a linear form answers small signals as its matrices do.
fn assert_linear(law: &mut dyn Controller, setup: &Setup) {
    // the half difference of both signs leaves terms of third order: SMALL^2
    const SMALL: f64 = 1e-5;
    // angles of 0.02 rad round at 3e-18, divided by SMALL; gravity of 9.8 at 2e-15, integrated twice
    const TOLERANCE: f64 = 1e-9;
    law.reset(setup).unwrap();
    let form = law.linear().unwrap();
    let (n, p) = (form.a.nrows(), 5 + setup.height_sensors_m.len());
    let draw = {
        let mut rng = Stream::new(5, 0, Purpose::Sensors);
        let mut all: Vec<DVector<f64>> = vec![DVector::zeros(p)];
        all.extend((0..200).map(|_| DVector::from_fn(p, |_, _| rng.uniform_in(-1.0, 1.0))));
        all
    };
    let mut answers = |sign: f64| -> Vec<Vec<f64>> {
        law.reset(setup).unwrap();
        let mut u = FinCommand::at_trim(setup);
        let mut out = Vec::new();
        for (k, y) in draw.iter().enumerate() {
            let mut m = readings(setup, (y * (sign * SMALL)).as_slice());
            m.surface_rad.clone_from(&u.fin_rad);
            law.update(setup.sample_period_s * k as f64, &m, &mut u)
                .unwrap();
            out.push(form.channels.iter().map(|&i| u.fin_rad[i]).collect());
        }
        out
    };
    let (plus, minus) = (answers(1.0), answers(-1.0));
    let mut x = DVector::zeros(n);
    let (mut worst, mut largest) = (0.0_f64, 0.0_f64);
    for (k, y) in draw.iter().enumerate() {
        let y = &signal_values(setup, &form.signals, y.as_slice());
        let want = &form.c * &x + &form.d * y;
        for (j, want) in want.iter().enumerate() {
            let got = (plus[k][j] - minus[k][j]) / (2.0 * SMALL);
            worst = worst.max((got - want).abs());
            largest = largest.max(want.abs());
        }
        x = &form.a * &x + &form.b * y;
    }
    let name = law.info().name;
    assert!(
        worst < TOLERANCE * largest.max(1.0),
        "{name}: {worst:e} of {largest}"
    );
}

/// The PID of the demonstration craft with keys of its own.
fn pid_with(change: &serde_json::Value) -> ControllerSpec {
    let mut file = serde_json::to_value(load("pid.json")).unwrap();
    let pid = file["law"]["pid"].as_object_mut().unwrap();
    for (key, value) in change.as_object().unwrap() {
        pid.insert(key.clone(), value.clone());
    }
    serde_json::from_value(file).unwrap()
}

#[test]
fn linear_form_is_the_law_itself() {
    let mut at_speed = setup();
    // sensors apart in all directions, so that every lever arm counts
    at_speed.motion_unit_m = Vector3::new(2.0, 0.7, -3.0);
    at_speed.height_sensors_m = vec![
        Vector3::new(13.0, 0.5, -3.0),
        Vector3::new(-9.0, -1.0, -3.2),
        Vector3::new(1.0, 2.0, -3.0),
    ];
    at_speed.wakes = vec![Wake {
        from: 0,
        to: 2,
        force_ratio: 0.5,
        distance_m: 18.0,
    }];
    let heave = serde_json::json!({
        "proportional_deg_per_m": 1.5, "rate_deg_s_per_m": 6, "acceleration_deg_s2_per_m": 8,
        "integral_deg_per_m_s": 0.05, "integral_limit_deg": 3
    });
    let filters = serde_json::json!([
        { "mode": "pitch", "kind": "notch", "frequency_rad_s": 1.4, "depth_frac": 0.3 },
        { "kind": "low_pass", "frequency_rad_s": 9 }
    ]);
    let ahead = serde_json::json!({ "heave_deg_per_m": -2, "pitch_deg_per_m": 0.7 });
    let variants = [
        serde_json::json!({}),
        serde_json::json!({ "heave": heave, "filters": filters, "wake_frequency_rad_s": 0.7 }),
        serde_json::json!({ "following": { "mode": "contouring" }, "heave_forward_share_frac": 0.6 }),
        serde_json::json!({ "following": { "mode": "switched" }, "feed_forward": ahead, "wake_compensation_frac": 0.8 }),
        serde_json::json!({ "following": { "mode": "contouring" }, "feed_forward": ahead }),
        loaded(),
    ];
    // the working speed, one with gains scaled up, one within the fade
    for speed_m_s in [9.0, 6.3, 2.3] {
        at_speed.nominal_speed_m_s = speed_m_s;
        assert_linear(
            &mut *from_spec(&load("fixed.json"), &folder(), None).unwrap(),
            &at_speed,
        );
        for change in &variants {
            let mut law = from_spec(&pid_with(change), &folder(), None).unwrap();
            assert_linear(law.as_mut(), &at_speed);
        }
    }
    let mut spec = load("pid.json");
    spec.channels = vec!["aft_s".into(), "fwd_p".into()];
    let mut law = from_spec(&spec, &folder(), None).unwrap();
    assert_linear(law.as_mut(), &setup());
    assert_eq!(law.linear().unwrap().channels.len(), 2);
}

/// Keys of a law with loadings on both sides of the 250 t of the set-up, one of them the same at all speeds.
fn loaded() -> serde_json::Value {
    let row = |speed_kn: f64, gain: f64| {
        let angle = serde_json::json!({
            "proportional_deg_per_deg": 0.5 * gain, "rate_deg_s_per_deg": gain,
            "integral_deg_per_deg_s": 0.02 * gain, "integral_limit_deg": 3.0 + gain
        });
        let heave = serde_json::json!({
            "proportional_deg_per_m": 2.0 * gain, "rate_deg_s_per_m": 5.0 * gain,
            "acceleration_deg_s2_per_m": gain,
            "integral_deg_per_m_s": 0.05 * gain, "integral_limit_deg": 3
        });
        serde_json::json!({ "speed_kn": speed_kn, "heave": heave, "pitch": angle, "roll": angle })
    };
    serde_json::json!({
        "schedule": [],
        "loadings": [
            { "displacement_t": 230, "schedule": [row(16.0, 1.0)] },
            { "displacement_t": 290, "schedule": [row(8.0, 2.0), row(20.0, 3.0)] }
        ]
    })
}

#[test]
fn linear_form_takes_the_gains_of_the_displacement() {
    let setup = setup();
    let at = |change: &serde_json::Value, displacement_kg: f64| {
        let mut law = from_spec(&pid_with(change), &folder(), None).unwrap();
        law.reset(&setup.weighing(displacement_kg)).unwrap();
        law.linear().unwrap()
    };
    let row = |k: usize| {
        let rows = loaded()["loadings"][k]["schedule"].clone();
        serde_json::json!({ "schedule": rows })
    };
    assert_eq!(at(&loaded(), 230e3), at(&row(0), 1e3));
    assert_eq!(at(&loaded(), 400e3), at(&row(1), 1e3), "end values beyond");
    // 250 t are a third of the way: direct terms are linear in the gains
    let [light, between, heavy] = [230e3, 250e3, 290e3].map(|kg| at(&loaded(), kg).d);
    let third = &light + (&heavy - &light) / 3.0;
    assert!((&between - third).amax() < 1e-12 * heavy.amax());
    assert!((&between - light).amax() > 0.05 * heavy.amax());
}

#[test]
fn a_displacement_told_passes_all_that_stands_around_a_law() {
    let mut spec = pid_with(&loaded());
    spec.channels = vec!["fwd_p".into(), "fwd_s".into(), "aft_p".into()];
    spec.modes = Some(serde_json::from_str("{}").unwrap());
    spec.monitor = Some(serde_json::from_str("{}").unwrap());
    spec.calibration =
        serde_json::from_str(r#"[{"surface": "fwd_p", "scale": -1.1, "zero_deg": 2}]"#).unwrap();
    let (from, to) = (setup(), setup().weighing(290e3));
    let goal = {
        let mut law = from_spec(&spec, &folder(), None).unwrap();
        law.reset(&to).unwrap();
        law.linear().unwrap()
    };
    let mut law = from_spec(&spec, &folder(), None).unwrap();
    law.reset(&from).unwrap();
    let before = law.linear().unwrap();
    law.order(&Order::Displacement(290e3)).unwrap();
    let y = Measurement::at_trim(&from);
    let mut u = FinCommand::at_trim(&from);
    for k in 0..6000 {
        law.update(from.sample_period_s * f64::from(k), &y, &mut u)
            .unwrap();
    }
    // 600 s are twenty time constants: 2e-9 of the way is left
    let after = law.linear().unwrap();
    let far = |d: &DMatrix<f64>| (d - &goal.d).amax() / goal.d.amax();
    assert!(
        far(&before.d) > 0.1 && far(&after.d) < 1e-8,
        "{}",
        far(&after.d)
    );
}

#[test]
fn only_laws_with_set_points_take_them() {
    // the baseline keeps its trim whatever is asked; a program of the user's is told nothing of goals
    let mut fixed = from_spec(&load("fixed.json"), &folder(), None).unwrap();
    assert!(fixed.set_point(SetPoint::default()).is_ok());
    let mut outside = from_spec(&load("external_python.json"), &folder(), None).unwrap();
    let e = outside
        .set_point(SetPoint::default())
        .unwrap_err()
        .to_string();
    assert!(
        e.contains("takes no set-point") && e.contains("hint"),
        "{e}"
    );
    let mut pid = from_spec(&load("pid.json"), &folder(), None).unwrap();
    assert!(pid.set_point(SetPoint::default()).is_ok());
}

#[test]
fn without_a_linear_form_a_law_says_so() {
    let e = shell("exit", 1.0).linear().unwrap_err().to_string();
    assert!(e.contains("no linear form") && e.contains("compare"), "{e}");
    let pid = from_spec(&load("pid.json"), &folder(), None).unwrap();
    let e = pid.linear().unwrap_err().to_string();
    assert!(e.contains("reset"), "{e}");
}
