//! Volumes, centres, waterplane moments, metacentric heights.

use nalgebra::{Matrix6, Vector3};

/// Hydrostatics at the design waterline, about O.
#[derive(Clone, Debug, PartialEq)]
pub struct Hydrostatics {
    /// Displaced volume, m3.
    pub volume_m3: f64,
    /// Displacement, kg.
    pub displacement_kg: f64,
    /// Volume of both lower hulls, m3.
    pub hull_volume_m3: f64,
    /// Centre of buoyancy from O, m.
    pub cb_m: Vector3<f64>,
    /// Waterplane area, m2.
    pub a_w_m2: f64,
    /// Centre of floatation forward of midships, m.
    pub lcf_m: f64,
    /// Longitudinal moment of inertia of the waterplane about its own centre, m4.
    pub i_l_m4: f64,
    /// Transverse moment of inertia of the waterplane about the centre plane, m4.
    pub i_t_m4: f64,
    /// Transverse metacentric height, free surfaces included, m.
    pub gm_t_m: f64,
    /// Longitudinal metacentric height, free surfaces included, m.
    pub gm_l_m: f64,
    /// Wetted area, m2.
    pub wetted_area_m2: f64,
    /// Restoring matrix about O with the weight included (N/m, N, N m): rows are forces for unit
    /// displacement, `F = -C eta`.
    pub c: Matrix6<f64>,
}
