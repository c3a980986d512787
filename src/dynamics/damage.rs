//! A plant that has lost surfaces or whose servos have grown slack.
//!
//! # Equation
//! A lost surface has no area, and what stands in its wake meets none. Its added mass stays, in the mass matrix and
//! in the wave force alike: it is a thousandth of the craft's. Backlash: the wider of the servo's own and the grown one.
//!
//! # Symbols
//! As in [`super::plant`].
//!
//! # Valid when
//! The layout of the state stays that of the whole plant, so that a run can go over to it.
//!
//! # Source
//! None needed.
//!
//! # Checked by
//! `a_lost_surface_gives_no_force` (tests/faults.rs)

use nalgebra::Vector6;

use super::plant::{Plant, PlantInput};
use super::state::StateLayout;
use super::surface_force::kappa;
use crate::frames::body_to_earth;

/// What is broken about a plant.
#[derive(Clone, Debug, PartialEq)]
pub struct Damage {
    /// Surfaces that are gone.
    pub lost: Vec<bool>,
    /// Grown backlash of each surface, full width, rad; 0 for none.
    pub backlash_rad: Vec<f64>,
}

impl Damage {
    /// Nothing broken on a craft with that many surfaces.
    pub fn none(surfaces: usize) -> Self {
        Damage {
            lost: vec![false; surfaces],
            backlash_rad: vec![0.0; surfaces],
        }
    }

    /// True when nothing is broken.
    pub fn is_none(&self) -> bool {
        !self.lost.contains(&true) && self.backlash_rad.iter().all(|b| *b <= 0.0)
    }
}

impl Plant {
    /// The plant with `damage`, which has an entry for every surface.
    #[must_use]
    pub fn damaged(&self, damage: &Damage) -> Plant {
        let mut out = self.clone();
        for (i, gone) in damage.lost.iter().enumerate() {
            if *gone {
                out.surfaces[i].area_m2 = 0.0;
                let from_it = out.links.iter_mut().filter(|l| l.from == i);
                from_it.for_each(|l| l.angle_per_lift_coefficient = 0.0);
            }
        }
        for (a, grown) in out.actuators.iter_mut().zip(&damage.backlash_rad) {
            a.backlash_rad = a.backlash_rad.max(*grown);
        }
        out.finish()
    }

    /// Deflection of surface `i` after `dt_s` of trailing freely, rad, from `angle_rad`, in the flow of `x`.
    pub fn trailed_rad(
        &self,
        i: usize,
        x: &[f64],
        input: &PlantInput,
        angle_rad: f64,
        dt_s: f64,
    ) -> f64 {
        let (q_pa, alpha_rad, _) = self.incidence(i, x, input);
        self.surfaces[i].trailed_rad(q_pa, alpha_rad, angle_rad, dt_s)
    }

    /// Torque of the water about the stock or hinge of surface `i`, N m.
    pub fn hinge_moment_nm(&self, i: usize, x: &[f64], input: &PlantInput) -> f64 {
        let (q_pa, alpha_rad, angle_rad) = self.incidence(i, x, input);
        self.surfaces[i].hinge_moment_nm(q_pa, alpha_rad, angle_rad)
    }

    /// Dynamic pressure (Pa), incidence without deflection (rad) and deflection (rad) of surface `i`.
    fn incidence(&self, i: usize, x: &[f64], input: &PlantInput) -> (f64, f64, f64) {
        let nu = Vector6::from_column_slice(&x[StateLayout::NU]);
        let down = body_to_earth(x[3], x[4], x[5]).row(2).transpose();
        let met = self.meet(i, x, &nu, &down, input);
        let u = met.flow.axial_m_s;
        if u <= 0.0 {
            return (0.0, 0.0, met.angle_rad);
        }
        let total = self.lagged_inflow(i, x, &met) + self.downwash(i, x, &met.flow);
        let alpha = total / u - kappa(&self.surfaces[i]) * met.angle_rad;
        (0.5 * self.rho_kg_m3 * u * u, alpha, met.angle_rad)
    }
}
