//! The true motion of the craft's points at an instant.
//!
//! # Equation
//! ```text
//! a_P = v' + omega x v + omega' x r + omega x (omega x r)        body axes, relative to the earth
//! f_P = a_P - R^T (0, 0, g)                                      what an accelerometer reads
//! acc_up   = -(R a_P)_z            earth-fixed, up positive
//! felt_fwd = f_x, felt_stbd = f_y, felt_up = -f_z - g            deck axes, gravity's share included
//! rise     = -(z_O + (R r)_z - r_z)                              up from the even keel at design draught
//! ```
//!
//! # Symbols
//! v, omega velocity of O and body rates; v', omega' their derivatives in body axes; r the point
//! from O; R body to earth; z_O depth of O below its place at the design waterline (m).
//!
//! `felt_stbd` is the lateral force estimator (sway acceleration less g cos(theta) sin(phi)): a craft
//! that heels to starboard at rest reads -g sin(phi), the deck pushes its crew to port.
//!
//! # Source
//! R. Graham (1990), Naval Engineers Journal 102(2), 65: lateral force estimator. Kinematics of a
//! rotating frame: any textbook of mechanics.
//!
//! # Checked by
//! `rest_reads_gravity`, `lever_arm_and_centripetal`, `heel_at_rest_pushes_to_port`.

use nalgebra::{Matrix3, Vector3};

use crate::dynamics::state::StateLayout;
use crate::frames::body_to_earth;

/// The true motion at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Time, s from the start of the run.
    pub t_s: f64,
    /// O less the nominal track, earth axes, m.
    pub position_m: Vector3<f64>,
    /// phi, theta, psi, rad.
    pub euler_rad: Vector3<f64>,
    /// Velocity of O, body axes, m/s.
    pub v_m_s: Vector3<f64>,
    /// Body rates, rad/s.
    pub omega_rad_s: Vector3<f64>,
    /// Derivative of `v_m_s`, m/s2.
    pub v_dot_m_s2: Vector3<f64>,
    /// Derivative of `omega_rad_s`, rad/s2.
    pub omega_dot_rad_s2: Vector3<f64>,
    /// Derivative of `position_m`, m/s.
    pub position_rate_m_s: Vector3<f64>,
    /// Body to earth.
    pub earth: Matrix3<f64>,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
}

impl Truth {
    /// From a state and its derivative.
    pub fn new(t_s: f64, x: &[f64], dx: &[f64], g_m_s2: f64) -> Self {
        let v3 = |s: &[f64], at: usize| Vector3::new(s[at], s[at + 1], s[at + 2]);
        let (p, e, n) = (
            StateLayout::POSITION.start,
            StateLayout::EULER.start,
            StateLayout::NU.start,
        );
        let euler_rad = v3(x, e);
        Truth {
            t_s,
            position_m: v3(x, p),
            euler_rad,
            v_m_s: v3(x, n),
            omega_rad_s: v3(x, n + 3),
            v_dot_m_s2: v3(dx, n),
            omega_dot_rad_s2: v3(dx, n + 3),
            position_rate_m_s: v3(dx, p),
            earth: body_to_earth(euler_rad.x, euler_rad.y, euler_rad.z),
            g_m_s2,
        }
    }

    /// Acceleration of point `r_m` relative to the earth, body axes, m/s2.
    pub fn acceleration_m_s2(&self, r_m: &Vector3<f64>) -> Vector3<f64> {
        let w = &self.omega_rad_s;
        self.v_dot_m_s2
            + w.cross(&self.v_m_s)
            + self.omega_dot_rad_s2.cross(r_m)
            + w.cross(&w.cross(r_m))
    }

    /// What an accelerometer at `r_m` reads, body axes, m/s2.
    pub fn specific_force_m_s2(&self, r_m: &Vector3<f64>) -> Vector3<f64> {
        self.acceleration_m_s2(r_m) - self.down() * self.g_m_s2
    }

    /// Earth-fixed vertical acceleration of `r_m`, up positive, m/s2.
    pub fn acceleration_up_m_s2(&self, r_m: &Vector3<f64>) -> f64 {
        -self.down().dot(&self.acceleration_m_s2(r_m))
    }

    /// The earth's downward direction in body axes.
    pub fn down(&self) -> Vector3<f64> {
        self.earth.row(2).transpose()
    }

    /// Depth of point `r_m` below the calm surface, m.
    pub fn depth_m(&self, r_m: &Vector3<f64>) -> f64 {
        self.position_m.z + self.down().dot(r_m)
    }

    /// Rise of `r_m` above its place on an even keel at the design waterline, up positive, m.
    pub fn rise_m(&self, r_m: &Vector3<f64>) -> f64 {
        r_m.z - self.depth_m(r_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const G: f64 = 9.80665;
    const TOL: f64 = 1e-12; // rounding of a few products of order ten

    fn state(set: &[(usize, f64)], rates: &[(usize, f64)]) -> Truth {
        let (mut x, mut dx) = ([0.0; 12], [0.0; 12]);
        for &(i, v) in set {
            x[i] = v;
        }
        for &(i, v) in rates {
            dx[i] = v;
        }
        Truth::new(0.0, &x, &dx, G)
    }

    #[test]
    fn rest_reads_gravity() {
        let t = state(&[(4, 0.1)], &[]);
        let f = t.specific_force_m_s2(&Vector3::new(3.0, 1.0, -2.0));
        // bow up adds +g sin theta along x
        assert!((f - Vector3::new(G * 0.1_f64.sin(), 0.0, -G * 0.1_f64.cos())).norm() < TOL);
        assert!(t.acceleration_up_m_s2(&Vector3::zeros()).abs() < TOL);
    }

    #[test]
    fn lever_arm_and_centripetal() {
        // pitch rate 0.2 growing at 0.3 rad/s2, at speed: x = 10 m ahead
        let t = state(&[(10, 0.2), (6, 8.0)], &[(10, 0.3), (8, 0.5)]);
        let a = t.acceleration_m_s2(&Vector3::new(10.0, 0.0, 0.0));
        // z: w' - q u - q' x ; x: -q^2 x
        assert!((a - Vector3::new(-0.4, 0.0, 0.5 - 1.6 - 3.0)).norm() < TOL);
        assert!((t.acceleration_up_m_s2(&Vector3::new(10.0, 0.0, 0.0)) - 4.1).abs() < TOL);
    }

    #[test]
    fn heel_at_rest_pushes_to_port() {
        let t = state(&[(3, 0.1)], &[]);
        let f = t.specific_force_m_s2(&Vector3::zeros());
        assert!((f.y + G * 0.1_f64.sin()).abs() < TOL);
        // starboard goes down
        assert!(t.rise_m(&Vector3::new(0.0, 5.0, 0.0)) < 0.0);
    }
}
