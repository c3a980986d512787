//! Submerged circle: reference ids subc.h*.ka*, subc.lim.h*.

use std::f64::consts::{FRAC_PI_2, PI};

use super::close;
use super::reference::{SUBMERGED, SUBMERGED_LIMITS};
use super::shapes::{omega, solver, submerged_circle};

#[test]
fn submerged_circle_added_mass_and_damping() {
    for [h, ka, a, b, _, _] in SUBMERGED {
        let s = solver(&submerged_circle(9.0, h));
        let w = omega(ka);
        let p = s.solve(w, 1.0).unwrap().isolated;
        for j in [0, 1] {
            let what = format!("mode {} h {h} ka {ka}", j + 2);
            close(&what, p.a[j][j] / (2.0 * PI), a, 0.005, 0.0);
            close(&what, p.b[j][j] / (2.0 * PI * w), b, 0.005, 2e-4);
        }
        close("a22 = a33", p.a[0][0], p.a[1][1], 1e-3, 0.0);
    }
}

#[test]
fn submerged_circle_exciting_force() {
    for [h, ka, _, _, x, _] in SUBMERGED {
        let s = solver(&submerged_circle(9.0, h));
        let w = omega(ka);
        let p = s.solve(w, 1.0).unwrap().isolated;
        let f = s.wave_force(&p, w, w, FRAC_PI_2, 1.0);
        let sum = 2.0 * (9.0 * ka).cos();
        for j in [0, 1] {
            let total = (f.froude_krylov[j] + f.diffraction[j]).norm();
            close(
                &format!("X h {h} ka {ka}"),
                total,
                (x * sum).abs(),
                0.005,
                1e-3,
            );
        }
    }
}

/// Dean (1948): no reflection; asked below 0.5 % of the incident amplitude. The transmitted phase
/// is the list's, conjugate for e^{+iwt}.
#[test]
fn submerged_circle_reflects_nothing() {
    for [h, ka, _, _, _, arg] in SUBMERGED {
        let s = solver(&submerged_circle(9.0, h));
        let p = s.solve(omega(ka), 1.0).unwrap().isolated;
        let even = -p.radiated[1][0] / p.radiated[1][1].conj();
        let odd = p.radiated[0][0] / p.radiated[0][1].conj();
        let reflected = (0.5 * (even + odd)).norm();
        assert!(reflected < 0.005, "h {h} ka {ka}: |R| = {reflected}");
        let transmitted = 0.5 * (even - odd);
        close("|T|", transmitted.norm(), 1.0, 1e-3, 0.0);
        let off = (transmitted.arg() + arg).rem_euclid(PI);
        assert!(
            off.min(PI - off) < 0.01,
            "h {h} ka {ka}: arg T {} {arg}",
            transmitted.arg()
        );
    }
}

#[test]
fn submerged_circle_limits() {
    for [h, zero, infinite] in SUBMERGED_LIMITS {
        let s = solver(&submerged_circle(9.0, h));
        let (z, i) = (s.limit_zero().unwrap(), s.limit_infinite().unwrap());
        for j in [0, 1] {
            close(
                "K0",
                z.regular.isolated[j][j] / (2.0 * PI),
                zero,
                0.003,
                0.0,
            );
            close("Kinf", i.isolated[j][j] / (2.0 * PI), infinite, 0.003, 0.0);
        }
        assert!(z.log_k.isolated[1][1].abs() < 1e-12);
    }
}
