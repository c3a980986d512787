//! Checks of fins, flaps and rudders: angles, supplies, and that each sits on the craft.

use super::craft::SAME_M;
use super::{ascending, must_be_known, number};
use crate::error::Problem;
use crate::spec::craft::{CraftSpec, MovingPart, SurfaceGroup, SurfaceSpec};
use crate::spec::outline::Outline;

/// A moving surface whose whole range is below this is a slip of units, deg.
const LEAST_RANGE_DEG: f64 = 2.0;

/// A root may stand off the hull or strut by this share of its root chord (gaps, pods, skegs).
const STAND_OFF: f64 = 0.5;

pub(super) fn all(p: &mut Vec<Problem>, spec: &CraftSpec, outline: Option<&Outline>) {
    let supplies: Vec<&str> = spec.supplies.iter().map(|s| s.name.as_str()).collect();
    for (i, surface) in spec.surfaces.iter().enumerate() {
        let at = format!("surfaces[{i}]");
        angles(p, &at, surface);
        if let MovingPart::Flap { chord_frac, .. } = surface.moving {
            flap(p, &at, surface.stock_frac, chord_frac);
        }
        if let Some(name) = &surface.actuator.supply {
            let at = format!("{at}.actuator.supply");
            must_be_known(p, at, name, &supplies, "hydraulic supply under `supplies`");
        }
        if surface.group == SurfaceGroup::Rudder {
            upright(p, &at, surface);
        }
        if let Some(outline) = outline {
            seat(p, &at, surface, spec, outline);
        }
    }
}

fn angles(p: &mut Vec<Problem>, at: &str, surface: &SurfaceSpec) {
    let (low, high) = (surface.min_deg, surface.max_deg);
    if matches!(surface.moving, MovingPart::Fixed {}) {
        if low > high {
            p.push(Problem::at(
                format!("{at}.min_deg"),
                format!(
                    "is {} deg, must be at most `max_deg`, {} deg",
                    number(low),
                    number(high)
                ),
            ));
        }
        return;
    }
    if low >= high {
        let swapped = low > high;
        let problem = Problem::at(
            format!("{at}.min_deg"),
            format!(
                "is {} deg, must be below `max_deg`, {} deg",
                number(low),
                number(high)
            ),
        );
        p.push(if swapped {
            problem.hint(format!(
                "exchange the two: {} and {}",
                number(high),
                number(low)
            ))
        } else {
            problem.hint("a surface that does not turn is \"moving\": {\"fixed\": {}}")
        });
    } else if high - low < LEAST_RANGE_DEG {
        p.push(
            Problem::at(
                format!("{at}.max_deg"),
                format!(
                    "is {} deg after `min_deg` of {} deg: a range of {} deg, must be at least {} deg",
                    number(high),
                    number(low),
                    number(high - low),
                    number(LEAST_RANGE_DEG)
                ),
            )
            .hint(format!(
                "{} rad is {} deg: were radians meant?",
                number(high),
                number(high.to_degrees())
            )),
        );
    }
    let rows = surface.limit_by_speed.iter().map(|r| r.speed_kn);
    ascending(
        p,
        rows,
        |k| format!("{at}.limit_by_speed[{k}].speed_kn"),
        "kn",
    );
}

fn flap(p: &mut Vec<Problem>, at: &str, stock_frac: f64, chord_frac: f64) {
    if (1.0 - stock_frac - chord_frac).abs() > SAME_M {
        p.push(
            Problem::at(
                format!("{at}.moving.flap.chord_frac"),
                format!(
                    "is {} with `stock_frac` {}, must be 1 - stock_frac = {}",
                    number(chord_frac),
                    number(stock_frac),
                    number(1.0 - stock_frac)
                ),
            )
            .hint(format!(
                "the flap turns about its hinge: write `chord_frac` {} or `stock_frac` {}",
                number(1.0 - stock_frac),
                number(1.0 - chord_frac)
            )),
        );
    }
}

fn upright(p: &mut Vec<Problem>, at: &str, surface: &SurfaceSpec) {
    let across = surface.span_angle_deg.to_radians().cos().abs();
    if across > std::f64::consts::FRAC_1_SQRT_2 + SAME_M {
        p.push(
            Problem::at(
                format!("{at}.span_angle_deg"),
                format!(
                    "is {} deg on a rudder, must be within 45 deg of 90 deg (down) or 270 deg (up)",
                    number(surface.span_angle_deg)
                ),
            )
            .hint("0 deg points to starboard, 90 deg down, 180 deg to port, 270 deg up"),
        );
    }
}

