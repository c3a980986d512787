//! Checks of the law on a two-state model written by hand.

use nalgebra::Vector3;

use super::*;
use crate::control::testcraft;
use crate::spec::controller::LqrAcceptable;

const T: f64 = 0.1;

fn spec() -> LqrSpec {
    LqrSpec {
        channel_deg: Vec::new(),
        channel_rate_deg_s: Vec::new(),
        sea: None,
        design_speeds_kn: vec![18.0],
        min_speed_kn: 4.0,
        acceptable: LqrAcceptable {
            heave_m: 0.3,
            heave_rate_m_s: 0.3,
            pitch_deg: 1.0,
            pitch_rate_deg_s: 1.0,
            roll_deg: 2.0,
            roll_rate_deg_s: 2.0,
            forward_deg: 10.0,
            aft_deg: 10.0,
            forward_rate_deg_s: None,
            aft_rate_deg_s: None,
            points: Vec::new(),
        },
        perfect_state: false,
        observer_disturbance_m_s2: 0.3,
        trim_time_s: 0.0,
    }
}

/// Pitch as a double integrator driven by one forward fin, 0.8 (rad/s2)/rad.
fn matrices() -> LqrMatrices {
    let m = |r: usize, c: usize, v: &[f64]| DMatrix::from_row_slice(r, c, v);
    LqrMatrices {
        sample_period_s: T,
        states: vec!["pitch_rad".into(), "q_rad_s".into()],
        outputs: vec![LawSignal::Pitch, LawSignal::PitchRate],
        channels: vec!["fwd_p".into()],
        points: vec![LqrPoint {
            speed_m_s: kn(18.0),
            a: m(2, 2, &[1.0, T, 0.0, 1.0]),
            b: m(2, 1, &[0.8 * T * T / 2.0, 0.8 * T]),
            c: m(2, 2, &[1.0, 0.0, 0.0, 1.0]),
            gain: m(1, 2, &[1.0, 1.8]),
            observer: m(2, 2, &[0.4, 0.02, 0.1, 0.4]),
            integral: DMatrix::zeros(1, 0),
        }],
    }
}

/// Runs the law on its own model from a pitch of 0.1 rad; gives |x - estimate| and x at the end.
fn run(law: &mut Lqr, steps: usize, load: f64, truth: bool) -> (f64, f64) {
    let setup = testcraft::setup();
    law.reset(&setup).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    let (mut theta, mut q) = (0.1, 0.0);
    let mut miss = 0.0;
    for k in 0..steps {
        let mut y = Measurement::at_trim(&setup);
        y.theta_rad = setup.trim_pitch_rad + theta;
        y.rates_rad_s = Vector3::new(0.0, q, 0.0);
        y.surface_rad.clone_from(&u.fin_rad);
        if truth {
            y.theta_rad = f64::NAN; // the sensor is dead, the truth is not
            y.valid.attitude = false;
            y.truth = Some(crate::control::signal::Truth {
                theta_rad: setup.trim_pitch_rad + theta,
                q_rad_s: q,
                ..Default::default()
            });
        }
        law.update(k as f64 * T, &y, &mut u).unwrap();
        miss = (law.state()[0] - theta).hypot(law.state()[1] - q);
        let fin = u.fin_rad[0].clamp(u.min_rad[0], u.max_rad[0]) - setup.surfaces[0].trim_rad;
        let a = 0.8 * fin + load;
        theta += T * q + T * T / 2.0 * a;
        q += T * a;
    }
    (miss, theta)
}

#[test]
fn observer_converges_on_its_own_model() {
    let mut law = Lqr::new("lqr", &spec(), matrices()).unwrap();
    let (miss, theta) = run(&mut law, 400, 0.0, false);
    // 40 s at a slowest pole of about 0.8 1/s
    assert!(miss < 1e-10 && theta.abs() < 1e-10, "{miss} {theta}");
}

