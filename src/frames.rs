//! Axes, origins and signs: the one statement of them.
//!
//! # Axes
//! Body axes after SNAME (1950), Technical and Research Bulletin 1-5: x forward, y to starboard,
//! z down. Origin O: midships of the lower hulls (x = 0 of the craft file), centre plane, at the
//! design waterline. O is fixed in the craft for every loading. Earth axes: x north (along the
//! mean course at the start of a run), y east, z down from the calm surface.
//!
//! # Motions
//! Surge, sway, heave (down positive), roll (starboard down), pitch (bow up), yaw (bow to
//! starboard). Files give heights above the baseline, up positive; [`crate::geometry`] converts
//! them once to z.
//!
//! # Waves
//! Elevation is up positive although z is down. Wave heading mu is where the waves travel **to**,
//! relative to the bow, clockwise seen from above: 180 deg head seas, 0 following, 90 travels
//! to starboard (it meets the port side first). An elevation of a regular wave at (x, y) is
//! `zeta_a cos(omega_e t - k (x cos mu + y sin mu) + phase)` in axes moving with the craft,
//! `omega_e = omega_0 - k U cos mu`, signed.
//!
//! # Deflections
//! Right-handed about the stock axis `e`, whose y component is positive (z for a vertical
//! surface). The lift of a positive deflection acts along `n = e x x_hat`: trailing edge down gives
//! lift up; a rudder with its trailing edge to port gives force to starboard.
//!
//! # Sources with z up
//! S = diag(1,-1,-1,1,-1,-1) turns a coefficient matrix of a z-up, y-port source into ours:
//! A' = S A S.

use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// A mode of motion, in the order of every 6-vector and 6 by 6 matrix.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Dof {
    /// Along x, forward positive.
    Surge,
    /// Along y, starboard positive.
    Sway,
    /// Along z, down positive.
    Heave,
    /// About x, starboard down positive.
    Roll,
    /// About y, bow up positive.
    Pitch,
    /// About z, bow to starboard positive.
    Yaw,
}

impl Dof {
    /// All six, in order.
    pub const ALL: [Dof; 6] = [
        Dof::Surge,
        Dof::Sway,
        Dof::Heave,
        Dof::Roll,
        Dof::Pitch,
        Dof::Yaw,
    ];

    /// Row of this mode in vectors and matrices.
    pub const fn i(self) -> usize {
        self as usize
    }

    /// The trade's word for it, lower case.
    pub const fn name(self) -> &'static str {
        match self {
            Dof::Surge => "surge",
            Dof::Sway => "sway",
            Dof::Heave => "heave",
            Dof::Roll => "roll",
            Dof::Pitch => "pitch",
            Dof::Yaw => "yaw",
        }
    }

    /// True for surge, sway and heave.
    pub const fn is_translation(self) -> bool {
        self.i() < 3
    }
}

/// Force (N) and moment about O (N m), body axes, in [`Dof`] order.
pub type Wrench = Vector6<f64>;

/// The wrench about O of a force `f` (N) that acts at `r` (m from O).
pub fn wrench_at(r: &Vector3<f64>, f: &Vector3<f64>) -> Wrench {
    let m = r.cross(f);
    Vector6::new(f.x, f.y, f.z, m.x, m.y, m.z)
}

/// Velocity (m/s) of the craft's point `r` (m from O) when O moves with `nu` (m/s, rad/s).
pub fn velocity_at(nu: &Vector6<f64>, r: &Vector3<f64>) -> Vector3<f64> {
    let v = Vector3::new(nu[0], nu[1], nu[2]);
    let w = Vector3::new(nu[3], nu[4], nu[5]);
    v + w.cross(r)
}

/// Cross-product matrix: `skew(a) b = a x b`.
pub fn skew(a: &Vector3<f64>) -> Matrix3<f64> {
    Matrix3::new(0.0, -a.z, a.y, a.z, 0.0, -a.x, -a.y, a.x, 0.0)
}

/// Body-to-earth rotation Rz(psi) Ry(theta) Rx(phi).
pub fn body_to_earth(phi_rad: f64, theta_rad: f64, psi_rad: f64) -> Matrix3<f64> {
    let (sf, cf) = phi_rad.sin_cos();
    let (st, ct) = theta_rad.sin_cos();
    let (sp, cp) = psi_rad.sin_cos();
    Matrix3::new(
        cp * ct,
        cp * st * sf - sp * cf,
        cp * st * cf + sp * sf,
        sp * ct,
        sp * st * sf + cp * cf,
        sp * st * cf - cp * sf,
        -st,
        ct * sf,
        ct * cf,
    )
}

