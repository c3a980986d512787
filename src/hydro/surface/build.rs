//! Building surfaces from the craft file: geometry, slopes, limits.
//!
//! # Equation
//! Mean aerodynamic chord `(2/3) c_r (1 + t + t^2)/(1 + t)` at `(b/3)(1 + 2 t)/(1 + t)` of the span; centre of
//! pressure of the panel at `4 b/(3 pi)`, of the carried-over lift on the hull's axis; effective aspect
//! ratio and slopes as in [`super`].
//!
//! # Symbols
//! c_r root chord, t taper, b exposed span.
//!
//! # Source
//! Geometry of the tapered wing; the load of an ellipse; Pabst (1930) for the added mass, from memory.
//!
//! # Checked by
//! `planform_of_a_swept_taper_by_hand`, `axes_follow_the_sign_card`, `wrong_dimensions_are_told_at_their_keys`.

use std::f64::consts::PI;

use nalgebra::Vector3;

use super::carry_over::CarryOver;
use super::flap::{self, ThinFlap};
use super::submergence::{self, DepthTable};
use super::{Depth, Details, Moving, Surface, lift};
use crate::error::{Error, Problem, Result};
use crate::spec::craft::{CraftSpec, MovingPart, SurfaceSpec, WaterSpec};
use crate::spec::scenario::FinEffectsSpec;

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
        let surface = build_one(s, &roots[i], paired, &spec.water, *effects);
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
    effects: FinEffectsSpec,
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
        Moving::Flap {
            thin, span_frac, ..
        } => thin.tau * flap::VISCOUS_EFFECTIVENESS * flap::span_share(*span_frac),
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
        } => {
            let thin = ThinFlap::new(chord_frac);
            Moving::Flap {
                drag: 1.7 * thin.chord_frac.powf(1.38) * thin.chord_frac * span_frac,
                thin,
                span_frac,
            }
        }
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
