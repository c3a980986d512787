//! Haskind against pressure, energy, convergence, invariances.

use std::f64::consts::FRAC_PI_2;

use super::close;
use super::shapes::{
    circle_and_strut, half_ellipse, omega, semicircle, solver, solver_of, submerged_circle,
};
use crate::geometry::contour::Contour;
use crate::hydro::section::SectionSolver;

/// Frequencies outside three half-widths of the twin resonances of the sections below.
const FREQUENCIES: [f64; 6] = [0.05, 0.1, 0.2, 0.9, 1.2, 1.5];

fn sections() -> [(&'static str, Contour, f64); 4] {
    [
        ("semicircle", semicircle(3.0), 1.0),
        ("submerged circle", submerged_circle(3.0, 1.5), 1.0),
        ("strut t 0.4", circle_and_strut(5.0, 2.0, 0.4), 1.0),
        ("strut t 0.2", circle_and_strut(5.0, 2.0, 0.2), 1.0),
    ]
}

/// Issue: within max(0.5 % of value, 0.1 % of rho g b) with b the half breadth.
#[test]
fn haskind_agrees_with_pressure_integration() {
    for (what, c, breadth) in sections() {
        let s = solver(&c);
        for ka in FREQUENCIES {
            let w = omega(ka);
            let flow = s.solve(w, 1.0).unwrap();
            for to_starboard in [true, false] {
                let mu = if to_starboard { FRAC_PI_2 } else { -FRAC_PI_2 };
                let direct = s.diffract(w, to_starboard, 1.0).unwrap();
                for (v, p) in [&flow.twin, &flow.isolated].into_iter().enumerate() {
                    let f = s.wave_force(p, w, w, mu, 1.0);
                    for (j, direct) in direct[v].iter().enumerate() {
                        let haskind = f.froude_krylov[j] + f.diffraction[j];
                        let off = (haskind - direct).norm();
                        let lever = if j == 2 { c.centre_y_m } else { 1.0 };
                        let allowed = (0.005 * direct.norm()).max(0.001 * breadth * lever);
                        assert!(
                            off < allowed,
                            "{what} ka {ka} variant {v} mode {j}: {haskind} {off:e} {allowed:e}"
                        );
                    }
                }
            }
        }
    }
}

/// Damping from pressure equals the radiated energy: 0.5 % or 0.1 % of rho g b per unit of w.
#[test]
fn damping_is_the_radiated_energy() {
    for (what, c, breadth) in sections() {
        let s = solver(&c);
        for ka in FREQUENCIES {
            let w = omega(ka);
            let flow = s.solve(w, 1.0).unwrap();
            for p in [&flow.twin, &flow.isolated] {
                let pressure = s.pressure_damping(p, w);
                for (j, row) in pressure.iter().enumerate() {
                    let lever = if j == 2 { c.centre_y_m.powi(2) } else { 1.0 };
                    close(
                        &format!("{what} ka {ka} mode {j}"),
                        row[j],
                        p.b[j][j],
                        0.005,
                        0.001 * breadth * lever / w,
                    );
                }
            }
        }
    }
}

/// Order from three meshes in the ratio 2: log2 of the ratio of differences.
fn order(c: &Contour, n: usize, value: &dyn Fn(&SectionSolver) -> f64) -> f64 {
    let v: Vec<f64> = [n, 2 * n, 4 * n]
        .iter()
        .map(|&n| value(&solver_of(c, n)))
        .collect();
    ((v[1] - v[0]) / (v[2] - v[1])).abs().log2()
}

/// Issue: at least 1.8 on smooth sections, 1.3 on strut-hull ones.
#[test]
fn order_of_convergence() {
    let a = |j: usize, ka: f64| {
        move |s: &SectionSolver| s.solve(omega(ka), 1.0).unwrap().isolated.a[j][j]
    };
    for (what, c, least) in [
        ("semicircle", semicircle(9.0), 1.8),
        ("half ellipse", half_ellipse(9.0, 0.6, 1.4), 1.8),
        ("submerged circle", submerged_circle(9.0, 1.5), 1.8),
        ("strut t 0.4", circle_and_strut(9.0, 2.0, 0.4), 1.3),
        ("strut t 0.1", circle_and_strut(9.0, 2.0, 0.1), 1.3),
    ] {
        for j in [0, 1] {
            let got = order(&c, 48, &a(j, 0.4));
            println!("{what}, mode {}: order {got:.2}", j + 2);
            assert!(got > least, "{what}, mode {}: order {got}", j + 2);
        }
    }
}

/// Froude: lengths by L, frequencies by 1/sqrt(L).
#[test]
fn froude_scaling() {
    let c = circle_and_strut(5.0, 2.0, 0.4);
    let l = 3.7_f64;
    let mut big = c.clone();
    big.area_m2 *= l * l;
    for p in big.pieces.iter_mut().flatten() {
        *p = [p[0] * l, p[1] * l];
    }
    let (one, two) = (solver(&c), solver(&big));
    let (p, q) = (
        one.solve(0.8, 9.81).unwrap().twin,
        two.solve(0.8 / l.sqrt(), 9.81).unwrap().twin,
    );
    for i in 0..3 {
        for j in 0..3 {
            let power = 2 + i32::from(i == 2) + i32::from(j == 2);
            close("a", q.a[i][j], p.a[i][j] * l.powi(power), 1e-9, 1e-9);
            close(
                "b",
                q.b[i][j] * l.sqrt(),
                p.b[i][j] * l.powi(power),
                1e-9,
                1e-9,
            );
        }
    }
}

/// Seen in a mirror, waves from the other side give the opposite sway and roll, the same heave.
#[test]
fn mirrored_waves_mirror_the_force() {
    let s = solver(&circle_and_strut(5.0, 2.0, 0.4));
    let p = s.solve(0.7, 9.81).unwrap().twin;
    let (f, g) = (
        s.wave_force(&p, 0.9, 0.7, 0.6, 9.81),
        s.wave_force(&p, 0.9, 0.7, -0.6, 9.81),
    );
    for (j, sign) in [(0, -1.0), (1, 1.0), (2, -1.0)] {
        assert!((f.froude_krylov[j] - g.froude_krylov[j] * sign).norm() < 1e-10);
        assert!((f.diffraction[j] - g.diffraction[j] * sign).norm() < 1e-10);
    }
}

/// Overtaking waves: conjugate potentials and the sign of w_e, so that the part of the force with
/// the relative acceleration changes sign and the part with the relative velocity stays.
#[test]
fn overtaking_waves_conjugate() {
    let s = solver(&circle_and_strut(5.0, 2.0, 0.4));
    let p = s.solve(0.3, 9.81).unwrap().isolated;
    let (f, g) = (
        s.wave_force(&p, 0.9, 0.3, 0.0, 9.81),
        s.wave_force(&p, 0.9, -0.3, 0.0, 9.81),
    );
    for j in 0..3 {
        assert!((f.froude_krylov[j] - g.froude_krylov[j]).norm() < 1e-14);
    }
    assert!((f.diffraction[1].conj() + g.diffraction[1]).norm() < 1e-12);
    let slow = s.solve(1e-4, 9.81).unwrap().isolated;
    let still = s.wave_force(&slow, 0.9, 1e-4, 0.4, 9.81).diffraction[1];
    assert!(still.norm() < 1e-2);
}

/// Roll of isolated hulls about O is heave times the lever plus the hull's own roll.
#[test]
fn isolated_roll_is_heave_with_a_lever() {
    let (near, far) = (solver(&semicircle(4.0)), solver(&semicircle(7.0)));
    let (p, q) = (
        near.solve(0.9, 1.0).unwrap().isolated,
        far.solve(0.9, 1.0).unwrap().isolated,
    );
    close("a33", p.a[1][1], q.a[1][1], 1e-9, 0.0);
    close(
        "a44",
        q.a[2][2] - p.a[2][2],
        (49.0 - 16.0) * p.a[1][1],
        1e-6,
        0.0,
    );
    close(
        "b44",
        q.b[2][2] - p.b[2][2],
        (49.0 - 16.0) * p.b[1][1],
        1e-6,
        0.0,
    );
}
