//! Limits at zero and infinite frequency: ids ub.*, lewis.*, and the exact values of list B's head.

use std::f64::consts::PI;

use super::close;
use super::shapes::{
    circle_and_strut, floating_box, half_ellipse, lewis, omega, semicircle, solver, solver_of,
};

/// Semicircle: heave pi/2 at infinity, sway pi/2 at zero and 4/pi^2 of that at infinity.
#[test]
fn limits_of_the_semicircle() {
    let s = solver(&semicircle(40.0));
    let (z, i) = (s.limit_zero().unwrap(), s.limit_infinite().unwrap());
    close(
        "heave, infinite",
        i.isolated[1][1] / 2.0,
        PI / 2.0,
        0.002,
        0.0,
    );
    close(
        "sway, zero",
        z.regular.isolated[0][0] / 2.0,
        PI / 2.0,
        0.002,
        0.0,
    );
    close(
        "sway, infinite",
        i.isolated[0][0] / 2.0,
        2.0 / PI,
        0.002,
        0.0,
    );
    // b33 -> rho w (2a)^2, that is 8/pi of rho pi a^2/2 w
    close(
        "b33/w",
        z.damping_over_omega.isolated[1][1] / PI,
        8.0 / PI,
        0.002,
        0.0,
    );
}

/// ub.ellipse: half of m22 = pi a^2 (heave, infinite) and of m11 = pi b^2 (sway, zero).
#[test]
fn limits_of_the_half_ellipse() {
    let (a, b) = (2.0, 0.5);
    let s = solver(&half_ellipse(20.0, a, b));
    let (z, i) = (s.limit_zero().unwrap(), s.limit_infinite().unwrap());
    close("heave", i.isolated[1][1] / 2.0, 12.566371 / 2.0, 0.002, 0.0);
    // the flat ellipse ends in a small radius at the waterline
    close(
        "sway",
        z.regular.isolated[0][0] / 2.0,
        PI * b * b / 2.0,
        0.01,
        0.0,
    );
}

/// ub.square: half of 4.7537585 both ways; the re-entrant corners converge with h^(4/3), and
/// extrapolation with that power meets the exact value to 0.2 %.
#[test]
fn limits_of_the_box() {
    let value = |n: usize| {
        let s = solver_of(&floating_box(20.0, 1.0, 1.0), n);
        [
            s.limit_infinite().unwrap().isolated[1][1],
            s.limit_zero().unwrap().regular.isolated[0][0],
        ]
    };
    let (coarse, fine) = (value(96), value(192));
    let r = 2.0_f64.powf(4.0 / 3.0);
    for j in 0..2 {
        close("box", coarse[j], 4.7537585, 0.015, 0.0);
        close(
            "box, extrapolated",
            (r * fine[j] - coarse[j]) / (r - 1.0),
            4.7537585,
            0.002,
            0.0,
        );
    }
}

/// lewis.b1.T1.s0.8, lewis.b1.T2.s0.9, lewis.b2.T1.s0.7: a33 and a22 at infinity.
#[test]
fn limits_of_lewis_sections() {
    for (a1, a3, m, a33, a22) in [
        (0.0, -0.009_296_636_5, 1.0093839, 1.6008299, 0.636919),
        (-0.31161064, -0.065168066, 1.6045665, 1.968003, 2.5836),
        (0.34947627, 0.048428807, 1.4307123, 5.8780021, 0.65292),
    ] {
        let i = solver(&lewis(20.0, a1, a3, m)).limit_infinite().unwrap();
        close("lewis a33", i.isolated[1][1] / 2.0, a33, 0.004, 0.0);
        close("lewis a22", i.isolated[0][0] / 2.0, a22, 0.004, 0.0);
    }
}

/// A and B of the full problem run into both limits, twin and isolated, all modes.
#[test]
fn solution_runs_into_both_limits() {
    for c in [semicircle(3.0), circle_and_strut(5.0, 2.0, 0.4)] {
        let s = solver(&c);
        let (z, i) = (s.limit_zero().unwrap(), s.limit_infinite().unwrap());
        for k in [1e-3_f64, 1e-6, 1e-9, 1e-14] {
            let w = omega(k);
            let flow = s.solve(w, 1.0).unwrap();
            let near = 40.0 * k.sqrt().max(1e-7);
            for (p, r, l, d) in [
                (
                    &flow.twin,
                    z.regular.twin,
                    z.log_k.twin,
                    z.damping_over_omega.twin,
                ),
                (
                    &flow.isolated,
                    z.regular.isolated,
                    z.log_k.isolated,
                    z.damping_over_omega.isolated,
                ),
            ] {
                for m in 0..3 {
                    let want = r[m][m] + l[m][m] * k.ln();
                    close(&format!("a{m} at k {k}"), p.a[m][m], want, near, 1e-6);
                    close(
                        &format!("b{m} at k {k}"),
                        p.b[m][m] / w,
                        d[m][m],
                        near,
                        near * want,
                    );
                }
            }
        }
        // sway comes in slowly, with ln K/K
        let off = |k: f64, m: usize| {
            let p = s.solve(omega(k), 1.0).unwrap().isolated;
            (p.a[m][m] / i.isolated[m][m] - 1.0).abs()
        };
        assert!(off(60.0, 1) < 0.015, "heave, short waves: {}", off(60.0, 1));
        assert!(
            off(60.0, 0) < 0.5 * off(12.0, 0),
            "sway {} {}",
            off(60.0, 0),
            off(12.0, 0)
        );
    }
    // Ursell: the logarithm's factor is (2a)^2/pi per hull
    let z = solver(&semicircle(40.0)).limit_zero().unwrap();
    close("log", z.log_k.isolated[1][1] / 2.0, -4.0 / PI, 0.002, 0.0);
}