/// The same with integral action on pitch; closed loop by hand: poles of s^3 + 1.44 s^2 + 0.8 s + 0.08.
fn integrating() -> LqrMatrices {
    let mut m = matrices();
    m.points[0].integral = DMatrix::from_row_slice(1, 2, &[0.0, 0.1]);
    m
}

#[test]
fn integral_removes_a_steady_angle() {
    let load = -0.02;
    let mut plain = Lqr::new("lqr", &spec(), matrices()).unwrap();
    let (_, off) = run(&mut plain, 3000, load, false);
    assert!(off.abs() > 0.01, "without it an angle stays: {off}");
    let mut law = Lqr::new("lqr", &spec(), integrating()).unwrap();
    let (_, rest) = run(&mut law, 3000, load, false);
    // slowest pole 0.12 1/s: nothing is left after 300 s
    assert!(rest.abs() < 1e-9, "{rest} of {off}");
}

#[test]
fn integral_stands_still_at_the_limits() {
    let setup = testcraft::setup();
    let mut law = Lqr::new("lqr", &spec(), integrating()).unwrap();
    law.reset(&setup).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    let mut y = Measurement::at_trim(&setup);
    // bow up by 0.5 rad for 100 s: the fin is down at its limit all the time
    y.theta_rad = setup.trim_pitch_rad + 0.5;
    for k in 0..1000 {
        law.update(f64::from(k) * T, &y, &mut u).unwrap();
        assert!(
            u.fin_rad[0] >= u.min_rad[0],
            "the law limits its command itself"
        );
    }
    assert!(u.fin_rad[0] <= u.min_rad[0]);
    // two samples at most before the limit was met
    assert!(law.integral[1] < 3.0 * T * 0.5, "{}", law.integral);
    // an angle the other way is taken at once
    y.theta_rad = setup.trim_pitch_rad - 0.5;
    let before = law.integral[1];
    law.update(100.0, &y, &mut u).unwrap();
    assert!(law.integral[1] < before);
}

/// Readings of small random motion, exact in the signals of the linear form.
fn random_readings(
    setup: &crate::control::signal::Setup,
    white: &mut dyn FnMut() -> f64,
) -> (Measurement, [f64; 6]) {
    let s = [white(), white(), white(), white(), white(), white()].map(|v| 1e-3 * v);
    let [p, q, phi, theta, a, h] = s;
    let mut y = Measurement::at_trim(setup);
    y.rates_rad_s = Vector3::new(p, q, 0.0);
    y.phi_rad = phi;
    y.theta_rad = setup.trim_pitch_rad + theta;
    let earth = Vector3::new(0.0, 0.0, a - G_M_S2);
    y.specific_force_m_s2 = crate::frames::body_to_earth(phi, y.theta_rad, 0.0).transpose() * earth;
    for (height, r) in y.height_m.iter_mut().zip(&setup.height_sensors_m) {
        *height = -(setup.trim_heave_m + h + vertical(r, phi, y.theta_rad));
    }
    (y, s)
}

