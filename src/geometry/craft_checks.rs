//! Checks of struts against each other and of surfaces against hull and struts.

use super::hull::{LowerHull, in_range};
use super::strut::Strut;
use crate::error::Problem;
use crate::spec::craft::{CraftSpec, SurfaceSpec};

/// Struts of one side: fore to aft, clear of each other, under the box.
pub(super) fn struts(struts: &[Strut], spec: &CraftSpec, problems: &mut Vec<Problem>) {
    for i in 1..struts.len() {
        let (fore, aft) = (&struts[i - 1], &struts[i]);
        if aft.fore_x_m >= fore.aft_x_m {
            problems.push(
                Problem::at(
                    format!("struts[{i}].fore_x_m"),
                    format!(
                        "is {} m, but the strut before it reaches aft to {} m; struts run from forward aft and may not overlap",
                        aft.fore_x_m, fore.aft_x_m
                    ),
                )
                .hint("swap or shorten them"),
            );
        }
    }
    for (i, s) in struts.iter().enumerate() {
        let outer = s.centre_y_m + 0.5 * s.thickness_m;
        if outer > spec.cross_structure.half_breadth_m {
            problems.push(
                Problem::at(
                    "cross_structure.half_breadth_m",
                    format!(
                        "is {} m, but strut {i} reaches out to {outer:.3} m",
                        spec.cross_structure.half_breadth_m
                    ),
                )
                .hint("the box must cover the struts it stands on"),
            );
        }
    }
}

/// Surfaces must have a planform, sit on hull or strut and stay under water at rest.
pub(super) fn surfaces(
    spec: &CraftSpec,
    hull: &LowerHull,
    struts: &[Strut],
    problems: &mut Vec<Problem>,
) {
    for (i, s) in spec.surfaces.iter().enumerate() {
        let key = format!("surfaces[{i}]");
        let before = problems.len();
        for (name, v, low, high) in [
            ("span_m", s.span_m, 1e-2, 50.0),
            ("root_chord_m", s.root_chord_m, 1e-2, 50.0),
            ("tip_chord_m", s.tip_chord_m, 0.0, 50.0),
            ("stock_x_m", s.stock_x_m, -1e3, 1e3),
            ("root_y_m", s.root_y_m, -1e3, 1e3),
            ("root_height_m", s.root_height_m, -1e2, 1e2),
            ("span_angle_deg", s.span_angle_deg, -360.0, 360.0),
        ] {
            in_range(problems, &format!("{key}.{name}"), v, low, high);
        }
        if problems.len() == before {
            on_craft(spec, &key, s, hull, struts, problems);
        }
    }
}

fn on_craft(
    spec: &CraftSpec,
    key: &str,
    s: &SurfaceSpec,
    hull: &LowerHull,
    struts: &[Strut],
    problems: &mut Vec<Problem>,
) {
    let x_low = hull.aft_x_m.min(
        struts
            .iter()
            .map(|t| t.aft_x_m)
            .fold(f64::INFINITY, f64::min),
    );
    if !(s.stock_x_m >= x_low - s.root_chord_m && s.stock_x_m <= hull.fore_x_m) {
        problems.push(
            Problem::at(
                format!("{key}.stock_x_m"),
                format!(
                    "is {} m, outside the hull, which runs from {:.2} to {:.2} m",
                    s.stock_x_m, hull.aft_x_m, hull.fore_x_m
                ),
            )
            .hint("x is forward of midships; a stock may hang at most one chord behind the hull"),
        );
        return;
    }
    let z = spec.design_waterline_m - s.root_height_m;
    let away = distance_to_hull(hull, struts, s.stock_x_m, s.root_y_m.abs(), z);
    let room = 0.15 * s.span_m + 0.1; // a gap that still counts as carried by the body
    if away > room {
        problems.push(
            Problem::at(
                format!("{key}.root_y_m"),
                format!(
                    "puts the root {away:.2} m outside hull and struts at x = {} m, at most {room:.2} m is allowed",
                    s.stock_x_m
                ),
            )
            .hint(format!(
                "the hull's centre plane is at y = {} m; fins leave its side, rudders its strut or end",
                hull.centre_y_m
            )),
        );
    }
    let angle = s.span_angle_deg.to_radians();
    let tip_z = z + s.span_m * angle.sin();
    if tip_z <= 0.0 || z <= 0.0 {
        problems.push(
            Problem::at(
                format!("{key}.span_m"),
                format!(
                    "brings the surface {:.2} m above the design waterline",
                    -tip_z.min(z)
                ),
            )
            .hint("surfaces work under water"),
        );
    }
    let tip_y = s.root_y_m + s.span_m * angle.cos();
    if s.root_y_m.abs() > 0.5 * hull.centre_y_m && tip_y * s.root_y_m.signum() <= 0.0 {
        problems.push(Problem::at(
            format!("{key}.span_m"),
            format!("carries the tip across the centre plane to y = {tip_y:.2} m"),
        ));
    }
}

/// Distance in the cross plane from (y, z) to hull or strut, 0 inside; y on the starboard side.
fn distance_to_hull(hull: &LowerHull, struts: &[Strut], x: f64, y: f64, z: f64) -> f64 {
    let x_in = x.clamp(hull.aft_x_m, hull.fore_x_m);
    let mut best = f64::INFINITY;
    if let Some(s) = hull.section_at(x_in) {
        let (dy, dz) = (y - hull.centre_y_m, z - s.axis_z_m);
        let reach = dy.hypot(dz);
        let (b, h) = (s.half_breadth_m.max(1e-9), s.half_height_m.max(1e-9));
        let unit = (dy / b).hypot(dz / h);
        // along the ray through the axis: exact for circles, near enough for the others
        best = if unit <= 1.0 {
            0.0
        } else {
            reach * (1.0 - 1.0 / unit)
        };
        if reach == 0.0 {
            best = 0.0;
        }
    }
    for t in struts {
        let x_in = x.clamp(t.aft_x_m, t.fore_x_m);
        let top = hull.section_at(x_in).map_or(0.0, |s| s.axis_z_m);
        let dy = ((y - t.centre_y_m).abs() - t.half_thickness_at(x_in, z)).max(0.0);
        let dz = (z - top).max(0.0) + (-z).max(0.0);
        best = best.min(dy.hypot(dz).hypot(x - x_in));
    }
    best
}
