//! Limits with known answers: rest stays rest, free decay, long waves, order of the method,
//! head against following seas, the frequency grid.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;

use std::f64::consts::TAU;
use std::sync::{Arc, OnceLock};

use common::*;
use num_complex::Complex64;
use ridewright::control::Controller;
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::Plant;
use ridewright::frames::Dof;
use ridewright::linear::assemble::assemble;
use ridewright::linear::modes::poles;
use ridewright::linear::response::realised;
use ridewright::linear::trim::{self, Trim};
use ridewright::math::eigen;
use ridewright::math::ode::Tolerance;
use ridewright::sea::realisation::Realisation;
use ridewright::sim::case::{Case, Integrator, Sensing, Timing};
use ridewright::sim::run::{Run, run};
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn};

const STEP_S: f64 = 0.05;
const PID: &str = "controllers/pid.json";
const MOTIONS: [&str; 6] = ["surge", "sway", "heave_up", "roll", "pitch", "yaw"];

fn craft() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| model(&PhysicsSpec::default()))
}

fn at(model: &CraftModel, speed_kn: f64, course: &CourseSpec) -> (Arc<Plant>, Trim) {
    let plant = model.plant(kn(speed_kn), course).expect("plant");
    let trim = trim::level(&plant).expect("trim");
    (Arc::new(plant), trim)
}

/// A trimmed craft stays where it is, with fins fixed and with the modal PID, held and free.
///
/// Tolerance of the job: 1e-9 m (and rad) over 600 s; trim leaves 1e-13 m/s2.
#[test]
fn trim_stays_trim() {
    let timing = Timing::new(600.0, 0.0, STEP_S, 0.1, 0.1).unwrap();
    let mut worst = 0.0_f64;
    for speed_kn in [0.0, 8.0, 16.0] {
        for course in [mean_held(), CourseSpec::default()] {
            let (plant, trim) = at(craft(), speed_kn, &course);
            for pid in [false, true] {
                let calm = Realisation::calm();
                let mut p = parts(craft(), &plant, &trim, &calm, &course, timing);
                // the sensors' filters and delays without their errors; perfect ones for the other
                if pid {
                    p.sensing = Sensing::Suite {
                        craft: Arc::new(craft().craft.spec.clone()),
                        errors: false,
                        seed: 1,
                        case: 0,
                    };
                }
                let law = if pid { law(PID) } else { fixed() };
                let out = run(&Case::new(p).unwrap(), &mut *{ law });
                assert!(out.outcome.is_completed(), "{}", out.outcome);
                for c in MOTIONS {
                    let x = judged(&out, c);
                    let off = x.iter().map(|v| (v - x[0]).abs()).fold(0.0, f64::max);
                    worst = worst.max(off);
                    assert!(off < 1e-9, "{speed_kn} kn pid {pid} {c}: {off:e}");
                }
            }
        }
    }
    println!("largest motion {worst:.1e} m or rad");
}

/// Free decay against the poles of the linear model, drag off, at rest and at low speed.
///
/// Tolerances of the job: period 0.5 %, damping ratio max(5 %, 0.0005).
#[test]
fn free_decay_meets_the_poles() {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    let model = MODEL.get_or_init(|| model(&linear_physics()));
    for speed_kn in [0.0, 4.0] {
        let (plant, trim) = held_plant(model, speed_kn);
        let plant = Arc::new(plant);
        let linear = assemble(&plant, &trim.x, None);
        let modes = poles(&linear).unwrap();
        for dof in [Dof::Heave, Dof::Pitch, Dof::Roll] {
            let pole = modes
                .iter()
                .find(|p| p.motion == Some(dof) && p.value.im > 0.3)
                .expect("heave, pitch and roll oscillate at low speed");
            // the mode's own shape, so that one pole alone decays
            let shape = eigen::vector(&linear.a, pole.value).unwrap();
            let index = dof as usize;
            let scale = Complex64::new(1e-4, 0.0) / shape[index];
            let periods = 12.0;
            let length = ((periods * TAU / pole.value.im) / STEP_S).ceil();
            let length = (length + length % 2.0) * STEP_S;
            let timing = Timing::new(length, 0.0, STEP_S, 0.1, STEP_S).unwrap();
            let calm = Realisation::calm();
            let mut p = parts(model, &plant, &trim, &calm, &mean_held(), timing);
            for (x, s) in p.start.iter_mut().zip(shape.iter()) {
                *x += (scale * s).re;
            }
            let out = run(&Case::new(p).unwrap(), &mut *fixed());
            let name = MOTIONS[index];
            let x = judged(&out, name);
            let (period, zeta) = decay(x, trim.x[index] * if index == 2 { -1.0 } else { 1.0 });
            let want = (TAU / pole.value.im, pole.damping_ratio());
            println!("{speed_kn} kn {name}: T {period:.5} want {:.5} ({:.3} %), zeta {zeta:.5} want {:.5}", want.0, 100.0 * (period / want.0 - 1.0), want.1);
            assert!((period / want.0 - 1.0).abs() < 0.005);
            assert!((zeta - want.1).abs() < (0.05 * want.1).max(0.0005));
        }
    }
}