#[test]
fn linear_form_is_the_law_itself() {
    let signals = [
        LawSignal::RollRate,
        LawSignal::PitchRate,
        LawSignal::Roll,
        LawSignal::Pitch,
        LawSignal::VerticalAcceleration,
        LawSignal::HeightHeave,
    ];
    let mut seed = 0x9e37_79b9_u32;
    let mut white = || {
        seed ^= seed << 13;
        seed ^= seed >> 17;
        seed ^= seed << 5;
        f64::from(seed) / f64::from(u32::MAX) - 0.5
    };
    let mut any = |r: usize, c: usize, size: f64| DMatrix::from_fn(r, c, |_, _| size * white());
    let data = LqrMatrices {
        sample_period_s: T,
        states: (0..5).map(|i| format!("x{i}")).collect(),
        outputs: signals.to_vec(),
        channels: vec!["aft_s".into(), "fwd_p".into()],
        points: vec![LqrPoint {
            speed_m_s: kn(18.0),
            a: any(5, 5, 0.4),
            b: any(5, 2, 1.0),
            c: any(6, 5, 1.0),
            gain: any(2, 5, 1.0),
            observer: any(5, 6, 0.3),
            integral: any(2, 2, 0.5),
        }],
    };
    let setup = testcraft::setup();
    let mut law = Lqr::new("lqr", &spec(), data).unwrap();
    assert!(law.linear().unwrap_err().to_string().contains("reset"));
    law.reset(&setup).unwrap();
    let linear = law.linear().unwrap();
    assert_eq!(linear.channels, [3, 0]);
    let mut u = FinCommand::at_trim(&setup);
    let mut x = DVector::zeros(linear.a.nrows());
    for k in 0..400 {
        let (y, s) = random_readings(&setup, &mut white);
        law.update(f64::from(k) * T, &y, &mut u).unwrap();
        let s = DVector::from_row_slice(&s);
        let want = &linear.c * &x + &linear.d * &s;
        x = &linear.a * &x + &linear.b * &s;
        for (w, &i) in want.iter().zip(&linear.channels) {
            let got = u.fin_rad[i] - setup.surfaces[i].trim_rad;
            // rounding of the readings' rotation and back
            assert!((got - w).abs() < 1e-9, "{k}: {got} {w}");
        }
    }
    assert!(x.amax() > 1e-4, "the test moved something");
    let truth = LqrSpec {
        perfect_state: true,
        ..spec()
    };
    let mut law = Lqr::new("lqr", &truth, matrices()).unwrap();
    law.reset(&setup).unwrap();
    assert!(law.linear().is_err());
}

#[test]
fn true_state_replaces_the_estimate() {
    let s = LqrSpec {
        perfect_state: true,
        ..spec()
    };
    let mut law = Lqr::new("lqr", &s, matrices()).unwrap();
    let (miss, theta) = run(&mut law, 100, 0.0, true);
    assert!(miss < 1e-15, "{miss}");
    assert!(theta.abs() < 2e-3, "10 s: {theta}");
    let setup = testcraft::setup();
    law.reset(&setup).unwrap();
    let e = law
        .update(
            0.0,
            &Measurement::at_trim(&setup),
            &mut FinCommand::at_trim(&setup),
        )
        .unwrap_err();
    assert!(e.to_string().contains("true state"), "{e}");
}

#[test]
fn another_craft_is_refused() {
    let mut m = matrices();
    m.channels = vec!["bow_flap".into()];
    let mut law = Lqr::new("lqr", &spec(), m).unwrap();
    let mut setup = testcraft::setup();
    setup.sample_period_s = 0.05;
    let e = law.reset(&setup).unwrap_err();
    assert_eq!(e.problems.len(), 2, "{e}");
    let text = e.to_string();
    assert!(
        text.contains("bow_flap") && text.contains("fwd_p") && text.contains("0.05"),
        "{text}"
    );
    let mut m = matrices();
    m.points[0].gain = DMatrix::zeros(2, 2);
    assert!(Lqr::new("lqr", &spec(), m).is_err());
}

#[test]
fn interpolates_between_speeds() {
    let mut m = matrices();
    let mut fast = m.points[0].clone();
    fast.speed_m_s = kn(22.0);
    fast.gain *= 0.5;
    m.points.push(fast);
    let mut law = Lqr::new("lqr", &spec(), m).unwrap();
    for (speed_kn, want) in [
        (15.0, 1.0),
        (18.0, 1.0),
        (20.0, 0.75),
        (22.0, 0.5),
        (30.0, 0.5),
    ] {
        law.schedule(kn(speed_kn));
        assert!((law.now.gain[0] - want).abs() < 1e-12, "{speed_kn}");
    }
}

#[test]
fn neutral_below_the_least_speed() {
    let mut law = Lqr::new("lqr", &spec(), matrices()).unwrap();
    let mut setup = testcraft::setup();
    setup.nominal_speed_m_s = kn(3.0);
    law.reset(&setup).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    let mut y = Measurement::at_trim(&setup);
    y.theta_rad += 0.1;
    law.update(0.0, &y, &mut u).unwrap();
    assert!(u.fin_rad[0].abs() < 1e-15);
}
