//! Cross terms (Coriolis, Munk) of the momentum equations in body axes.
//!
//! # Equation
//! ```text
//! M = [ m I , -m S(c) ; m S(c) , I_o ],   M nu' + cross(P) = F,   P = M nu
//! cross(P) = [ Omega x P_lin ; Omega x P_ang + v x P_lin ]
//! ```
//! The same cross terms with the momentum of the water are Kirchhoff's equations: they hold the
//! Munk moments and all speed terms of strip theory with pointed ends.
//!
//! # Symbols
//! m mass (kg), c centre of gravity from O (m), I_o inertia about O (kg m2), nu = (v, Omega) body
//! velocities of O, P momentum (kg m/s) and moment of momentum about O (kg m2/s).
//!
//! # Valid when
//! The body is rigid; liquids in tanks move with it.
//!
//! # Source
//! Lamb (1932), Hydrodynamics, sections 121 to 124 (impulse equations); Fossen (2011), Handbook of
//! Marine Craft Hydrodynamics and Motion Control, section 3.3 (matrix form).
//!
//! # Checked by
//! `published_coriolis_and_acceleration`, `torque_free_asymmetric_top`.

use nalgebra::{Matrix6, Vector3, Vector6};

use crate::frames::skew;

/// Cross terms of the momentum equations in body axes: subtract them from the forces.
pub fn momentum_cross(nu: &Vector6<f64>, momentum: &Vector6<f64>) -> Vector6<f64> {
    let v = Vector3::new(nu[0], nu[1], nu[2]);
    let w = Vector3::new(nu[3], nu[4], nu[5]);
    let p = Vector3::new(momentum[0], momentum[1], momentum[2]);
    let l = Vector3::new(momentum[3], momentum[4], momentum[5]);
    let f = w.cross(&p);
    let m = w.cross(&l) + v.cross(&p);
    Vector6::new(f.x, f.y, f.z, m.x, m.y, m.z)
}

/// Derivative of [`momentum_cross`] with `P = a nu + pi` at (`nu`, `momentum`): the part through
/// `nu` at constant momentum. Add `momentum_cross_by_momentum(nu) * dP` for the rest.
pub fn momentum_cross_by_velocity(momentum: &Vector6<f64>) -> Matrix6<f64> {
    let p = skew(&Vector3::new(momentum[0], momentum[1], momentum[2]));
    let l = skew(&Vector3::new(momentum[3], momentum[4], momentum[5]));
    let mut d = Matrix6::zeros();
    d.fixed_view_mut::<3, 3>(0, 3).copy_from(&-p);
    d.fixed_view_mut::<3, 3>(3, 0).copy_from(&-p);
    d.fixed_view_mut::<3, 3>(3, 3).copy_from(&-l);
    d
}

/// Derivative of [`momentum_cross`] through the momentum at constant velocity.
pub fn momentum_cross_by_momentum(nu: &Vector6<f64>) -> Matrix6<f64> {
    let v = skew(&Vector3::new(nu[0], nu[1], nu[2]));
    let w = skew(&Vector3::new(nu[3], nu[4], nu[5]));
    let mut d = Matrix6::zeros();
    d.fixed_view_mut::<3, 3>(0, 0).copy_from(&w);
    d.fixed_view_mut::<3, 3>(3, 0).copy_from(&v);
    d.fixed_view_mut::<3, 3>(3, 3).copy_from(&w);
    d
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3;

    use crate::geometry::mass::MassProperties;

    fn body(m: f64, cg: [f64; 3], inertia_o: [f64; 3]) -> MassProperties {
        let cg_m = Vector3::from(cg);
        let s = skew(&cg_m);
        let inertia_cg_kg_m2 = Matrix3::from_diagonal(&Vector3::from(inertia_o)) + s * s * m;
        MassProperties {
            mass_kg: m,
            cg_m,
            inertia_cg_kg_m2,
            free_surface_roll_nm: 0.0,
            free_surface_pitch_nm: 0.0,
        }
    }

    #[test]
    fn published_coriolis_and_acceleration() {
        // references/G_rigid_body.json rb.S (Fossen 2011, evaluated from the formula)
        let b = body(1000.0, [0.2, 0.0, -0.5], [800.0, 3000.0, 3200.0]);
        let m = b.matrix_about_o();
        let nu = Vector6::new(5.0, 0.5, -0.2, 0.1, -0.05, 0.2);
        let c = momentum_cross(&nu, &(m * nu));
        let want = Vector6::new(-108.5, 1024.0, 310.25, 508.0, -63.0, 193.0);
        assert!((c - want).norm() < 1e-9, "{c}"); // printed exactly
        let a = -m.try_inverse().unwrap() * c;
        let want = Vector6::new(
            0.1186845,
            -1.0287963,
            -0.3061762,
            0.0079976852,
            0.020369004,
            0.0039872685,
        );
        assert!((a - want).norm() < 5e-8, "{a}"); // printed digits
        assert!(nu.dot(&c).abs() < 1e-9, "no power in the cross terms");
    }

    #[test]
    fn derivatives_agree_with_central_differences() {
        let b = body(1000.0, [0.2, 0.1, -0.5], [800.0, 3000.0, 3200.0]);
        let m = b.matrix_about_o();
        let nu = Vector6::new(5.0, 0.5, -0.2, 0.1, -0.05, 0.2);
        let p = m * nu;
        let d = momentum_cross_by_velocity(&p) + momentum_cross_by_momentum(&nu) * m;
        let h = 1e-4; // the terms are quadratic: a central difference is exact up to rounding
        for j in 0..6 {
            let mut e = Vector6::zeros();
            e[j] = h;
            let (a, c) = (nu + e, nu - e);
            let numeric = (momentum_cross(&a, &(m * a)) - momentum_cross(&c, &(m * c))) / (2.0 * h);
            assert!(
                (numeric - d.column(j)).norm() < 1e-6 * (1.0 + numeric.norm()),
                "{j}"
            );
        }
    }
}