/// Period and damping ratio of a decaying record from its peaks (parabolas through three samples).
fn decay(x: &[f64], mean: f64) -> (f64, f64) {
    let mut peaks = Vec::new();
    for i in 1..x.len() - 1 {
        let (a, b, c) = (x[i - 1] - mean, x[i] - mean, x[i + 1] - mean);
        if b > a && b >= c && b > 0.0 {
            let s = 0.5 * (a - c) / (a - 2.0 * b + c);
            peaks.push(((i as f64 + s) * STEP_S, b - 0.25 * (a - c) * s));
        }
    }
    let (first, last) = (peaks[1], *peaks.last().unwrap());
    let n = (peaks.len() - 2) as f64;
    let period = (last.0 - first.0) / n;
    let delta = (first.1 / last.1).ln() / n;
    (period, delta / (TAU * TAU + delta * delta).sqrt())
}

/// At rest in long waves the craft goes with the water: heave is the amplitude, pitch and roll the
/// slope (roll and pitch solved with sway and surge, no springs).
///
/// Tolerance of the job: 1 % at omega up to 0.05 rad/s. Below 0.05 the waves are longer than 20 km.
#[test]
fn long_waves_carry_the_craft() {
    let mut plant = craft().plant(0.0, &mean_held()).unwrap();
    plant.hold = None;
    let plant = plant.finish();
    let trim = trim::level(&plant).unwrap();
    let linear = assemble(&plant, &trim.x, None);
    let (mut heave, mut pitch, mut roll) = (0.0_f64, 0.0_f64, 0.0_f64);
    for omega in [0.02, 0.03, 0.05] {
        let k = omega * omega / plant.g_m_s2;
        for mu_deg in [180.0, 135.0, 90.0, 45.0, 0.0] {
            let mu = deg(mu_deg);
            let r = realised(&linear, &plant, omega, mu).unwrap().motion();
            // elevation exp(i (w t - k (x cos mu + y sin mu))): slopes -i k cos mu, -i k sin mu; a
            // bow that goes up is positive, a starboard side that goes up is negative
            heave = heave.max((r[2] + 1.0).norm());
            pitch = pitch.max((r[4] + Complex64::new(0.0, k * mu.cos())).norm() / k);
            roll = roll.max((r[3] - Complex64::new(0.0, k * mu.sin())).norm() / k);
        }
    }
    println!("off by: heave {heave:.1e}, pitch {pitch:.1e}, roll {roll:.1e}");
    assert!(heave < 0.01 && pitch < 0.01 && roll < 0.01);
}

/// One run in an irregular sea.
struct Sea<'a> {
    model: &'a CraftModel,
    speed_kn: f64,
    mu_deg: f64,
    hs_m: f64,
    tp_s: f64,
    duration_s: f64,
    step_s: f64,
    integrator: Integrator,
    ideal_servos: bool,
}

