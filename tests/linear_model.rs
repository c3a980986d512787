//! The analytic linear model is the derivative of the plant.

#![allow(clippy::unwrap_used)] // helpers of tests may fail loudly

mod common;

use common::{derivative, ideal_servos, mean_held, model};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use ridewright::hydro::viscous::harmonic_speed;
use ridewright::linear::regular_wave::{model_without_drag, response};
use ridewright::linear::{assemble::assemble, trim};
use ridewright::spec::scenario::PhysicsSpec;
use ridewright::units::{deg, kn};

/// Relative to the largest entry of the row: central differences of smooth curves with a step of
/// 1e-5 lose about ten digits to rounding; immersion tables are piecewise quadratic in heave.
const TOL_SMOOTH: f64 = 2e-5;

#[test]
fn linear_model_equals_central_difference() {
    let model = model(&PhysicsSpec {
        cross_flow_drag: false,
        ..PhysicsSpec::default()
    });
    // speeds off the rows of the resistance table, where its slope jumps
    for speed_kn in [0.0, 7.3, 16.4] {
        let mut plant = model.plant(kn(speed_kn), &mean_held()).expect("plant");
        ideal_servos(&mut plant);
        let trim = trim::level(&plant).expect("trim");
        let linear = assemble(&plant, &trim.x, None);
        let waves = vec![0.0; plant.channels().len()];
        let mut worst = (0.0, String::new());
        let names = plant.layout().names();
        let n = trim.x.len();
        for j in 0..n {
            // restoring is differenced over its table cells by the model itself
            let h = if (2..5).contains(&j) {
                2e-3
            } else {
                1e-5 * (1.0 + trim.x[j].abs())
            };
            let at = |sign: f64| {
                let mut x = trim.x.clone();
                x[j] += sign * h;
                derivative(&plant, &x, &waves, &trim.surface_rad, &trim.thrust_n)
            };
            let (up, down) = (at(1.0), at(-1.0));
            for i in 0..n {
                let numeric = (up[i] - down[i]) / (2.0 * h);
                let scale = linear
                    .a
                    .row(i)
                    .amax()
                    .max(linear.a.column(j).amax())
                    .max(1e-3);
                let error = (numeric - linear.a[(i, j)]).abs() / scale;
                if error > worst.0 {
                    worst = (
                        error,
                        format!(
                            "d {}' / d {} at {speed_kn} kn: {numeric:.6e} against {:.6e}",
                            names[i],
                            names[j],
                            linear.a[(i, j)]
                        ),
                    );
                }
            }
        }
        println!("{speed_kn} kn: worst {:.2e}, {}", worst.0, worst.1);
        assert!(worst.0 < TOL_SMOOTH, "{} {}", worst.0, worst.1);
    }
}

#[test]
fn inputs_enter_as_the_linear_model_says() {
    let model = model(&PhysicsSpec {
        cross_flow_drag: false,
        ..PhysicsSpec::default()
    });
    let mut plant = model.plant(kn(16.0), &mean_held()).expect("plant");
    ideal_servos(&mut plant);
    let trim = trim::level(&plant).expect("trim");
    let linear = assemble(&plant, &trim.x, None);
    let calm = vec![0.0; plant.channels().len()];
    let h = 1e-5; // the plant is linear in forces and nearly so in orbital velocities
    for j in 0..calm.len() {
        let at = |sign: f64| {
            let mut waves = calm.clone();
            waves[j] += sign * h;
            derivative(&plant, &trim.x, &waves, &trim.surface_rad, &trim.thrust_n)
        };
        let (up, down) = (at(1.0), at(-1.0));
        let column = linear.b_waves.column(j);
        let scale = column.amax();
        for i in 0..up.len() {
            let numeric = (up[i] - down[i]) / (2.0 * h);
            // forces of 1e-5 N leave accelerations near 1e-11: an absolute floor of rounding
            let tol = 1e-5 * scale + 1e-9;
            assert!(
                (numeric - column[i]).abs() < tol,
                "channel {j} state {i}: {numeric} {}",
                column[i]
            );
        }
    }
}

/// Waves near heave resonance at rest, where drag decides, and at speed.
const WAVES: [(f64, f64, f64); 3] = [(0.0, 180.0, 0.85), (0.0, 90.0, 0.5), (16.0, 45.0, 1.1)];

#[test]
fn drag_falls_away_with_the_amplitude() {
    let model = model(&PhysicsSpec::default());
    for (speed_kn, mu_deg, omega) in WAVES {
        let plant = model.plant(kn(speed_kn), &mean_held()).expect("plant");
        let trim = trim::level(&plant).expect("trim");
        let linear = model_without_drag(&plant, &trim.x);
        let at = |amplitude_m| {
            response(&linear, &plant, omega, deg(mu_deg), amplitude_m)
                .expect("a response")
                .motion()
        };
        let (none, tiny, whole) = (at(0.0), at(1e-7), at(1.0));
        for j in 0..6 {
            // drag is proportional to the amplitude: a relative change of the order of 1e-7 times
            // the resonant magnification
            assert!(
                (tiny[j] - none[j]).norm() < 1e-4 * none[j].norm() + 1e-9,
                "{j}"
            );
        }
        if speed_kn < 1.0 {
            let j = if mu_deg > 100.0 { 2 } else { 3 };
            assert!(
                whole[j].norm() < 0.95 * none[j].norm(),
                "drag takes off the peak of {j}"
            );
        }
    }
}

#[test]
fn the_answer_solves_its_own_equation() {
    let model = model(&PhysicsSpec::default());
    let amplitude_m = 1.0;
    for (speed_kn, mu_deg, omega) in WAVES {
        let plant = model.plant(kn(speed_kn), &mean_held()).expect("plant");
        let trim = trim::level(&plant).expect("trim");
        let linear = model_without_drag(&plant, &trim.x);
        let found = response(&linear, &plant, omega, deg(mu_deg), amplitude_m).expect("a response");
        // second way: the equivalent damping of that answer put into the linear model itself
        let orbital = plant.viscous.drag_orbital(omega, deg(mu_deg));
        let speeds: Vec<f64> = plant
            .viscous
            .drag_elements()
            .iter()
            .zip(&orbital)
            .map(|(e, o)| {
                let own: Complex64 = (0..6).map(|i| found.state[6 + i] * e.row[i]).sum();
                harmonic_speed(amplitude_m * (own - o).norm())
            })
            .collect();
        let damped = assemble(&plant, &trim.x, Some(&plant.viscous.drag_matrix(&speeds)));
        let mut channels = vec![Complex64::ZERO; plant.channels().len()];
        plant.channel_amplitudes(omega, deg(mu_deg), &mut channels);
        for (c, f) in
            channels
                .iter_mut()
                .zip(plant.viscous.drag_wave_force(omega, deg(mu_deg), &speeds))
        {
            *c += f; // the first six channels are the wave force
        }
        let complex = |m: &DMatrix<f64>| m.map(Complex64::from);
        let mut system = -complex(&damped.a);
        for i in 0..system.nrows() {
            system[(i, i)] += Complex64::new(0.0, found.omega_e_rad_s);
        }
        let forcing = complex(&damped.b_waves) * DVector::from_vec(channels);
        let want = system.lu().solve(&forcing).expect("regular");
        for j in 0..12 {
            let error = (found.state[j] - want[j]).norm();
            // the iteration ends at 1e-5 of the equivalent speeds
            assert!(
                error < 1e-3 * want[j].norm() + 1e-9,
                "{speed_kn} kn, state {j}: {error}"
            );
        }
    }
}
