//! Lifting surfaces: fins, flaps and rudders, with everything that does not change in a run worked out.
//!
//! # Equation
//! Lift along n: `L = q S CL(alpha, delta) depth_factor(h)`, `q = rho U^2/2`,
//! `CL = slope_incidence alpha + slope_deflection delta` at small angle, plus cross-flow lift and
//! stall ([`lift`]); slopes are the panel's at its design depth ([`submergence`]) times the body's
//! carry-over ([`carry_over`]); a flap acts through its effectiveness ([`flap`]).
//!
//! # Symbols
//! e stock axis, unit, y positive (z positive when vertical); n = e x x_hat; alpha incidence (rad), positive
//! where it gives force along n: a point moving at v through water at U along x sees
//! `alpha = incidence_rad - v.n/U` (plus orbital velocity along n over U). delta deflection (rad).
//! Effective aspect ratio: `2 b^2/S` with the root sealed by the hull, `b^2/S` when free.
//!
//! # Valid when
//! Effective aspect ratio up to about 4, high Froude number on depth (U/sqrt(g h) above 1.5). One centre
//! of pressure serves incidence and deflection; a flap's own lift acts up to 0.2 chords further aft.
//! The stock and a flap's hinge line are taken square to x even when the planform is swept.
//!
//! # Source
//! Named in the parts. Added mass: flat plate, pi/4 rho c^2 per unit span, with Pabst's (1930) factor for
//! finite span, from memory. Flap profile drag: 1.7 E^1.38 (Sf/S) sin^2 delta, common practice, from memory.
//!
//! # Checked by
//! [`tests`](self) in `surface/tests.rs`: geometry, signs, mirror, small angles, switches, hinge moments.

mod build;
pub mod carry_over;
pub mod effects;
pub mod flap;
pub mod lift;
pub mod submergence;
#[cfg(test)]
pub(crate) mod tests;
mod trailing;

use std::f64::consts::PI;

use nalgebra::Vector3;

pub use self::build::build_surfaces;
use self::carry_over::CarryOver;
use self::flap::ThinFlap;
use self::submergence::DepthTable;
use crate::spec::craft::SurfaceGroup;

/// Share of a flap's equivalent incidence that counts towards stall: a flap raises the greatest lift by
/// about half of what it adds below stall. Common practice, no source.
const FLAP_STALL_SHARE: f64 = 0.5;

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
    /// Centre of pressure (panel and carried-over lift together) from O, m.
    pub r_m: Vector3<f64>,
    /// Stock axis, unit, y positive (z positive when vertical).
    pub e: Vector3<f64>,
    /// Direction of lift for positive deflection, unit: e x x_hat.
    pub n: Vector3<f64>,
    /// Planform area, m2.
    pub area_m2: f64,
    /// Mean chord, m.
    pub chord_m: f64,
    /// Lift slope per rad of incidence on the planform area at the design depth, carry-over included.
    pub slope_incidence: f64,
    /// Lift slope per rad of deflection at the design depth, carry-over and flap effectiveness included.
    pub slope_deflection: f64,
    /// Added mass along n, kg; 0 when the effect is off.
    pub added_mass_kg: f64,
    /// Built-in incidence, rad.
    pub incidence_rad: f64,
    /// Deflection limits, rad.
    pub min_rad: f64,
    /// Deflection limits, rad.
    pub max_rad: f64,
    /// Unit vector from root to tip.
    pub span_direction: Vector3<f64>,
    /// Quarter chord at the root from O, m.
    pub root_m: Vector3<f64>,
    /// Exposed span, m.
    pub span_m: f64,
    /// Chord at the root, m.
    pub root_chord_m: f64,
    /// Tip chord over root chord.
    pub taper: f64,
    /// Sweep of the quarter chord, aft positive, rad.
    pub sweep_rad: f64,
    /// Mean aerodynamic chord, m; half of it is the semichord of the unsteady lags.
    pub mac_m: f64,
    /// Radius of the body at the root, m; 0 when the root is free.
    pub body_radius_m: f64,
    /// Effective aspect ratio.
    pub aspect: f64,
    /// Slope of the panel alone at the design depth, per rad.
    pub panel_slope: f64,
    /// Slope of the panel alone in unbounded water, per rad.
    pub unbounded_slope: f64,
    /// Carry-over factors.
    pub carry: CarryOver,
    /// Depth of the centre of pressure at the design waterline, m.
    pub design_depth_m: f64,
    /// Nominal stall angle of the panel, rad.
    pub stall_rad: f64,
    aero: Details,
}

