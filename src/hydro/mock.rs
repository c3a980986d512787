//! A craft of closed-form sections for tests: strut and bulb with their far-field amplitudes.
//!
//! Damping from the far field of a thin strut over a small bulb, B = w/(rho g^2) X X^T with the
//! twin's interference exact for point sources. Not a solution of anything, but with the zeros,
//! humps and magnitudes of a small-waterplane craft, and positive semidefinite by construction.
//!
//! # Equation
//! `B = Sum over strips of w/(rho g^2) X X^T dx`, X the far-field force of the even and odd pair.
//!
//! # Source
//! Newman, J. N. (1962), J. Ship Res. 6(3): damping from the exciting force; the forces themselves
//! are invented.
//!
//! # Checked by
//! `mock_craft_meets_the_targets`.

use nalgebra::{Matrix6, Vector6};

use super::radiation::{RadiationTable, RawRadiation};

pub(crate) const RHO: f64 = 1025.0;
pub(crate) const G: f64 = 9.80665;

/// Zero-speed damping of the whole craft (twin or isolated) at a frequency.
pub(crate) fn damping(w: f64, twin: bool) -> Matrix6<f64> {
    let k = w * w / G;
    let (half, strut, b, depth, bulb, draught) = (14.0, 11.0, 6.0, 2.6, 4.6, 3.4);
    let mut sum = Matrix6::zeros();
    let n = 41;
    for i in 0..n {
        let x = -half + 2.0 * half * (f64::from(i) + 0.5) / f64::from(n);
        let dx = 2.0 * half / f64::from(n);
        let area = bulb * (1.0 - (x / half).powi(4));
        let xs: f64 = x + 0.7;
        let t = if xs.abs() < strut {
            1.2 * (1.0 - (xs / strut).powi(4))
        } else {
            0.0
        };
        let x3 = RHO * G * (t * (-0.5 * k).exp() - 2.0 * k * area * (-k * depth).exp());
        let wet = if t > 0.0 {
            2.0 * (1.0 - (-k * draught).exp()) / (1.0 / 1.5 + k)
        } else {
            0.0
        };
        let x2 = RHO * G * (wet + 2.0 * k * area * (-k * depth).exp());
        let (s, c) = (k * b).sin_cos();
        // far-field vectors (sway, heave, roll) of the even and odd combinations
        let lever = 1.9;
        let list: Vec<[f64; 3]> = if twin {
            vec![
                [0.0, 2.0 * x3 * c, 0.0],
                [2.0 * x2 * c, 0.0, -lever * 2.0 * x2 * c + 2.0 * b * x3 * s],
            ]
        } else {
            let r = std::f64::consts::SQRT_2;
            vec![
                [0.0, r * x3, 0.0],
                [r * x2, 0.0, -r * lever * x2],
                [0.0, 0.0, r * b * x3],
            ]
        };
        for v in list {
            let six = Vector6::new(0.0, v[0], v[1], v[2], -x * v[1], x * v[0]);
            sum += six * six.transpose() * (w / (RHO * G * G) * dx);
        }
    }
    sum
}

/// Frequencies of the tests, rad/s.
pub(crate) fn grid() -> Vec<f64> {
    super::strip::frequency_grid(28.0, G)
}

/// Infinite-frequency added mass about O, plausible magnitudes.
pub(crate) fn a_inf() -> Matrix6<f64> {
    let mut a = Matrix6::from_diagonal(&Vector6::new(4e3, 2.4e5, 2.2e5, 9.0e6, 1.1e7, 1.2e7));
    for (i, j, v) in [
        (1, 3, -5e5),
        (0, 4, 1e4),
        (2, 4, 1e5),
        (1, 5, -1e5),
        (3, 5, 1e5),
    ] {
        a[(i, j)] = v;
        a[(j, i)] = v;
    }
    a
}

pub(crate) fn raw() -> RawRadiation {
    let omega = grid();
    let table = |twin: bool| RadiationTable {
        omega_rad_s: omega.clone(),
        a: vec![a_inf(); omega.len()],
        b: omega.iter().map(|&w| damping(w, twin)).collect(),
        a_inf: a_inf(),
        a_zero: a_inf(),
    };
    RawRadiation {
        omega_rad_s: omega.clone(),
        twin: table(true),
        isolated: table(false),
    }
}
