//! Checks of a craft file: hulls, struts, cross-structure, weights, tables, names.

use std::path::Path;

use super::{ascending, number, surface, unique};
use crate::error::Problem;
use crate::spec::craft::{CraftSpec, EndSpec, MassSpec, SectionShape, StrutSpec, WaterplaneShape};
use crate::spec::outline::{Outline, Section};

/// Lengths that are equal on paper may differ by this after rounding, m.
pub(super) const SAME_M: f64 = 1e-6;

pub(crate) fn craft(spec: &CraftSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    let p = &mut problems;
    names(p, spec);
    stations(p, spec);
    let outline = Outline::of(&spec.lower_hulls);
    hulls_apart(p, spec, outline.as_ref());
    for (i, strut) in spec.struts.iter().enumerate() {
        waterplane(p, i, strut);
        if let Some(outline) = &outline {
            strut_on_hull(p, i, strut, spec, outline);
        }
    }
    struts_apart(p, spec);
    cross_structure(p, spec);
    mass(p, &spec.mass);
    surface::all(p, spec, outline.as_ref());
    tables(p, spec);
    if let Some(outline) = &outline {
        points(p, spec, outline);
    }
    problems
}

fn names(p: &mut Vec<Problem>, spec: &CraftSpec) {
    unique(p, "struts", "name", spec.struts.iter().map(|s| &*s.name));
    unique(
        p,
        "surfaces",
        "name",
        spec.surfaces.iter().map(|s| &*s.name),
    );
    unique(
        p,
        "supplies",
        "name",
        spec.supplies.iter().map(|s| &*s.name),
    );
    unique(
        p,
        "propulsors",
        "name",
        spec.propulsors.iter().map(|s| &*s.name),
    );
    unique(p, "points", "name", spec.points.iter().map(|s| &*s.name));
    if let MassSpec::Groups { weights, tanks } = &spec.mass {
        unique(
            p,
            "mass.groups.weights",
            "name",
            weights.iter().map(|s| &*s.name),
        );
        unique(
            p,
            "mass.groups.tanks",
            "name",
            tanks.iter().map(|s| &*s.name),
        );
    }
}

fn stations(p: &mut Vec<Problem>, spec: &CraftSpec) {
    let hull = &spec.lower_hulls;
    let at = |i| format!("lower_hulls.stations[{i}].x_m");
    ascending(p, hull.stations.iter().map(|s| s.x_m), at, "m");
    let last = hull.stations.len().saturating_sub(1);
    for (i, station) in hull.stations.iter().enumerate() {
        let at = |key: &str| format!("lower_hulls.stations[{i}].{key}");
        let section = Section::of(station);
        let end = match i {
            0 => Some(&hull.aft_end),
            _ if i == last => Some(&hull.fore_end),
            _ => None,
        };
        let may_vanish = end.is_some_and(|e| matches!(e, EndSpec::AsGiven));
        if section.half_breadth_m <= 0.0 && !may_vanish {
            p.push(
                Problem::at(at("half_breadth_m"), "is 0 m, must be more than 0 m")
                    .hint("only an end station whose end is `as_given` may come to a point"),
            );
        }
        let circle = matches!(hull.section, SectionShape::Circle);
        if circle && (section.half_height_m - section.half_breadth_m).abs() > SAME_M {
            p.push(
                Problem::at(
                    at("half_height_m"),
                    format!(
                        "is {} m on a circle of half breadth {} m, must be equal",
                        number(section.half_height_m),
                        number(section.half_breadth_m)
                    ),
                )
                .hint("leave it out, or choose the section \"ellipse\""),
            );
        }
        if section.top_m() >= spec.design_waterline_m {
            p.push(
                Problem::at(
                    at("half_breadth_m"),
                    format!(
                        "puts the hull's top at {} m, must stay below the design waterline at {} m",
                        number(section.top_m()),
                        number(spec.design_waterline_m)
                    ),
                )
                .hint(
                    "lower hulls are submerged: reduce the section or raise `design_waterline_m`",
                ),
            );
        }
    }
}

