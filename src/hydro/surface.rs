//! Lifting surfaces: lift, drag, carry-over, flap, stall, hinge moment.

use nalgebra::Vector3;

use crate::spec::craft::SurfaceGroup;

/// A lifting surface with everything that does not change in a run worked out.
///
/// Incidence `alpha` (rad) is positive where it gives force along `n`. With the surface's point
/// moving at `v` through the water at `u` along x: `alpha = incidence - v.n / u`.
#[derive(Clone, Debug)]
pub struct Surface {
    /// Channel name.
    pub name: String,
    /// Group.
    pub group: SurfaceGroup,
    /// Centre of pressure from O, m.
    pub r_m: Vector3<f64>,
    /// Stock axis, unit, y positive (z positive when vertical).
    pub e: Vector3<f64>,
    /// Direction of lift for positive deflection, unit: e x x_hat.
    pub n: Vector3<f64>,
    /// Planform area, m2.
    pub area_m2: f64,
    /// Mean chord, m.
    pub chord_m: f64,
    /// Lift slope per rad of incidence on the planform area, carry-over included.
    pub slope_incidence: f64,
    /// Lift slope per rad of deflection, carry-over and flap effectiveness included.
    pub slope_deflection: f64,
    /// Added mass along n, kg.
    pub added_mass_kg: f64,
    /// Built-in incidence, rad.
    pub incidence_rad: f64,
    /// Deflection limits, rad.
    pub min_rad: f64,
    /// Deflection limits, rad.
    pub max_rad: f64,
}
