//! The analytic linear model is the derivative of the plant.

mod common;

use common::{derivative, ideal_servos, mean_held, model};
use ridewright::linear::{assemble::assemble, trim};
use ridewright::spec::scenario::PhysicsSpec;
use ridewright::units::kn;

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