impl Sea<'_> {
    fn of(model: &CraftModel, speed_kn: f64, mu_deg: f64, hs_m: f64, tp_s: f64) -> Sea<'_> {
        Sea {
            model,
            speed_kn,
            mu_deg,
            hs_m,
            tp_s,
            duration_s: 900.0,
            step_s: STEP_S,
            integrator: Integrator::FixedStep,
            ideal_servos: false,
        }
    }

    fn run(&self, law: &mut dyn Controller) -> Run {
        let course = CourseSpec::default();
        let mut plant = self.model.plant(kn(self.speed_kn), &course).unwrap();
        if self.ideal_servos {
            ideal_servos(&mut plant);
            for a in &mut plant.actuators {
                a.delay_s = 0.1; // whole steps of any length used here
            }
        }
        let trim = trim::level(&plant).unwrap();
        let sea = irregular(self.hs_m, self.tp_s, deg(self.mu_deg), 7, 200);
        let timing = Timing::new(self.duration_s, 0.0, self.step_s, 0.1, 0.1).unwrap();
        let plant = Arc::new(plant);
        let mut p = parts(self.model, &plant, &trim, &sea, &course, timing);
        p.integrator = self.integrator;
        run(&Case::new(p).unwrap(), law)
    }
}

/// RMS of the difference over the RMS of the motion.
fn differences(reference: &Run, other: &Run) -> Vec<f64> {
    MOTIONS
        .iter()
        .chain(&["bridge.acc_up"])
        .map(|c| {
            let (a, b) = (judged(reference, c), judged(other, c));
            let d: Vec<f64> = a.iter().zip(b).map(|(a, b)| a - b).collect();
            ridewright::math::stats::rms_about_zero(&d) / rms(a)
        })
        .collect()
}

/// The production method against Dormand-Prince 5(4) at 1e-9, restarted at every step's edge, over
/// 300 s of an irregular sea under the PID, dead band, backlash and rate limits at work.
///
/// Tolerance of the job: 0.1 % of each RMS.
#[test]
fn fixed_step_meets_the_reference() {
    let mut sea = Sea::of(craft(), 16.0, 150.0, 1.25, 7.0);
    sea.duration_s = 300.0;
    let fixed_step = sea.run(&mut *law(PID));
    sea.integrator = Integrator::Reference(Tolerance::default());
    let reference = sea.run(&mut *law(PID));
    assert!(reference.outcome.is_completed(), "{}", reference.outcome);
    let errors = differences(&reference, &fixed_step);
    let shown: Vec<String> = errors.iter().map(|e| format!("{e:.1e}")).collect();
    println!("of RMS: {shown:?}");
    assert!(errors.iter().all(|e| *e < 1e-3), "{errors:?}");
}

/// Halving the step shows the order: four with the classical method. Play and dead band make corners
/// inside a step, so they are off here.
#[test]
fn halving_the_step_shows_the_fourth_order() {
    let mut sea = Sea::of(craft(), 16.0, 150.0, 1.25, 7.0);
    sea.duration_s = 60.0;
    sea.ideal_servos = true;
    let mut finest = None;
    let mut errors = Vec::new();
    for step_s in [0.00625, 0.0125, 0.025, 0.05, 0.1] {
        sea.step_s = step_s;
        let out = sea.run(&mut *law(PID));
        match &finest {
            None => finest = Some(out),
            Some(f) => errors.push(differences(f, &out)),
        }
    }
    for pair in errors.windows(2) {
        let order: Vec<f64> = pair[1].iter().zip(&pair[0]).map(|(a, b)| (a / b).log2()).collect();
        let shown: Vec<String> = pair[0].iter().map(|e| format!("{e:.1e}")).collect();
        println!("errors {shown:?} order {order:.2?}");
    }
}