/// Euler angle rates (rad/s) from body rates p, q, r (rad/s), the craft standing as [`body_to_earth`]
/// says.
pub fn euler_rates(earth: &Matrix3<f64>, pqr: &Vector3<f64>) -> Vector3<f64> {
    // last row: -sin theta, cos theta sin phi, cos theta cos phi
    let (st, ct_sf, ct_cf) = (-earth[(2, 0)], earth[(2, 1)], earth[(2, 2)]);
    let ct = (ct_sf * ct_sf + ct_cf * ct_cf).sqrt();
    let across = (pqr.y * ct_sf + pqr.z * ct_cf) / ct;
    Vector3::new(
        pqr.x + across * st / ct,
        (pqr.y * ct_cf - pqr.z * ct_sf) / ct,
        across / ct,
    )
}

/// S of the module text: turns coefficients of a source with z up and y to port into ours.
pub fn from_z_up(a: &Matrix6<f64>) -> Matrix6<f64> {
    let s = Vector6::new(1.0, -1.0, -1.0, 1.0, -1.0, -1.0);
    Matrix6::from_fn(|i, j| s[i] * a[(i, j)] * s[j])
}

/// Encounter frequency (rad/s, signed) of a deep-water wave of frequency `omega_rad_s` that
/// travels to `mu_rad` past a craft with speed `speed_m_s`.
pub fn encounter_rad_s(omega_rad_s: f64, speed_m_s: f64, mu_rad: f64, g_m_s2: f64) -> f64 {
    omega_rad_s - omega_rad_s * omega_rad_s / g_m_s2 * speed_m_s * mu_rad.cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOL_ROUND: f64 = 1e-12; // a handful of rounded operations on numbers of order one

    #[test]
    fn z_up_couplings_change_sign_as_stated() {
        let a = Matrix6::from_element(1.0);
        let b = from_z_up(&a);
        for (i, j, want) in [
            (0, 2, -1.0),
            (0, 4, -1.0),
            (1, 3, -1.0),
            (3, 5, -1.0),
            (2, 4, 1.0),
            (1, 5, 1.0),
            (0, 0, 1.0),
            (4, 4, 1.0),
        ] {
            assert!((b[(i, j)] - want).abs() < TOL_ROUND, "{i}{j}");
        }
    }

    #[test]
    fn rotation_and_rates_meet_published_values() {
        // references/G_rigid_body.json, euler.10 (Fossen 2011, evaluated from the formula)
        let d = std::f64::consts::PI / 180.0;
        let r = body_to_earth(10.0 * d, 5.0 * d, 30.0 * d);
        assert!((r * r.transpose() - Matrix3::identity()).norm() < TOL_ROUND);
        let e = euler_rates(
            &body_to_earth(10.0 * d, 5.0 * d, 0.0),
            &Vector3::new(0.1, -0.05, 0.2),
        );
        // by hand: p + (q sin phi + r cos phi) tan theta
        let across = -0.05 * (10.0 * d).sin() + 0.2 * (10.0 * d).cos();
        assert!((e.x - (0.1 + across * (5.0 * d).tan())).abs() < TOL_ROUND);
        assert!((e.z - across / (5.0 * d).cos()).abs() < TOL_ROUND);
    }

    #[test]
    fn a_pure_pitch_rate_lifts_the_bow() {
        let nu = Vector6::new(0.0, 0.0, 0.0, 0.0, 0.1, 0.0);
        let v = velocity_at(&nu, &Vector3::new(10.0, 0.0, 0.0));
        assert!((v.z + 1.0).abs() < TOL_ROUND, "bow goes up, z down");
    }

    #[test]
    fn published_encounter_frequencies() {
        // references/A_waves.json enc.fwd.*
        for (w, u, mu, want) in [
            (0.8, 10.2889, 180.0_f64, 1.4714725),
            (0.8, 10.2889, 0.0, 0.12852748),
            (0.6, 12.8611, 60.0, 0.3639359),
            (1.2, 7.71667, 120.0, 1.7665546),
        ] {
            let got = encounter_rad_s(w, u, mu.to_radians(), 9.80665);
            assert!((got - want).abs() < 5e-7, "{got} {want}"); // printed digits
        }
    }
}