/// Distance from the root to the nearest lower hull or strut, and the span's way into the water.
fn seat(
    p: &mut Vec<Problem>,
    at: &str,
    surface: &SurfaceSpec,
    spec: &CraftSpec,
    outline: &Outline,
) {
    let (aft, fore) = outline.ends();
    let (x, y, height) = (surface.stock_x_m, surface.root_y_m, surface.root_height_m);
    let on_hull = x.clamp(aft, fore);
    let Some(section) = outline.at(on_hull) else {
        return;
    };
    let lateral = spec.lower_hulls.lateral_position_m;
    let side = if y < 0.0 { -1.0 } else { 1.0 };
    let (gap, _) = section.distance(y - side * lateral, height);
    let to_hull = gap.hypot(x - on_hull);
    let to_strut = spec
        .struts
        .iter()
        .map(|s| {
            let beyond = |v: f64, low: f64, high: f64| (low - v).max(v - high).max(0.0);
            let dx = beyond(x, s.aft_x_m, s.fore_x_m);
            let middle = side * (lateral + s.offset_outboard_m);
            let dy = ((y - middle).abs() - 0.5 * s.thickness_m).max(0.0);
            let dz = beyond(
                height,
                section.axis_height_m,
                spec.cross_structure.underside_height_m,
            );
            dx.hypot(dy).hypot(dz)
        })
        .fold(f64::INFINITY, f64::min);
    let allowed = STAND_OFF * surface.root_chord_m;
    let nearest = to_hull.min(to_strut);
    if nearest > allowed {
        let what = if to_hull <= to_strut {
            "lower hull"
        } else {
            "strut"
        };
        p.push(
            Problem::at(
                format!("{at}.root_y_m"),
                format!(
                    "puts the root {} m away from the nearest {what}, must be within half a root chord, {} m",
                    number((nearest * 1e3).round() / 1e3),
                    number(allowed)
                ),
            )
            .hint(format!(
                "at x = {} m the hull's axis is at y = {} m, height {} m, its half breadth {} m",
                number(on_hull),
                number(side * lateral),
                number(section.axis_height_m),
                number((section.half_breadth_m * 1e3).round() / 1e3)
            )),
        );
    } else {
        points_inward(p, at, surface, side * lateral, &section);
    }
}

/// A span that runs through its own hull points the wrong way.
fn points_inward(
    p: &mut Vec<Problem>,
    at: &str,
    surface: &SurfaceSpec,
    axis_y: f64,
    section: &crate::spec::outline::Section,
) {
    let angle = surface.span_angle_deg.to_radians();
    let tip = (
        surface.root_y_m + surface.span_m * angle.cos(),
        surface.root_height_m - surface.span_m * angle.sin(),
    );
    let root = (
        surface.root_y_m - axis_y,
        surface.root_height_m - section.axis_height_m,
    );
    let along = root.0 * angle.cos() - root.1 * angle.sin();
    let radius = root.0.hypot(root.1);
    let small = section.half_breadth_m.min(section.half_height_m);
    // from a root at the surface, a span with a strong component towards the axis crosses the hull
    if small > 0.0 && radius > 0.5 * small && along < -0.5 * radius {
        let middle = (
            0.5 * (surface.root_y_m + tip.0) - axis_y,
            0.5 * (surface.root_height_m + tip.1),
        );
        let through = section.distance(middle.0, middle.1).1 || surface.span_m > radius;
        let near = section.distance(root.0, surface.root_height_m).0 < 0.5 * small;
        if through && near {
            p.push(
                Problem::at(
                    format!("{at}.span_angle_deg"),
                    format!(
                        "is {} deg: the span runs through the hull its root sits on",
                        number(surface.span_angle_deg)
                    ),
                )
                .hint(format!(
                    "did you mean {} deg? 0 deg points to starboard, 90 deg down, 180 deg to port",
                    number((180.0 - surface.span_angle_deg).rem_euclid(360.0))
                )),
            );
        }
    }
}
