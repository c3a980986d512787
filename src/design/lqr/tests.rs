//! Checks of the design on a craft of textbook numbers: 250 t, added mass 0.9, 480 kN/m, GM_L 6 m,
//! GM_T 1.5 m, two forward fins of 3 m2 and two aft of 3.3 m2, unstable in pitch at 18 kn.

use nalgebra::{DVector, Matrix3, Vector3};

use super::super::model::{DesignChannel, ModalPlant};
use super::*;
use crate::control::lqr::Lqr;
use crate::control::signal::{FinCommand, Measurement, Setup};
use crate::control::{Controller, testcraft};
use crate::math::lyapunov;
use crate::units::kn;

pub(crate) fn spec() -> LqrSpec {
    LqrSpec {
        channel_deg: Vec::new(),
        channel_rate_deg_s: Vec::new(),
        sea: None,
        design_speeds_kn: vec![12.0, 18.0],
        min_speed_kn: 4.0,
        acceptable: LqrAcceptable {
            heave_m: 0.5,
            heave_rate_m_s: 0.4,
            pitch_deg: 1.5,
            pitch_rate_deg_s: 1.5,
            roll_deg: 2.0,
            roll_rate_deg_s: 2.0,
            forward_deg: 8.0,
            aft_deg: 8.0,
            forward_rate_deg_s: None,
            aft_rate_deg_s: None,
            points: Vec::new(),
        },
        perfect_state: false,
        observer_disturbance_m_s2: 0.3,
        trim_time_s: 0.0,
    }
}

/// The plant at a speed; `reach` scales the pitch moment of the surfaces.
fn plant(speed_m_s: f64, setup: &Setup, reach: f64) -> ModalPlant {
    let u2 = speed_m_s * speed_m_s;
    let g = crate::units::G_M_S2;
    let fins = &setup.surfaces[..4];
    let mut p = ModalPlant {
        speed_m_s,
        mass: Matrix3::from_diagonal(&Vector3::new(475e3, 9e6, 26.7e6)),
        damping: Matrix3::from_diagonal(&Vector3::new(20e3, 0.5e6, 1e6)),
        stiffness: Matrix3::from_diagonal(&Vector3::new(
            480e3,
            250e3 * g * 1.5,
            250e3 * g * 6.0 - u2 * 225e3,
        )),
        fins: DMatrix::zeros(3, 4),
        motion_unit_m: setup.motion_unit_m,
        roll_lever_m: 5.0,
        pitch_lever_m: 8.0,
    };
    for (j, s) in fins.iter().enumerate() {
        // alpha = theta + (z' - x q + y p) / U, lift up
        let (l, x, y) = (s.effectiveness * u2, s.r_m.x, s.r_m.y);
        let from = Vector3::new(-l, -l * y, l * x * reach);
        p.fins.set_column(j, &from);
        let flow = Vector3::new(1.0, y, -x) / speed_m_s;
        p.damping -= Vector3::new(-l, -l * y, l * x) * flow.transpose();
        p.stiffness -= Vector3::new(-l, -l * y, l * x) * Vector3::new(0.0, 0.0, 1.0).transpose();
    }
    p
}

fn model(speed_m_s: f64, reach: f64, delay_s: f64) -> DesignModel {
    let setup = testcraft::setup();
    let channels = setup.surfaces[..4]
        .iter()
        .map(|s| DesignChannel {
            name: s.name.clone(),
            group: s.group,
            lag_s: 0.13,
        })
        .collect();
    plant(speed_m_s, &setup, reach)
        .model(channels, setup.sample_period_s, delay_s, 0.3)
        .unwrap()
}

#[test]
fn sampled_model_follows_the_continuous_one() {
    // a step on one fin, 0.14 s late, against small-step integration of the continuous model
    for delay_s in [0.0, 0.04, 0.1, 0.14, 0.25] {
        let m = model(kn(18.0), 1.0, delay_s);
        let s = m.sampled().unwrap();
        let mut x = DVector::zeros(s.states.len());
        let u = DVector::from_vec(vec![0.1, 0.0, 0.0, 0.0]);
        for _ in 0..20 {
            x = &s.a * x + &s.b * &u;
        }
        let (h, n) = (1e-4, 20_000);
        let mut z = DVector::zeros(6);
        let mut fin = 0.0_f64;
        for i in 0..n {
            // exact servo, midpoint rule for the motion: error of order h^2
            let on = f64::from(u8::from(f64::from(i) * h >= delay_s - 1e-12)) * 0.1;
            let half = on + (fin - on) * (-0.5 * h / 0.13_f64).exp();
            fin = on + (fin - on) * (-h / 0.13_f64).exp();
            let push = m.b.column(0) * half;
            let mid = &z + (&m.a * &z + &push) * (h / 2.0);
            z += (&m.a * &mid + &push) * h;
        }
        for i in 0..6 {
            assert!(
                (x[i] - z[i]).abs() < 1e-6 * z.amax(),
                "{delay_s} {i}: {} {}",
                x[i],
                z[i]
            );
        }
    }
}