fn hulls_apart(p: &mut Vec<Problem>, spec: &CraftSpec, outline: Option<&Outline>) {
    let lateral = spec.lower_hulls.lateral_position_m;
    if let Some(broad) = outline.map(Outline::broadest_m).filter(|b| *b >= lateral) {
        p.push(
            Problem::at(
                "lower_hulls.lateral_position_m",
                format!(
                    "is {} m with hulls of {} m half breadth: they overlap on the centre plane",
                    number(lateral),
                    number(broad)
                ),
            )
            .hint(format!(
                "more than {} m keeps them apart; it is the distance from the centre plane to one hull's axis",
                number(broad)
            )),
        );
    }
}

/// Half thickness of a strut at `x_m` on the design waterline, m.
fn half_thickness(strut: &StrutSpec, x_m: f64) -> f64 {
    let half = 0.5 * strut.thickness_m;
    let middle = 0.5 * (strut.fore_x_m + strut.aft_x_m);
    let reach = 0.5 * (strut.fore_x_m - strut.aft_x_m);
    let s = ((x_m - middle) / reach).clamp(-1.0, 1.0);
    match &strut.waterplane {
        WaterplaneShape::Rectangle {} => half,
        WaterplaneShape::Parabola {} => half * (1.0 - s * s),
        WaterplaneShape::Ellipse {} => half * (1.0 - s * s).sqrt(),
        WaterplaneShape::ParabolicEnds {
            fore_length_m,
            aft_length_m,
        } => {
            let into = |beyond: f64, length: f64| {
                if length > 0.0 && beyond > 0.0 {
                    (beyond / length).min(1.0)
                } else {
                    0.0
                }
            };
            let fore = into(x_m - (strut.fore_x_m - fore_length_m), *fore_length_m);
            let aft = into(strut.aft_x_m + aft_length_m - x_m, *aft_length_m);
            half * (1.0 - fore * fore) * (1.0 - aft * aft)
        }
        WaterplaneShape::Offsets {
            x_m: xs,
            half_thickness_m: ts,
        } => {
            let n = xs.len().min(ts.len());
            let i = xs[..n].partition_point(|x| *x <= x_m);
            match i {
                0 => ts.first().copied().unwrap_or(0.0),
                i if i >= n => ts[n - 1],
                i => ts[i - 1] + (ts[i] - ts[i - 1]) * (x_m - xs[i - 1]) / (xs[i] - xs[i - 1]),
            }
        }
    }
}

fn waterplane(p: &mut Vec<Problem>, i: usize, strut: &StrutSpec) {
    let length = strut.fore_x_m - strut.aft_x_m;
    if length <= 0.0 {
        p.push(
            Problem::at(
                format!("struts[{i}].fore_x_m"),
                format!(
                    "is {} m, must be forward of `aft_x_m` at {} m",
                    number(strut.fore_x_m),
                    number(strut.aft_x_m)
                ),
            )
            .hint("x is positive forward of midships"),
        );
        return;
    }
    match &strut.waterplane {
        WaterplaneShape::ParabolicEnds {
            fore_length_m,
            aft_length_m,
        } if fore_length_m + aft_length_m > length + SAME_M => p.push(Problem::at(
            format!("struts[{i}].waterplane.parabolic_ends"),
            format!(
                "has ends of {} m together, must fit into the strut's {} m",
                number(fore_length_m + aft_length_m),
                number(length)
            ),
        )),
        WaterplaneShape::Offsets {
            x_m,
            half_thickness_m,
        } => offsets(p, i, strut, x_m, half_thickness_m),
        _ => {}
    }
}

fn offsets(p: &mut Vec<Problem>, i: usize, strut: &StrutSpec, xs: &[f64], ts: &[f64]) {
    let at = format!("struts[{i}].waterplane.offsets");
    if xs.len() != ts.len() {
        p.push(Problem::at(
            format!("{at}.half_thickness_m"),
            format!(
                "has {} values for {} values of `x_m`, must have as many",
                ts.len(),
                xs.len()
            ),
        ));
        return;
    }
    ascending(p, xs.iter().copied(), |k| format!("{at}.x_m[{k}]"), "m");
    for (k, end, key) in [
        (0, strut.aft_x_m, "aft_x_m"),
        (xs.len() - 1, strut.fore_x_m, "fore_x_m"),
    ] {
        if (xs[k] - end).abs() > SAME_M {
            p.push(Problem::at(
                format!("{at}.x_m[{k}]"),
                format!(
                    "is {} m, must be the strut's `{key}`, {} m",
                    number(xs[k]),
                    number(end)
                ),
            ));
        }
    }
    let thickest = 2.0 * ts.iter().copied().fold(0.0, f64::max);
    if (thickest - strut.thickness_m).abs() > 1e-3 * strut.thickness_m {
        p.push(Problem::at(
            format!("struts[{i}].thickness_m"),
            format!(
                "is {} m, must be twice the greatest half thickness of the offsets, {} m",
                number(strut.thickness_m),
                number(thickest)
            ),
        ));
    }
}

