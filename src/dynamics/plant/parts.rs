//! Parts of the plant that are data alone.

use nalgebra::{Matrix6, Vector3};

/// A propulsor as the plant sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Shaft {
    /// Name.
    pub name: String,
    /// Where the thrust acts, m from O.
    pub r_m: Vector3<f64>,
    /// Greatest thrust, N.
    pub max_thrust_n: f64,
    /// Time constant, s.
    pub time_constant_s: f64,
}

/// Springs and dampers that lead the craft along its mean course: F = -K (x, y, psi) - D (rates).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanHold {
    /// Stiffness, N/m, N, N m.
    pub spring: Matrix6<f64>,
    /// Damping, N s/m, N s, N m s.
    pub damper: Matrix6<f64>,
}
