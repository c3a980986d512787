//! Checks of the modal PID.

use super::*;
use crate::control::testcraft;
use crate::spec::controller::{AngleGains, HeaveGains};

mod options;

const TOL_ROUND: f64 = 1e-7; // allocation is damped by 1e-8; angles of order 0.1 rad

fn spec() -> PidSpec {
    testcraft::pid()
}

fn gains(p: f64, d: f64, i: f64) -> AngleGains {
    AngleGains {
        proportional_deg_per_deg: p,
        rate_deg_s_per_deg: d,
        integral_deg_per_deg_s: i,
        integral_limit_deg: if i == 0.0 { 0.0 } else { 10.0 },
    }
}

/// First answer of a law to one set of readings, about trim.
fn answer(s: &PidSpec, change: impl Fn(&mut Measurement)) -> Vec<f64> {
    let setup = testcraft::setup();
    let mut law = Pid::new("pid", s).unwrap();
    law.reset(&setup).unwrap();
    let mut y = Measurement::at_trim(&setup);
    change(&mut y);
    let mut u = FinCommand::at_trim(&setup);
    law.update(0.0, &y, &mut u).unwrap();
    (0..4)
        .map(|i| u.fin_rad[i] - setup.surfaces[i].trim_rad)
        .collect()
}

#[test]
fn at_trim_the_fins_stay_at_trim() {
    let s = PidSpec {
        pitch: gains(1.0, 1.0, 0.1),
        roll: gains(1.0, 1.0, 0.1),
        heave: HeaveGains {
            proportional_deg_per_m: 2.0,
            rate_deg_s_per_m: 2.0,
            acceleration_deg_s2_per_m: 1.0,
            ..HeaveGains::default()
        },
        ..spec()
    };
    let x = answer(&s, |_| ());
    assert!(x.iter().all(|v| v.abs() < 1e-12), "{x:?}");
}

#[test]
fn sign_card_of_errors() {
    let pitch = PidSpec {
        pitch: gains(0.5, 1.0, 0.0),
        ..spec()
    };
    let x = answer(&pitch, |y| y.theta_rad -= 0.05);
    assert!(
        x[0] > 0.0 && x[1] > 0.0 && x[2] < 0.0 && x[3] < 0.0,
        "bow down {x:?}"
    );
    let x = answer(&pitch, |y| y.rates_rad_s.y = -0.05);
    assert!(x[0] > 0.0 && x[2] < 0.0, "bow falling {x:?}");
    let roll = PidSpec {
        roll: gains(0.5, 1.0, 0.0),
        ..spec()
    };
    let x = answer(&roll, |y| y.phi_rad = 0.05);
    assert!(
        x[1] > 0.0 && x[3] > 0.0 && x[0] < 0.0 && x[2] < 0.0,
        "starboard down {x:?}"
    );
    let x = answer(&roll, |y| y.rates_rad_s.x = 0.05);
    assert!(x[1] > 0.0 && x[0] < 0.0, "starboard falling {x:?}");
    let heave = PidSpec {
        heave: HeaveGains {
            proportional_deg_per_m: 5.0,
            rate_deg_s_per_m: 5.0,
            acceleration_deg_s2_per_m: 1.0,
            ..HeaveGains::default()
        },
        ..spec()
    };
    let x = answer(&heave, |y| y.height_m.iter_mut().for_each(|h| *h -= 0.5));
    assert!(x.iter().all(|v| *v > 0.0), "too deep {x:?}");
    let x = answer(&heave, |y| y.specific_force_m_s2.z += 1.0);
    assert!(x.iter().all(|v| *v > 0.0), "accelerating down {x:?}");
}

#[test]
fn proportional_gain_is_deg_per_deg() {
    let s = PidSpec {
        pitch: gains(0.5, 0.0, 0.0),
        ..spec()
    };
    let x = answer(&s, |y| y.theta_rad -= 0.06);
    let setup = testcraft::setup();
    let alloc = Allocator::new(&setup, 0.4).unwrap();
    assert!((alloc.modal(|i| x[i]).pitch_rad - 0.03).abs() < TOL_ROUND);
}

#[test]
fn negative_gain_is_only_a_sign() {
    let plus = PidSpec {
        pitch: gains(0.5, 0.7, 0.2),
        roll: gains(0.3, 0.4, 0.1),
        ..spec()
    };
    let minus = PidSpec {
        pitch: gains(-0.5, -0.7, -0.2),
        roll: gains(-0.3, -0.4, -0.1),
        ..spec()
    };
    let run = |s: &PidSpec| {
        answer(s, |y| {
            y.theta_rad += 0.02;
            y.phi_rad = 0.03;
            y.rates_rad_s = Vector3::new(0.01, -0.02, 0.0);
        })
    };
    for (a, b) in run(&plus).iter().zip(run(&minus)) {
        assert!((a + b).abs() < TOL_ROUND);
    }
}