fn strut_on_hull(
    p: &mut Vec<Problem>,
    i: usize,
    strut: &StrutSpec,
    spec: &CraftSpec,
    outline: &Outline,
) {
    let (aft, fore) = outline.ends();
    let mut is_on = strut.fore_x_m > strut.aft_x_m;
    for (key, x) in [("fore_x_m", strut.fore_x_m), ("aft_x_m", strut.aft_x_m)] {
        if !(aft - SAME_M..=fore + SAME_M).contains(&x) {
            is_on = false;
            p.push(
                Problem::at(
                    format!("struts[{i}].{key}"),
                    format!(
                        "is {} m, must lie over the lower hull, between {} m and {} m",
                        number(x),
                        number(aft),
                        number(fore)
                    ),
                )
                .hint("the strut is longer than the hull's top allows: shorten it, or lengthen the hull"),
            );
        }
    }
    if !is_on {
        return;
    }
    // a flared side leans in below the waterline, down to the hull's top
    let lean = strut.flare_deg.to_radians().tan();
    let worst = (0..=200)
        .map(|k| strut.aft_x_m + (strut.fore_x_m - strut.aft_x_m) * f64::from(k) / 200.0)
        .filter_map(|x| {
            let hull = outline.at(x)?;
            let depth = (spec.design_waterline_m - hull.top_m()).max(0.0);
            let foot = (half_thickness(strut, x) - lean * depth).max(0.0);
            let excess = foot + strut.offset_outboard_m.abs() - hull.half_breadth_m;
            Some((excess, x, foot, hull.half_breadth_m))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    // the ends may stand over a hull that closes to a point: allow a hand's breadth
    let allowed = 0.05 * outline.broadest_m();
    if let Some((_, x, foot, breadth)) = worst.filter(|w| w.0 > allowed) {
        p.push(
            Problem::at(
                format!("struts[{i}].thickness_m"),
                format!(
                    "gives a foot {} m wide at x = {} m, where the hull is {} m wide",
                    number(2.0 * foot),
                    number(x),
                    number(2.0 * breadth)
                ),
            )
            .hint("the strut is longer or thicker than the hull's top allows: shorten it, thin it, or reduce `offset_outboard_m`"),
        );
    }
}

fn struts_apart(p: &mut Vec<Problem>, spec: &CraftSpec) {
    for (i, pair) in spec.struts.windows(2).enumerate() {
        let (fore, aft) = (&pair[0], &pair[1]);
        if aft.fore_x_m >= fore.aft_x_m {
            let overlaps = aft.aft_x_m < fore.fore_x_m;
            let told = format!(
                "is {} m, must be aft of the end of {:?} at {} m",
                number(aft.fore_x_m),
                fore.name,
                number(fore.aft_x_m)
            );
            let hint = if overlaps {
                "the struts overlap: leave a gap, or join them into one"
            } else {
                "list the struts from forward aft"
            };
            p.push(Problem::at(format!("struts[{}].fore_x_m", i + 1), told).hint(hint));
        }
    }
    for (i, strut) in spec.struts.iter().enumerate() {
        let inner =
            spec.lower_hulls.lateral_position_m + strut.offset_outboard_m - 0.5 * strut.thickness_m;
        if inner <= 0.0 {
            p.push(Problem::at(
                format!("struts[{i}].offset_outboard_m"),
                format!(
                    "puts the strut's inner side {} m across the centre plane: port and starboard strut overlap",
                    number(-inner)
                ),
            ));
        }
    }
}

fn cross_structure(p: &mut Vec<Problem>, spec: &CraftSpec) {
    let b = &spec.cross_structure;
    if b.fore_x_m <= b.aft_x_m {
        p.push(Problem::at(
            "cross_structure.fore_x_m",
            format!(
                "is {} m, must be forward of `aft_x_m` at {} m",
                number(b.fore_x_m),
                number(b.aft_x_m)
            ),
        ));
    }
    if b.underside_height_m <= spec.design_waterline_m {
        p.push(
            Problem::at(
                "cross_structure.underside_height_m",
                format!(
                    "is {} m, must be above the design waterline at {} m",
                    number(b.underside_height_m),
                    number(spec.design_waterline_m)
                ),
            )
            .hint("heights are above the baseline, not above water"),
        );
    }
    let reach = spec.lower_hulls.lateral_position_m;
    if b.half_breadth_m < reach {
        p.push(
            Problem::at(
                "cross_structure.half_breadth_m",
                format!(
                    "is {} m, must reach the hulls' centre planes at {} m",
                    number(b.half_breadth_m),
                    number(reach)
                ),
            )
            .hint("half the breadth of the box, from the centre plane to its side"),
        );
    }
}

fn mass(p: &mut Vec<Problem>, mass: &MassSpec) {
    match mass {
        MassSpec::Total {
            k_xx_m,
            k_yy_m,
            k_zz_m,
            ..
        } => {
            // moments of inertia are sums of squares: none exceeds the sum of the others
            let k = [("k_xx_m", k_xx_m), ("k_yy_m", k_yy_m), ("k_zz_m", k_zz_m)];
            for i in 0..3 {
                let limit = k[(i + 1) % 3].1.hypot(*k[(i + 2) % 3].1);
                if *k[i].1 > limit * (1.0 + 1e-9) {
                    p.push(
                        Problem::at(
                            format!("mass.total.{}", k[i].0),
                            format!(
                                "is {} m, no body with the other two exceeds {} m",
                                number(*k[i].1),
                                number(limit)
                            ),
                        )
                        .hint(
                            "for a craft of this type k_zz is close to the root of k_xx^2 + k_yy^2",
                        ),
                    );
                }
            }
        }
        MassSpec::Groups { weights, tanks } => {
            let sum: f64 = weights.iter().map(|w| w.mass_kg).sum::<f64>()
                + tanks
                    .iter()
                    .map(|t| t.density_kg_m3 * t.length_m * t.breadth_m * t.depth_m * t.fill_frac)
                    .sum::<f64>();
            if sum <= 0.0 {
                p.push(Problem::at(
                    "mass.groups.weights",
                    format!(
                        "add up to {} kg with the tanks, must be more than 0 kg",
                        number(sum)
                    ),
                ));
            }
        }
    }
}

fn tables(p: &mut Vec<Problem>, spec: &CraftSpec) {
    let at = |i| format!("steady[{i}].speed_kn");
    ascending(p, spec.steady.iter().map(|r| r.speed_kn), at, "kn");
    let at = |i| format!("resistance[{i}].speed_kn");
    ascending(p, spec.resistance.iter().map(|r| r.speed_kn), at, "kn");
}

/// Named points and propulsors belong to the craft: within half a length beyond its ends.
fn points(p: &mut Vec<Problem>, spec: &CraftSpec, outline: &Outline) {
    let box_ = &spec.cross_structure;
    let (aft, fore) = outline.ends();
    let (aft, fore) = (aft.min(box_.aft_x_m), fore.max(box_.fore_x_m));
    let margin = 0.5 * (fore - aft).abs();
    let side = 2.0 * box_.half_breadth_m.max(spec.lower_hulls.lateral_position_m);
    let mut check = |at: String, x: f64, y: f64| {
        for (key, v, low, high) in [
            ("x_m", x, aft - margin, fore + margin),
            ("y_m", y, -side, side),
        ] {
            if !(low..=high).contains(&v) {
                p.push(
                    Problem::at(
                        format!("{at}.{key}"),
                        format!(
                            "is {} m, far outside the craft: must lie between {} m and {} m",
                            number(v),
                            number(low),
                            number(high)
                        ),
                    )
                    .hint("x counts from midships of the lower hulls, forward positive; y from the centre plane"),
                );
            }
        }
    };
    for (i, point) in spec.points.iter().enumerate() {
        check(format!("points[{i}]"), point.x_m, point.y_m);
    }
    for (i, propulsor) in spec.propulsors.iter().enumerate() {
        check(format!("propulsors[{i}]"), propulsor.x_m, propulsor.y_m);
    }
}
