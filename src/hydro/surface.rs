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

pub mod carry_over;
pub mod effects;
pub mod flap;
pub mod lift;
pub mod submergence;
#[cfg(test)]
pub(crate) mod tests;

use std::f64::consts::PI;

use nalgebra::Vector3;

use self::carry_over::CarryOver;
use self::flap::ThinFlap;
use self::submergence::DepthTable;
use crate::error::{Error, Problem, Result};
use crate::spec::craft::{CraftSpec, MovingPart, SurfaceGroup, SurfaceSpec, WaterSpec};
use crate::spec::scenario::FinEffectsSpec;

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
    Flap { thin: ThinFlap, span_frac: f64 },
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
        let linear = self.slope_incidence * alpha_rad;
        if !self.aero.nonlinear {
            return linear + self.slope_deflection * delta_rad;
        }
        let attached = linear
            + self.slope_deflection * self.effective_deflection(delta_rad)
            + self.cross_flow_lift(alpha_rad, delta_rad);
        let local = self.local_angle(alpha_rad, delta_rad);
        let w = lift::separated_share(local, self.stall_rad);
        if w <= 0.0 {
            return attached;
        }
        attached * (1.0 - w) + lift::separated_lift(local) * w
    }

    /// Drag coefficient on the planform area.
    pub fn drag_coefficient(&self, alpha_rad: f64, delta_rad: f64) -> f64 {
        let cl = self.panel_share() * self.lift_coefficient(alpha_rad, delta_rad);
        let induced = cl * cl / (0.9 * PI * self.aspect) * self.aero.induced_factor;
        let mut cd = lift::PROFILE_DRAG + induced;
        if let Moving::Flap { thin, span_frac } = &self.aero.moving {
            let area_share = thin.chord_frac * span_frac;
            cd += 1.7 * thin.chord_frac.powf(1.38) * area_share * delta_rad.sin().powi(2);
        }
        if !self.aero.nonlinear {
            return cd;
        }
        let local = self.local_angle(alpha_rad, delta_rad);
        let w = lift::separated_share(local, self.stall_rad);
        cd * (1.0 - w) + (lift::PROFILE_DRAG + lift::separated_drag(local)) * w
    }

    /// Torque of the water about the stock (flap: hinge) along e, N m, at dynamic pressure `q_pa`; positive
    /// drives the deflection up. The actuator must hold its opposite.
    pub fn hinge_moment_nm(&self, q_pa: f64, alpha_rad: f64, delta_rad: f64) -> f64 {
        match &self.aero.moving {
            Moving::Fixed => 0.0,
            Moving::All => q_pa * self.area_m2 * self.stock_moment(alpha_rad, delta_rad),
            Moving::Flap { thin, span_frac } => {
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
        attached * (1.0 - w) + lift::separated_lift(local) * a.lever_half_m * w
    }
}

impl Depth {
    fn ratio(&self, depth_over_chord: f64) -> f64 {
        1.0 + self.horizontal * (self.table.ratio(depth_over_chord) - 1.0)
    }
}

/// Builds every surface of the craft.
///
/// `hull_radius_at` gives the lower hull's radius at x (m, from O). Effects that are off are left
/// out of slopes and methods.
///
/// # Errors
/// All impossible dimensions at once, each at its key.
pub fn build_surfaces(
    spec: &CraftSpec,
    hull_radius_at: &dyn Fn(f64) -> f64,
    effects: &FinEffectsSpec,
) -> Result<Vec<Surface>> {
    let mut problems = Vec::new();
    for (i, s) in spec.surfaces.iter().enumerate() {
        check(s, i, &mut problems);
    }
    if !problems.is_empty() {
        return Err(Error::from(problems));
    }
    let roots: Vec<Root> = spec
        .surfaces
        .iter()
        .map(|s| Root::new(s, spec, hull_radius_at))
        .collect();
    let mut out = Vec::with_capacity(roots.len());
    for (i, s) in spec.surfaces.iter().enumerate() {
        let paired = roots
            .iter()
            .enumerate()
            .any(|(j, r)| j != i && roots[i].faces(r, s.root_chord_m));
        let surface = build_one(s, &roots[i], paired, &spec.water, effects);
        if surface.design_depth_m <= 0.0 {
            problems.push(
                Problem::at(
                    format!("surfaces[{i}].root_height_m"),
                    format!(
                        "puts the centre of `{}` {:.2} m above the design waterline, it must lie below",
                        s.name, -surface.design_depth_m
                    ),
                )
                .hint("heights are above the baseline, up positive"),
            );
        }
        out.push(surface);
    }
    if problems.is_empty() {
        Ok(out)
    } else {
        Err(Error::from(problems))
    }
}

/// Where a surface leaves its hull.
struct Root {
    stock_m: Vector3<f64>,
    direction: Vector3<f64>,
    radius_m: f64,
}

impl Root {
    fn new(s: &SurfaceSpec, spec: &CraftSpec, hull_radius_at: &dyn Fn(f64) -> f64) -> Self {
        let (sin, cos) = s.span_angle_deg.to_radians().sin_cos();
        let stock_m = Vector3::new(
            s.stock_x_m,
            s.root_y_m,
            spec.design_waterline_m - s.root_height_m,
        );
        let radius_m = s
            .body_radius_m
            .unwrap_or_else(|| sealing_radius(s, spec, hull_radius_at(s.stock_x_m)));
        Root {
            stock_m,
            direction: Vector3::new(0.0, cos, sin),
            radius_m: radius_m.max(0.0),
        }
    }

    fn axis_m(&self) -> Vector3<f64> {
        self.stock_m - self.direction * self.radius_m
    }

    /// True when `other` stands on the opposite side of the same body, within a root chord along x.
    fn faces(&self, other: &Root, chord_m: f64) -> bool {
        let gap = other.axis_m() - self.axis_m();
        self.radius_m > 0.0
            && other.radius_m > 0.0
            && gap.x.abs() < chord_m
            && gap.y.hypot(gap.z) < 0.5 * self.radius_m
            && self.direction.dot(&other.direction) < -0.8
    }
}

/// The lower hull's radius when the root stands on that hull (within a third of its radius), 0 otherwise.
fn sealing_radius(s: &SurfaceSpec, spec: &CraftSpec, radius_m: f64) -> f64 {
    let y = s.root_y_m.abs() - spec.lower_hulls.lateral_position_m;
    let up = s.root_height_m - axis_height_m(spec, s.stock_x_m);
    if (y.hypot(up) - radius_m).abs() <= radius_m / 3.0 {
        radius_m
    } else {
        0.0
    }
}

/// Height of the lower hull's axis above the baseline, linear between stations.
fn axis_height_m(spec: &CraftSpec, x_m: f64) -> f64 {
    let height = |i: usize| {
        let s = &spec.lower_hulls.stations[i];
        s.axis_height_m
            .unwrap_or_else(|| s.half_height_m.unwrap_or(s.half_breadth_m))
    };
    let stations = &spec.lower_hulls.stations;
    let Some(last) = stations.len().checked_sub(1) else {
        return 0.0;
    };
    let after = stations.partition_point(|s| s.x_m < x_m);
    if after == 0 || after > last {
        return height(after.min(last));
    }
    let (a, b) = (stations[after - 1].x_m, stations[after].x_m);
    let t = (x_m - a) / (b - a).max(1e-9);
    height(after - 1) * (1.0 - t) + height(after) * t
}

fn check(s: &SurfaceSpec, i: usize, problems: &mut Vec<Problem>) {
    let key = |k: &str| format!("surfaces[{i}].{k}");
    for (k, v) in [
        ("span_m", s.span_m),
        ("root_chord_m", s.root_chord_m),
        ("tip_chord_m", s.tip_chord_m),
    ] {
        if !(v > 0.0 && v.is_finite()) {
            problems.push(Problem::at(key(k), format!("is {v} m, must be above 0 m")));
        }
    }
    if !(0.0..=1.0).contains(&s.stock_frac) {
        let found = format!("is {}, must lie between 0 and 1", s.stock_frac);
        problems.push(Problem::at(key("stock_frac"), found));
    }
    if s.sweep_deg.is_nan() || s.sweep_deg.abs() > 60.0 {
        let found = format!("is {} deg, must lie between -60 and 60 deg", s.sweep_deg);
        problems.push(Problem::at(key("sweep_deg"), found));
    }
    if s.min_deg > s.max_deg || !s.min_deg.is_finite() || !s.max_deg.is_finite() {
        let found = format!(
            "is {} deg, must not be above max_deg, {} deg",
            s.min_deg, s.max_deg
        );
        problems.push(Problem::at(key("min_deg"), found));
    }
    let MovingPart::Flap {
        chord_frac,
        span_frac,
    } = s.moving
    else {
        return;
    };
    if !(chord_frac > 0.0 && chord_frac < 1.0) {
        let found = format!("is {chord_frac}, must lie between 0 and 1");
        problems.push(Problem::at(key("moving.flap.chord_frac"), found));
    } else if (s.stock_frac + chord_frac - 1.0).abs() > 5e-3 {
        let found = format!(
            "is {}, must be one minus the flap's chord fraction, {}",
            s.stock_frac,
            1.0 - chord_frac
        );
        problems.push(
            Problem::at(key("stock_frac"), found)
                .hint("for a flap stock_frac is the hinge, aft of the leading edge"),
        );
    }
    if !(span_frac > 0.0 && span_frac <= 1.0) {
        let found = format!("is {span_frac}, must lie above 0 and at most 1");
        problems.push(Problem::at(key("moving.flap.span_frac"), found));
    }
}

/// Planform and place of one surface.
struct Planform {
    area_m2: f64,
    chord_m: f64,
    mac_m: f64,
    mac_leading_x_m: f64,
    taper: f64,
    sweep_rad: f64,
    root_quarter_m: Vector3<f64>,
    aspect: f64,
}

fn planform(s: &SurfaceSpec, root: &Root) -> Planform {
    let taper = s.tip_chord_m / s.root_chord_m;
    let area_m2 = 0.5 * s.span_m * (s.root_chord_m + s.tip_chord_m);
    let mac_m = 2.0 / 3.0 * s.root_chord_m * (1.0 + taper + taper * taper) / (1.0 + taper);
    let mac_y = s.span_m / 3.0 * (1.0 + 2.0 * taper) / (1.0 + taper);
    let sweep_rad = s.sweep_deg.to_radians();
    let mut root_quarter_m = root.stock_m;
    root_quarter_m.x += (s.stock_frac - 0.25) * s.root_chord_m;
    let image = if root.radius_m > 0.0 { 2.0 } else { 1.0 };
    Planform {
        area_m2,
        chord_m: area_m2 / s.span_m,
        mac_m,
        mac_leading_x_m: root_quarter_m.x - mac_y * sweep_rad.tan() + 0.25 * mac_m,
        taper,
        sweep_rad,
        root_quarter_m,
        aspect: image * s.span_m * s.span_m / area_m2,
    }
}

/// e of the module text.
fn stock_axis(direction: &Vector3<f64>) -> Vector3<f64> {
    const VERTICAL: f64 = 1e-9; // |cos| of the span angle below which the surface counts as vertical
    let sign = if direction.y.abs() > VERTICAL {
        direction.y
    } else {
        direction.z
    };
    if sign < 0.0 { -direction } else { *direction }
}

fn build_one(
    s: &SurfaceSpec,
    root: &Root,
    paired: bool,
    water: &WaterSpec,
    effects: &FinEffectsSpec,
) -> Surface {
    let p = planform(s, root);
    let e = stock_axis(&root.direction);
    let carry = if effects.body_carry_over && s.lift_slope_per_rad.is_none() {
        CarryOver::new(root.radius_m, s.span_m, paired)
    } else {
        CarryOver::NONE
    };
    // elliptic load: its centre at 4/(3 pi) of the span from the root
    let mut panel_m = root.stock_m + root.direction * (4.0 / (3.0 * PI) * s.span_m);
    panel_m.x = p.mac_leading_x_m - lift::centre_of_pressure_frac(p.aspect) * p.mac_m;
    // pressures on a round body pass through its axis
    let mut on_body = root.axis_m();
    on_body.x = panel_m.x;
    let share = carry.panel_incidence / carry.incidence();
    let r_m = panel_m * share + on_body * (1.0 - share);

    let unbounded = lift::whicker_fehlner_slope(p.aspect, p.sweep_rad);
    let depth = effects
        .free_surface
        .then(|| depth_of(s, &p, root, &r_m, unbounded, e.y));
    let at_design = depth.as_ref().map_or(1.0, |d| d.at_design);
    let panel_slope = s.lift_slope_per_rad.unwrap_or(unbounded * at_design);
    let moving = moving_of(s);
    let effectiveness = match &moving {
        Moving::All => 1.0,
        Moving::Fixed => 0.0,
        Moving::Flap { thin, span_frac } => {
            thin.tau * flap::VISCOUS_EFFECTIVENESS * flap::span_share(*span_frac)
        }
    };
    let plate = 0.25 * PI * water.density_kg_m3 * p.area_m2 * p.mac_m;
    let aero = Details {
        moving,
        nonlinear: effects.stall,
        cross_flow: lift::cross_flow_drag(p.taper, s.tip),
        thickness: s.thickness_frac,
        lever_linear_m: panel_m.x - s.stock_x_m,
        lever_half_m: p.mac_leading_x_m - 0.5 * p.mac_m - s.stock_x_m,
        induced_factor: depth.as_ref().map_or(1.0, |d| {
            let image_span = p.aspect * p.chord_m;
            1.0 + d.horizontal
                * submergence::biplane_interference(2.0 * r_m.z.max(0.0) / image_span)
        }),
        depth,
        rho_kg_m3: water.density_kg_m3,
        g_m_s2: water.gravity_m_s2,
    };
    Surface {
        name: s.name.clone(),
        group: s.group,
        r_m,
        e,
        n: e.cross(&Vector3::x()),
        area_m2: p.area_m2,
        chord_m: p.chord_m,
        slope_incidence: panel_slope * carry.incidence(),
        slope_deflection: panel_slope * carry.deflection() * effectiveness,
        added_mass_kg: if effects.added_mass {
            plate * pabst(p.aspect)
        } else {
            0.0
        },
        incidence_rad: s.incidence_deg.to_radians(),
        min_rad: s.min_deg.to_radians(),
        max_rad: s.max_deg.to_radians(),
        span_direction: root.direction,
        root_m: p.root_quarter_m,
        span_m: s.span_m,
        root_chord_m: s.root_chord_m,
        taper: p.taper,
        sweep_rad: p.sweep_rad,
        mac_m: p.mac_m,
        body_radius_m: root.radius_m,
        aspect: p.aspect,
        panel_slope,
        unbounded_slope: unbounded,
        carry,
        design_depth_m: r_m.z,
        stall_rad: lift::stall_angle_rad(p.aspect),
        aero,
    }
}

fn moving_of(s: &SurfaceSpec) -> Moving {
    match s.moving {
        MovingPart::AllMovable {} => Moving::All,
        MovingPart::Fixed {} => Moving::Fixed,
        MovingPart::Flap {
            chord_frac,
            span_frac,
        } => Moving::Flap {
            thin: ThinFlap::new(chord_frac),
            span_frac,
        },
    }
}

fn depth_of(
    s: &SurfaceSpec,
    p: &Planform,
    root: &Root,
    r_m: &Vector3<f64>,
    slope: f64,
    e_y: f64,
) -> Depth {
    let mut d = Depth {
        table: DepthTable::new(slope, p.aspect, p.aspect),
        horizontal: e_y * e_y,
        at_design: 1.0,
        root_below_m: root.stock_m.z - r_m.z,
        tip_below_m: root.stock_m.z + root.direction.z * s.span_m - r_m.z,
    };
    let wet = submergence::immersed_share(
        r_m.z + d.root_below_m,
        r_m.z + d.tip_below_m,
        p.chord_m,
        p.taper,
    );
    d.at_design = (wet * d.ratio(r_m.z / p.chord_m)).max(1e-6);
    d
}

/// Added mass of a rectangular plate of aspect ratio `a` over that of a strip.
fn pabst(a: f64) -> f64 {
    a / (1.0 + a * a).sqrt() * (1.0 - 0.425 * a / (1.0 + a * a))
}
