//! The simulator in regular waves against the frequency domain.

mod common;

use std::sync::{Arc, OnceLock};

use common::*;
use num_complex::Complex64;
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::Plant;
use ridewright::frames::encounter_rad_s;
use ridewright::linear::assemble::{LinearModel, assemble};
use ridewright::linear::modes::poles;
use ridewright::linear::response::{WaveResponse, realised, tabulated};
use ridewright::linear::trim::Trim;
use ridewright::sim::case::{Case, Timing};
use ridewright::sim::run::run;
use ridewright::units::deg;

const STEP_S: f64 = 0.05;
/// Steepness k a of the waves.
const STEEPNESS: f64 = 0.0001;

fn linear_craft() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| model(&linear_physics()))
}

/// The craft at a speed, linearised.
struct At {
    plant: Arc<Plant>,
    trim: Trim,
    linear: LinearModel,
}

fn at(speed_kn: f64) -> At {
    let (plant, trim) = held_plant(linear_craft(), speed_kn);
    let linear = assemble(&plant, &trim.x, None);
    At {
        plant: Arc::new(plant),
        trim,
        linear,
    }
}

/// Complex amplitude per metre of the six motions of O in the simulator, started on `steady`.
fn simulated(at: &At, steady: &WaveResponse, omega: f64, mu: f64) -> [Complex64; 6] {
    let g = at.plant.g_m_s2;
    let amplitude = STEEPNESS * g / (omega * omega);
    let period = std::f64::consts::TAU / steady.omega_e_rad_s.abs();
    let steps = (4.0 * period / STEP_S).ceil();
    let timing = Timing::new(steps * STEP_S, 0.0, STEP_S, 0.1, STEP_S);
    let timing = timing.unwrap();
    let mut p = parts(
        linear_craft(),
        &at.plant,
        &at.trim,
        &regular(omega, mu, amplitude),
        &mean_held(),
        timing,
    );
    for (x, r) in p.start.iter_mut().zip(steady.state.iter()) {
        *x += amplitude * r.re;
    }
    let case = Case::new(p).unwrap();
    let out = run(&case, &mut *fixed());
    assert!(out.outcome.is_completed(), "{}", out.outcome);
    ["surge", "sway", "heave_up", "roll", "pitch", "yaw"].map(|name| {
        let sign = if name == "heave_up" { -1.0 } else { 1.0 };
        harmonic(judged(&out, name), STEP_S, steady.omega_e_rad_s) * (sign / amplitude)
    })
}

#[test]
fn regular_waves_meet_the_linear_model() {
    let names = ["surge", "sway", "heave", "roll", "pitch", "yaw"];
    for speed_kn in [0.0, 8.0, 16.0] {
        let at = at(speed_kn);
        for p in poles(&at.linear, &at.plant.mass).unwrap() {
            if p.value.re > -1e-3 {
                println!("{speed_kn} kn pole {} {}", p.name(), p.value);
            }
        }
        let tables = linear_craft().hydro.at_speed(at.plant.speed_m_s).unwrap();
        for mu_deg in [180.0, 135.0, 90.0, 45.0, 0.0] {
            let mu = deg(mu_deg);
            for omega in [0.45, 0.7, 1.0, 1.5] {
                let we = encounter_rad_s(omega, at.plant.speed_m_s, mu, at.plant.g_m_s2);
                if we.abs() < 0.1 {
                    continue;
                }
                let k = omega * omega / at.plant.g_m_s2;
                let r = realised(&at.linear, &at.plant, omega, mu).unwrap();
                let (a, b) = tables.radiation.at(we.abs());
                let t = tabulated(&at.linear, &at.plant, omega, mu, &a, &b).unwrap();
                let s = simulated(&at, &r, omega, mu);
                for j in 0..6 {
                    let unit = if j < 3 { 1.0 } else { k };
                    let (sim, lin, tab) = (s[j], r.motion()[j], t.motion()[j]);
                    if lin.norm() < 1e-6 * unit {
                        continue;
                    }
                    let q = sim / lin;
                    let qt = sim / tab;
                    let bad = (q.norm() - 1.0).abs() > 0.01 || q.arg().abs() > deg(2.0);
                    let badt = (qt - 1.0).norm() > 0.03;
                    if bad || badt {
                        println!(
                            "{speed_kn} kn mu {mu_deg} w {omega} we {we:.3} {}: |X| {:.4} sim/lin {:.4} {:.2} deg; sim/tab {:.4} {:.2} deg {}{}",
                            names[j],
                            lin.norm() / unit,
                            q.norm(),
                            q.arg().to_degrees(),
                            qt.norm(),
                            qt.arg().to_degrees(),
                            if bad { "LIN " } else { "" },
                            if badt { "TAB" } else { "" }
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn scratch_hold() {
    for period in [240.0, 120.0] {
        for speed_kn in [0.2, 1.0, 2.0, 4.0, 8.0, 12.0, 16.0, 20.0] {
            let plant = linear_craft()
                .plant(
                    ridewright::units::kn(speed_kn),
                    &ridewright::spec::scenario::CourseSpec::MeanHeld { spring_period_s: period },
                )
                .unwrap();
            let trim = ridewright::linear::trim::level(&plant).unwrap();
            let l = assemble(&plant, &trim.x, None);
            let p: Vec<String> = poles(&l, &plant.mass)
                .unwrap()
                .iter()
                .filter(|p| p.motion.is_some() && p.value.re > -0.06)
                .map(|p| format!("{} {:.4}", p.name(), p.value))
                .collect();
            println!("{period} s {speed_kn} kn: {p:?}");
        }
    }
    for speed_kn in [0.2, 1.0, 2.0, 4.0, 8.0, 12.0, 16.0, 20.0] {
            let mut plant = linear_craft()
                .plant(
                    ridewright::units::kn(speed_kn),
                    &ridewright::spec::scenario::CourseSpec::MeanHeld { spring_period_s: 120.0 },
                )
                .unwrap();
            plant.hold = None;
            let plant = plant.finish();
            let trim = ridewright::linear::trim::level(&plant).unwrap();
            let l = assemble(&plant, &trim.x, None);
            let p: Vec<String> = poles(&l, &plant.mass)
                .unwrap()
                .iter()
                .filter(|p| p.motion.is_some() && p.value.re > -0.06)
                .map(|p| format!("{} {:.4}", p.name(), p.value))
                .collect();
            println!("free {speed_kn} kn: {p:?}");
    }
    let at = at(0.0);
    for w in [0.45, 0.7, 1.0] {
        let t = linear_craft().hydro.at_speed(0.0).unwrap();
        let (a, b) = t.radiation.at(w);
        let (af, bf) = t.memory.coefficients(w);
        for (i, j) in [(1, 1), (1, 3), (3, 3), (5, 5), (1, 5)] {
            println!(
                "w {w} {i}{j}: A {:.4e} fit {:.4e} B {:.4e} fit {:.4e} M {:.3e}",
                a[(i, j)], af[(i, j)], b[(i, j)], bf[(i, j)], at.plant.mass[(i, j)]
            );
        }
    }
}