#[test]
fn wave_model_has_its_variance() {
    let m = model(kn(18.0), 1.0, 0.1);
    let s = m.sampled().unwrap();
    let j = s.states.iter().position(|n| n == "wave_1_slow").unwrap();
    let a = s.a.view((j, j), (2, 2)).into_owned();
    let w = s.wave_noise.view((j, j), (2, 2)).into_owned();
    let p = lyapunov::covariance_discrete(&a, &w).unwrap();
    assert!((p[(1, 1)] - 1.0).abs() < 1e-10, "unit variance {p}");
}

#[test]
fn an_unstable_craft_is_stabilised_and_reported() {
    let models = [model(kn(12.0), 1.0, 0.1), model(kn(18.0), 1.0, 0.1)];
    let (law, report) = design("pitch hold", &spec(), &models).unwrap();
    let fast = &report.points[1];
    assert!(
        fast.modes[0].value.re > 0.0,
        "unstable bare: {:?}",
        fast.modes[0]
    );
    assert!(fast.modes[0].states.contains("pitch_rad"));
    for p in &report.points {
        assert!(
            p.regulator_residual < 1e-11 && p.observer_residual < 1e-11,
            "{p:?}"
        );
        assert!(p.closed_poles[0].re < 0.0 && p.observer_poles[0].re < 0.0);
        assert!(
            p.modes
                .iter()
                .all(|m| m.reached_frac > 1e-4 && m.seen_frac > 1e-4),
            "{:?}",
            p.modes
        );
    }
    // sign card: bow up asks forward down, aft up; starboard down asks starboard up; too deep: up
    let value = |ch: &str, st: &str| {
        fast.gains
            .iter()
            .find(|g| g.channel == ch && g.state == st)
            .unwrap()
            .value
    };
    assert!(value("fwd_p", "pitch_rad") < 0.0 && value("aft_s", "pitch_rad") > 0.0);
    assert!(value("fwd_s", "roll_rad") > 0.0 && value("aft_p", "roll_rad") < 0.0);
    assert!(value("fwd_s", "heave_rate_m_s") > 0.0 && value("aft_p", "heave_rate_m_s") > 0.0);
    assert!(value("fwd_p", "q_rad_s") < 0.0 && value("aft_p", "q_rad_s") > 0.0);
    // mirror: port and starboard alike in the vertical plane, opposite in roll
    assert!((value("fwd_p", "pitch_rad") - value("fwd_s", "pitch_rad")).abs() < 1e-8);
    assert!((value("aft_p", "roll_rad") + value("aft_s", "roll_rad")).abs() < 1e-8);
    assert_eq!(law.points.len(), 2);
}

#[test]
fn a_mode_that_no_fin_reaches_is_named() {
    // surfaces that make no pitch moment still heave, and heave couples into pitch through the fins
    // at rest: solvable, but the report shows how weakly
    let (_, weak) = design("weak", &spec(), &[model(kn(18.0), 0.0, 0.1)]).unwrap();
    assert!(weak.points[0].modes[0].reached_frac < 1e-3);
    // without that coupling it is lost
    let mut m = model(kn(18.0), 0.0, 0.1);
    for j in 0..6 {
        if j != 2 && j != 5 {
            m.a[(5, j)] = 0.0;
        }
    }
    let e = design("pitch hold", &spec(), &[m]).unwrap_err().to_string();
    assert!(
        e.contains("at 18.0 kn") && e.contains("pitch_rad") && e.contains("input"),
        "{e}"
    );
    assert!(!e.contains("heave_m"), "{e}");
}

#[test]
fn blind_sensors_are_named() {
    let mut m = model(kn(18.0), 1.0, 0.1);
    for row in [1, 3, 4, 5] {
        m.c.row_mut(row).fill(0.0); // no pitch, pitch rate, acceleration, height
        m.d.row_mut(row).fill(0.0);
        m.f.row_mut(row).fill(0.0);
    }
    let e = design("blind", &spec(), &[m]).unwrap_err().to_string();
    assert!(e.contains("not seen by any output"), "{e}");
}

#[test]
fn expensive_fins_leave_the_least_energy_solution() {
    // as the fins get dear the gains of a stable roll mode vanish
    let dear = LqrSpec {
        acceptable: LqrAcceptable {
            forward_deg: 1e-3,
            aft_deg: 1e-3,
            ..spec().acceptable
        },
        ..spec()
    };
    let m = [model(kn(12.0), 1.0, 0.1)];
    let (_, a) = design("cheap", &spec(), &m).unwrap();
    let (_, b) = design("dear", &dear, &m).unwrap();
    let roll = |r: &LqrDesignReport| {
        r.points[0]
            .gains
            .iter()
            .find(|g| g.channel == "fwd_s" && g.state == "roll_rad")
            .unwrap()
            .value
    };
    assert!(
        roll(&b).abs() < 1e-3 * roll(&a).abs(),
        "{} {}",
        roll(&b),
        roll(&a)
    );
}