/// Fins fixed at trim at design speed: pitch and heave are larger in following seas, vertical
/// acceleration in head seas.
///
/// Source: common practice for craft of this type.
#[test]
fn following_seas_pitch_more_head_seas_shake_more() {
    for tp_s in [6.0, 7.5, 9.0] {
        let [head, following] =
            [180.0, 0.0].map(|mu| Sea::of(craft(), 16.0, mu, 1.0, tp_s).run(&mut *fixed()));
        for out in [&head, &following] {
            assert!(out.outcome.is_completed(), "Tp {tp_s} s: {}", out.outcome);
        }
        let both = |c| (rms(judged(&head, c)), rms(judged(&following, c)));
        let (pitch, heave, acc) = (both("pitch"), both("heave_up"), both("bridge.acc_up"));
        println!(
            "Tp {tp_s} s, head | following: pitch {:.2} | {:.2} deg, heave {:.3} | {:.3} m, bridge {:.3} | {:.3} m/s2, contacts {} | {}",
            pitch.0.to_degrees(), pitch.1.to_degrees(), heave.0, heave.1, acc.0, acc.1,
            head.record.contacts.len(), following.record.contacts.len()
        );
        assert!(pitch.1 > pitch.0 && heave.1 > heave.0 && acc.0 > acc.1);
    }
}

/// Twice as many frequencies in the radiation tables change the ride little.
///
/// Tolerance of the job: 3 % of RMS heave, pitch and vertical acceleration.
#[test]
fn twice_the_frequencies_change_the_ride_little() {
    let w = &craft().hydro.strips.omega_rad_s;
    let mut fine: Vec<f64> = w
        .windows(2)
        .flat_map(|p| [p[0], (p[0] * p[1]).sqrt()])
        .collect();
    fine.extend(w.last());
    let doubled = model(&PhysicsSpec {
        frequencies_rad_s: Some(fine),
        ..PhysicsSpec::default()
    });
    let mut worst = 0.0_f64;
    for (speed_kn, mu_deg, tp_s) in [
        (0.0, 180.0, 8.0),
        (0.0, 90.0, 7.0),
        (8.0, 135.0, 7.0),
        (16.0, 180.0, 7.0),
        (16.0, 45.0, 8.0),
        (16.0, 0.0, 7.0),
    ] {
        let [a, b] = [craft(), &doubled].map(|m| {
            let mut sea = Sea::of(m, speed_kn, mu_deg, 1.0, tp_s);
            sea.duration_s = 600.0;
            sea.run(&mut *fixed())
        });
        for c in ["heave_up", "pitch", "bridge.acc_up", "survey lab.acc_up"] {
            let change = (rms(judged(&b, c)) / rms(judged(&a, c)) - 1.0).abs();
            worst = worst.max(change);
            assert!(change < 0.03, "{speed_kn} kn mu {mu_deg} {c}: {change}");
        }
    }
    println!("largest change {:.2} %", 100.0 * worst);
}

/// Above the divergence speed the run ends with time, state and reason.
#[test]
fn unstable_craft_ends_with_a_reason() {
    let bare = model(&PhysicsSpec {
        surfaces: false,
        ..PhysicsSpec::default()
    });
    // bare hull above 15 kn; the whole craft above 28 kn
    for (model, speed_kn) in [(&bare, 16.0), (&bare, 18.0), (craft(), 32.0)] {
        let (mut plant, course) = (model.plant(kn(speed_kn), &mean_held()).unwrap(), mean_held());
        ideal_servos(&mut plant);
        let mut x = vec![0.0; plant.layout().len()];
        x[6] = plant.speed_m_s;
        x[4] = 1e-3;
        let thrust = plant.steady.resistance_n(plant.speed_m_s) / plant.shafts.len() as f64;
        for t in plant.layout().thrust.clone() {
            x[t] = thrust;
        }
        let trim = trim::level(&plant).unwrap_or_else(|_| Trim {
            z_m: 0.0,
            theta_rad: 0.0,
            surface_rad: vec![0.0; plant.surfaces.len()],
            thrust_n: vec![thrust; plant.shafts.len()],
            forward_rad: 0.0,
            aft_rad: 0.0,
            limited: false,
            range_left_rad: Vec::new(),
            x,
        });
        let plant = Arc::new(plant);
        let timing = Timing::new(600.0, 0.0, STEP_S, 0.1, 0.1).unwrap();
        let mut p = parts(model, &plant, &trim, &Realisation::calm(), &course, timing);
        p.start[4] += 1e-3;
        let out = run(&Case::new(p).unwrap(), &mut *fixed());
        println!("{speed_kn} kn: {}", out.outcome);
    }
}
