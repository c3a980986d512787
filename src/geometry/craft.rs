//! The built craft: everything in O-axes (x forward, y starboard, z down from the design
//! waterline), SI.

use nalgebra::Vector3;

use super::hull::LowerHull;
use super::hydrostatics::Hydrostatics;
use super::mass::MassProperties;
use super::strut::Strut;
use crate::spec::craft::CraftSpec;

/// The craft's shape and weight. Built once from a [`CraftSpec`] by [`Craft::build`].
#[derive(Clone, Debug)]
pub struct Craft {
    /// What the file said; rooms above take their own part of it.
    pub spec: CraftSpec,
    /// Water density, kg/m3.
    pub rho_kg_m3: f64,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Starboard lower hull; the port one mirrors it.
    pub hull: LowerHull,
    /// Starboard struts, fore to aft.
    pub struts: Vec<Strut>,
    /// Mass properties of the loading.
    pub mass: MassProperties,
    /// Hydrostatics at the design waterline.
    pub hydrostatics: Hydrostatics,
    /// z of the cross-structure's underside (negative: above water), m.
    pub underside_z_m: f64,
    /// Named points, m from O.
    pub points: Vec<(String, Vector3<f64>)>,
}