#[test]
fn weights_out_of_range_are_all_named() {
    let bad = LqrSpec {
        acceptable: LqrAcceptable {
            heave_m: 0.0,
            aft_deg: f64::NAN,
            ..spec().acceptable
        },
        ..spec()
    };
    let e = design("bad", &bad, &[model(kn(18.0), 1.0, 0.1)]).unwrap_err();
    assert_eq!(e.problems.len(), 2, "{e}");
}

/// The law on the sampled model, disturbed by its own wave model with a fixed sequence: the unstable
/// craft is held, and the estimate beats the raw height as a measure of heave.
#[test]
fn law_with_observer_holds_the_unstable_craft() {
    let speeds = [kn(12.0), kn(18.0)];
    let models: Vec<_> = speeds.iter().map(|u| model(*u, 1.0, 0.1)).collect();
    let (data, _) = design("lqg", &spec(), &models).unwrap();
    let p = data.points[1].clone();
    let n_motion = 6;
    let mut setup = testcraft::setup();
    setup.trim_heave_m = 0.0;
    setup.trim_pitch_rad = 0.0;
    let run = |perfect: bool| {
        let s = LqrSpec {
            perfect_state: perfect,
            ..spec()
        };
        let mut law = Lqr::new("lqg", &s, data.clone()).unwrap();
        law.reset(&setup).unwrap();
        let mut u = FinCommand::at_trim(&setup);
        let mut x = DVector::zeros(p.a.nrows());
        x[2] = 0.03;
        let mut noise = 0x2545_f491_u32;
        let mut white = || {
            noise ^= noise << 13;
            noise ^= noise >> 17;
            noise ^= noise << 5;
            (f64::from(noise) / f64::from(u32::MAX) - 0.5) * 12.0_f64.sqrt()
        };
        let wave: Vec<usize> = data
            .states
            .iter()
            .enumerate()
            .filter(|(_, s)| s.starts_with("wave") && !s.ends_with("slow"))
            .map(|(i, _)| i)
            .collect();
        let (mut pitch2, mut miss2) = (0.0, 0.0);
        for k in 0..6000 {
            let yv = &p.c * &x;
            let mut y = Measurement::at_trim(&setup);
            y.rates_rad_s = Vector3::new(yv[0], yv[1], 0.0);
            y.phi_rad = yv[2];
            y.theta_rad = yv[3];
            let (f, g) = (yv[4], crate::units::G_M_S2);
            y.specific_force_m_s2 = crate::frames::body_to_earth(yv[2], yv[3], 0.0).transpose()
                * Vector3::new(0.0, 0.0, f - g);
            let zeta = 0.3 * (0.9 * 0.1 * f64::from(k)).sin();
            for (h, r) in y.height_m.iter_mut().zip(&setup.height_sensors_m) {
                *h = -(yv[5] + crate::control::signal::vertical(r, yv[2], yv[3])) - zeta;
            }
            if perfect {
                y.truth = Some(crate::control::signal::Truth {
                    heave_m: x[0],
                    phi_rad: x[1],
                    theta_rad: x[2],
                    heave_rate_m_s: x[3],
                    p_rad_s: x[4],
                    q_rad_s: x[5],
                    w_m_s: x[3] + speeds[1] * x[2],
                });
            }
            law.update(0.1 * f64::from(k), &y, &mut u).unwrap();
            let angles = DVector::from_fn(4, |i, _| {
                u.fin_rad[i].clamp(-0.35, 0.35) - setup.surfaces[i].trim_rad
            });
            if k > 1000 {
                pitch2 += x[2] * x[2] / 5000.0;
                miss2 += (law.state()[0] - x[0]).powi(2) / 5000.0;
            }
            x = &p.a * &x + &p.b * angles;
            for &i in &wave {
                x[i] += 0.3 * (0.1 * 4.0 * 0.5_f64).sqrt() * white(); // T times 4 z w
            }
            assert!(x.rows(0, n_motion).amax() < 5.0, "diverged at step {k}");
        }
        (pitch2.sqrt(), miss2.sqrt())
    };
    let (pitch, miss) = run(false);
    let (best, none) = run(true);
    assert!(none < 1e-12);
    assert!(
        miss < 0.15,
        "heave estimate {miss} m against 0.21 m rms of elevation in the height"
    );
    assert!(
        pitch < 0.03 && best < 1.1 * pitch,
        "pitch {pitch} rad, with the true state {best}"
    );
}