/// What only the methods need.
#[derive(Clone, Debug)]
struct Details {
    moving: Moving,
    nonlinear: bool,
    cross_flow: f64,
    depth: Option<Depth>,
    thickness: f64,
    /// Forward distance from stock to the panel's centre of pressure and to half chord, m.
    lever_linear_m: f64,
    lever_half_m: f64,
    induced_factor: f64,
    rho_kg_m3: f64,
    g_m_s2: f64,
}

#[derive(Clone, Debug)]
enum Moving {
    All,
    Fixed,
    Flap {
        thin: ThinFlap,
        span_frac: f64,
        /// Drag coefficient per square of the sine of the deflection.
        drag: f64,
    },
}

#[derive(Clone, Debug)]
struct Depth {
    table: DepthTable,
    /// 1 for a horizontal surface, 0 for a vertical one.
    horizontal: f64,
    at_design: f64,
    root_below_m: f64,
    tip_below_m: f64,
}

impl Surface {
    /// Lift coefficient on the planform area along n at the design depth, incidence `alpha_rad` (unsteady
    /// lag and downwash already applied) and deflection `delta_rad`.
    pub fn lift_coefficient(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        self.lift_and_drag(alpha_rad, delta_rad).0
    }

    /// Drag coefficient on the planform area.
    pub fn drag_coefficient(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        self.lift_and_drag(alpha_rad, delta_rad).1
    }

    /// [`Surface::lift_coefficient`] and [`Surface::drag_coefficient`] together.
    pub fn lift_and_drag(&self, alpha_rad: f64, delta_rad: f64) -> (f64, f64) {
        let linear = self.slope_incidence * alpha_rad;
        if !self.aero.nonlinear {
            let cl = linear + self.slope_deflection * delta_rad;
            return (cl, self.attached_drag(cl, delta_rad));
        }
        let attached = linear
            + self.slope_deflection * self.effective_deflection(delta_rad)
            + self.cross_flow_lift(alpha_rad, delta_rad);
        let local = self.local_angle(alpha_rad, delta_rad);
        let w = lift::separated_share(local, self.stall_rad);
        if w <= 0.0 {
            return (attached, self.attached_drag(attached, delta_rad));
        }
        let cl = attached * (1.0 - w) + lift::separated_lift(local) * w;
        let cd = self.attached_drag(cl, delta_rad) * (1.0 - w)
            + (lift::PROFILE_DRAG + lift::separated_drag(local)) * w;
        (cl, cd)
    }

    fn attached_drag(&self, cl: f64, delta_rad: f64) -> f64 {
        let cl = self.panel_share() * cl;
        let induced = cl * cl / (0.9 * PI * self.aspect) * self.aero.induced_factor;
        let mut cd = lift::PROFILE_DRAG + induced;
        if let Moving::Flap { drag, .. } = &self.aero.moving {
            cd += drag * delta_rad.sin().powi(2);
        }
        cd
    }

    /// Torque of the water about the stock (flap: hinge) along e, N m, at dynamic pressure `q_pa`; positive
    /// drives the deflection up. The actuator must hold its opposite.
    pub fn hinge_moment_nm(&self, q_pa: f64, alpha_rad: f64, delta_rad: f64) -> f64 {
        match &self.aero.moving {
            Moving::Fixed => 0.0,
            Moving::All => q_pa * self.area_m2 * self.stock_moment(alpha_rad, delta_rad),
            Moving::Flap {
                thin, span_frac, ..
            } => {
                let cl = self.panel_share() * self.lift_coefficient(alpha_rad, delta_rad);
                let camber = thin.tau * flap::VISCOUS_EFFECTIVENESS;
                let two_d = cl / (2.0 * PI) - camber * self.effective_deflection(delta_rad);
                let ch = thin.hinge_per_incidence * two_d + thin.hinge_per_deflection * delta_rad;
                let cf2_span = thin.chord_frac.powi(2) * self.area_m2 * self.mac_m * span_frac;
                q_pa * cf2_span * ch
            }
        }
    }

