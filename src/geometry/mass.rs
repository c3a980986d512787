//! Mass, centre of gravity, inertia, tanks.

use nalgebra::{Matrix3, Vector3};

/// Mass properties of a loading, about O where not said otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct MassProperties {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of gravity from O, m.
    pub cg_m: Vector3<f64>,
    /// Inertia about the centre of gravity, kg m2 (symmetric; products with the minus sign inside).
    pub inertia_cg_kg_m2: Matrix3<f64>,
    /// Loss of roll stiffness by free surfaces, sum of rho g i_T, N m/rad.
    pub free_surface_roll_nm: f64,
    /// Loss of pitch stiffness by free surfaces, sum of rho g i_L, N m/rad.
    pub free_surface_pitch_nm: f64,
}
