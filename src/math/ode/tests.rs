//! Test problems with known solutions, shared by all steppers.

use super::*;

/// A problem, its start and its solution at `end_s`.
struct Known {
    name: &'static str,
    start: Vec<f64>,
    end_s: f64,
    rate: fn(f64, &[f64], &mut [f64]),
    solution: Vec<f64>,
    /// Error allowed for the fixed step of `H_S`: h^4 times the fifth derivative, rounded up.
    tol_rk4: f64,
}

const H_S: f64 = 0.01;

/// Forced heave: x'' + 2 z w x' + w^2 x = cos(s t), started on its steady state.
const HEAVE: (f64, f64, f64) = (0.1, 0.9, 1.3);

fn heave_steady(t: f64) -> Vec<f64> {
    let (z, w, s) = HEAVE;
    let h = num_complex::Complex64::new(w * w - s * s, 2.0 * z * w * s).inv();
    let e = num_complex::Complex64::from_polar(1.0, s * t) * h;
    vec![e.re, (e * num_complex::Complex64::new(0.0, s)).re]
}

fn problems() -> Vec<Known> {
    vec![
        Known {
            name: "decay",
            start: vec![1.0],
            end_s: 2.0,
            rate: |_, x, dx| dx[0] = -x[0],
            solution: vec![(-2.0_f64).exp()],
            tol_rk4: 1e-10,
        },
        Known {
            name: "oscillator",
            start: vec![1.0, 0.0],
            end_s: 10.0,
            rate: |_, x, dx| {
                dx[0] = x[1];
                dx[1] = -x[0];
            },
            solution: vec![10.0_f64.cos(), -(10.0_f64.sin())],
            tol_rk4: 2e-9,
        },
        Known {
            // eigenvalues -1 and -50: the fast one sets the largest step
            name: "stiff pair",
            start: vec![2.0, 0.0],
            end_s: 1.0,
            rate: |_, x, dx| {
                dx[0] = -25.5 * x[0] + 24.5 * x[1];
                dx[1] = 24.5 * x[0] - 25.5 * x[1];
            },
            solution: vec![
                (-1.0_f64).exp() + (-50.0_f64).exp(),
                (-1.0_f64).exp() - (-50.0_f64).exp(),
            ],
            tol_rk4: 1e-9,
        },
        Known {
            name: "forced heave",
            start: heave_steady(0.0),
            end_s: 10.0,
            rate: |t, x, dx| {
                let (z, w, s) = HEAVE;
                dx[0] = x[1];
                dx[1] = -2.0 * z * w * x[1] - w * w * x[0] + (s * t).cos();
            },
            solution: heave_steady(10.0),
            tol_rk4: 2e-9,
        },
        Known {
            // the input switches on the grid; the caller steps to the edge
            name: "switch event",
            start: vec![0.0],
            end_s: 2.0,
            rate: |t, x, dx| dx[0] = -x[0] + if t < 1.0 { 1.0 } else { 0.0 },
            solution: vec![(1.0 - (-1.0_f64).exp()) * (-1.0_f64).exp()],
            tol_rk4: 1e-10,
        },
    ]
}

/// Fixed steps; a switch takes the value of the span it begins.
fn by_rk4(p: &Known, steps: u32) -> Vec<f64> {
    let h = p.end_s / f64::from(steps);
    let mut x = p.start.clone();
    let mut method = Rk4::new(x.len());
    for k in 0..steps {
        let t = f64::from(k) * h;
        method.step(h, &mut x, |stage, x, dx| {
            let at = match stage {
                Stage::Start => t,
                Stage::Middle => t + 0.5 * h,
                Stage::End => t + h * (1.0 - 1e-12),
            };
            (p.rate)(at, x, dx);
        });
    }
    x
}

fn error(p: &Known, x: &[f64]) -> f64 {
    x.iter()
        .zip(&p.solution)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max)
}

#[test]
fn five_known_problems() {
    for p in problems() {
        let x = by_rk4(&p, (p.end_s / H_S).round() as u32);
        let e = error(&p, &x);
        assert!(e < p.tol_rk4, "{}: {e:e}", p.name);
    }
}

#[test]
fn fourth_order_by_halving() {
    for p in problems() {
        let fast = if p.name == "stiff pair" { 4.0 } else { 1.0 };
        let steps = (fast * p.end_s / 0.1).round() as u32;
        let coarse = error(&p, &by_rk4(&p, 2 * steps));
        let fine = error(&p, &by_rk4(&p, 4 * steps));
        let order = (coarse / fine).log2();
        // asymptotic order 4; 0.15 for the next term of the series at these steps
        assert!((order - 4.0).abs() < 0.15, "{}: order {order}", p.name);
    }
}

#[test]
fn reference_meets_known_problems() {
    for p in problems() {
        let mut x = p.start.clone();
        let mut method = Reference::new(Tolerance::default());
        // restarted at each second, as the simulator does at each sample
        let spans = p.end_s.round() as u32;
        for k in 0..spans {
            let t = f64::from(k);
            method
                .advance(t, t + 1.0, &mut x, |at, x, dx| {
                    // rates are sided: stay inside the span
                    (p.rate)(at.min(t + 1.0 - 1e-13), x, dx);
                })
                .unwrap();
        }
        let e = error(&p, &x);
        // tolerance per step times the number of steps
        assert!(e < 2e-8, "{}: {e:e}", p.name);
        assert!(method.evaluations() > 0);
    }
}

#[test]
fn reference_refuses_not_a_number() {
    let mut x = vec![1.0];
    let mut method = Reference::new(Tolerance::default());
    assert!(
        method
            .advance(0.0, 1.0, &mut x, |_, _, dx| dx[0] = f64::NAN)
            .is_err()
    );
}