    /// Lift at `depth_m` of the centre of pressure below the water's surface over lift at the design depth: nearness
    /// of the surface and emergence. Exactly 1 at the design depth and when the effect is off.
    pub fn depth_factor(&self, depth_m: f64) -> f64 {
        let Some(d) = &self.aero.depth else {
            return 1.0;
        };
        let (root, tip) = (depth_m + d.root_below_m, depth_m + d.tip_below_m);
        let wet = submergence::immersed_share(root, tip, self.chord_m, self.taper);
        wet * d.ratio(depth_m / self.chord_m) / d.at_design
    }

    /// True when the suction peak reaches vapour pressure (also taken as the limit for ventilation) at
    /// lift coefficient `cl`.
    pub fn cavitates(&self, speed_m_s: f64, depth_m: f64, cl: f64) -> bool {
        self.cavitation_margin(speed_m_s, depth_m, cl) < 0.0
    }

    /// Cavitation number less suction peak; negative when it cavitates.
    pub fn cavitation_margin(&self, speed_m_s: f64, depth_m: f64, cl: f64) -> f64 {
        let a = &self.aero;
        let section = 4.0 / PI * self.panel_share() * cl;
        submergence::cavitation_number(speed_m_s, depth_m, a.rho_kg_m3, a.g_m_s2)
            - submergence::suction_peak(a.thickness, section)
    }

    /// Share of the lift that the panel itself carries.
    pub fn panel_share(&self) -> f64 {
        self.carry.panel_incidence / self.carry.incidence()
    }

    /// Lift ratio at the design depth to unbounded water.
    pub fn surface_ratio_at_design(&self) -> f64 {
        self.aero.depth.as_ref().map_or(1.0, |d| d.at_design)
    }

    /// Point of the quarter-chord line at `t` of the span from the root, m from O.
    pub fn quarter_chord_m(&self, t: f64) -> Vector3<f64> {
        let y = t * self.span_m;
        self.root_m + self.span_direction * y - Vector3::x() * (y * self.sweep_rad.tan())
    }

    /// Chord at `t` of the span from the root, m.
    pub fn chord_at_m(&self, t: f64) -> f64 {
        self.root_chord_m * (1.0 + (self.taper - 1.0) * t)
    }

    /// Angle of attack that the panel feels, body upwash included, rad.
    fn local_angle(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        let inflow = self.carry.panel_incidence * alpha_rad;
        inflow
            + match &self.aero.moving {
                Moving::All => self.carry.panel_deflection * delta_rad,
                Moving::Fixed => 0.0,
                Moving::Flap { thin, .. } => {
                    FLAP_STALL_SHARE * thin.tau * self.effective_deflection(delta_rad)
                }
            }
    }

    fn cross_flow_lift(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        let mut a = self.carry.panel_incidence * alpha_rad;
        if matches!(self.aero.moving, Moving::All) {
            a += self.carry.panel_deflection * delta_rad;
        }
        self.aero.cross_flow / self.aspect * a * a.abs()
    }

    fn effective_deflection(&self, delta_rad: f64) -> f64 {
        match self.aero.moving {
            Moving::Flap { .. } if self.aero.nonlinear => flap::effective_deflection_rad(delta_rad),
            _ => delta_rad,
        }
    }

    /// Stock moment of an all-movable surface over q S, m.
    fn stock_moment(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        let a = &self.aero;
        let linear = self.panel_share()
            * (self.slope_incidence * alpha_rad + self.slope_deflection * delta_rad);
        if !a.nonlinear {
            return linear * a.lever_linear_m;
        }
        let local = self.local_angle(alpha_rad, delta_rad);
        let w = lift::separated_share(local, self.stall_rad);
        let attached =
            linear * a.lever_linear_m + self.cross_flow_lift(alpha_rad, delta_rad) * a.lever_half_m;
        if w <= 0.0 {
            return attached;
        }
        attached * (1.0 - w) + lift::separated_lift(local) * a.lever_half_m * w
    }
}

impl Depth {
    fn ratio(&self, depth_over_chord: f64) -> f64 {
        1.0 + self.horizontal * (self.table.ratio(depth_over_chord) - 1.0)
    }
}