#[test]
fn pure_p_law_never_winds_up() {
    let setup = testcraft::setup();
    let mut law = Pid::new(
        "p",
        &PidSpec {
            pitch: gains(3.0, 0.0, 0.0),
            ..spec()
        },
    )
    .unwrap();
    law.reset(&setup).unwrap();
    let mut y = Measurement::at_trim(&setup);
    let mut u = FinCommand::at_trim(&setup);
    y.theta_rad -= 0.5; // far into the limits, fins stuck besides
    for _ in 0..1000 {
        law.update(0.0, &y, &mut u).unwrap();
    }
    y.theta_rad = setup.trim_pitch_rad;
    law.update(0.0, &y, &mut u).unwrap();
    for i in 0..4 {
        assert!((u.fin_rad[i] - setup.surfaces[i].trim_rad).abs() < 1e-12);
    }
}

#[test]
fn integrator_follows_the_measured_angle() {
    // free integrator: grows at Ki e; fins that do not move: settles near what they reach
    let s = PidSpec {
        pitch: gains(0.0, 0.0, 0.5),
        ..spec()
    };
    let setup = testcraft::setup();
    let run = |stuck: bool| {
        let mut law = Pid::new("i", &s).unwrap();
        law.reset(&setup).unwrap();
        let mut y = Measurement::at_trim(&setup);
        y.theta_rad -= 0.01;
        let mut u = FinCommand::at_trim(&setup);
        for _ in 0..300 {
            law.update(0.0, &y, &mut u).unwrap();
            if !stuck {
                y.surface_rad.clone_from(&u.fin_rad);
            }
        }
        law.integral[1].value_rad()
    };
    assert!((run(false) - 0.15).abs() < 1e-9, "30 s of 0.005 rad/s");
    let held = run(true);
    assert!(
        held > 0.0 && held < 0.1,
        "{held}: band 0.052 rad, back-calculation 4 s"
    );
}

#[test]
fn integrator_is_bounded_and_reset_forgets() {
    let s = PidSpec {
        roll: gains(0.0, 0.0, 5.0),
        ..spec()
    };
    let setup = testcraft::setup();
    let mut law = Pid::new("i", &s).unwrap();
    law.reset(&setup).unwrap();
    let mut y = Measurement::at_trim(&setup);
    y.phi_rad = 0.2;
    let mut u = FinCommand::at_trim(&setup);
    for _ in 0..2000 {
        law.update(0.0, &y, &mut u).unwrap();
        y.surface_rad.clone_from(&u.fin_rad);
    }
    assert!(law.integral[2].value_rad().abs() <= deg(10.0) + 1e-12);
    law.reset(&setup).unwrap();
    let mut u = FinCommand::at_trim(&setup);
    law.update(0.0, &Measurement::at_trim(&setup), &mut u)
        .unwrap();
    assert_eq!(u, FinCommand::at_trim(&setup));
}

#[test]
fn scales_with_speed() {
    let s = PidSpec {
        pitch: gains(0.5, 0.0, 0.0),
        ..spec()
    };
    let mut setup = testcraft::setup();
    let at = |setup: &Setup| {
        let mut law = Pid::new("pid", &s).unwrap();
        law.reset(setup).unwrap();
        let mut y = Measurement::at_trim(setup);
        y.theta_rad -= 0.04;
        let mut u = FinCommand::at_trim(setup);
        law.update(0.0, &y, &mut u).unwrap();
        u.fin_rad[0] - setup.surfaces[0].trim_rad
    };
    let full = at(&setup);
    setup.nominal_speed_m_s = kn(18.0) / 1.5_f64.sqrt();
    assert!((at(&setup) / full - 1.5).abs() < 1e-6);
    setup.nominal_speed_m_s = kn(3.0);
    assert!(
        (at(&setup) + setup.surfaces[0].trim_rad).abs() < 1e-12,
        "neutral below 4 kn"
    );
}

#[test]
fn invalid_readings_are_not_used() {
    let s = PidSpec {
        pitch: gains(0.5, 0.5, 0.1),
        roll: gains(0.5, 0.5, 0.1),
        ..spec()
    };
    let x = answer(&s, |y| {
        y.theta_rad = f64::NAN;
        y.phi_rad = f64::NAN;
        y.rates_rad_s = Vector3::repeat(f64::NAN);
        y.specific_force_m_s2 = Vector3::repeat(f64::NAN);
        y.speed_m_s = f64::NAN;
        y.height_m.fill(f64::NAN);
        y.surface_rad.fill(f64::NAN);
        let v = &mut y.valid;
        (v.rates, v.attitude, v.acceleration, v.speed) = (false, false, false, false);
        v.height.fill(false);
        v.surface.fill(false);
    });
    assert!(x.iter().all(|v| v.abs() < 1e-9), "{x:?}");
}

#[test]
fn numbers_out_of_range_are_all_named() {
    let s = PidSpec {
        forward_share_frac: 1.5,
        filter_rad_s: 0.0,
        anti_windup_s: f64::NAN,
        ..spec()
    };
    let e = Pid::new("bad", &s).unwrap_err();
    assert_eq!(e.problems.len(), 3, "{e}");
    assert!(e.to_string().contains("forward_share_frac"));
}
