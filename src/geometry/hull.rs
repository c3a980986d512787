//! Lower hulls: sections at any x, lengths, joins.
//!
//! # Equation
//! Between stations the squares of half breadth and half height and the axis height run linearly
//! in x, so the area of a circle does too. Beyond the end stations, with s the distance over the
//! end's length:
//! ```text
//! ellipsoid   b² = b0² (1 - s²)      paraboloid  b² = b0² (1 - s)
//! parabola    b  = b0  (1 - s²)      as given    the hull stops
//! ```
//! half height likewise, axis height that of the end station.
//!
//! # Symbols
//! b `half_breadth_m`, h `half_height_m`, m; z down from the design waterline.
//!
//! # Valid when
//! The hull is wholly submerged at the design waterline.
//!
//! # Checked by
//! `spheroid_and_cylinder_volumes`, `box_hull_volume`, `ends_meet_their_stations`

use std::f64::consts::PI;

use super::integrate::merged;
use super::outline::Curve;
use crate::error::Problem;
use crate::spec::craft::{EndSpec, LowerHullSpec, SectionShape};

/// The starboard lower hull, with sections at any x.
#[derive(Clone, Debug)]
pub struct LowerHull {
    /// Shape of the sections.
    pub shape: SectionShape,
    /// y of the hull's centre plane, m.
    pub centre_y_m: f64,
    /// Aftmost x, m.
    pub aft_x_m: f64,
    /// Foremost x, m.
    pub fore_x_m: f64,
    stations: Vec<Station>,
    fore_end: EndSpec,
    aft_end: EndSpec,
}

#[derive(Clone, Copy, Debug)]
struct Station {
    x: f64,
    b2: f64,
    h2: f64,
    z: f64,
}

/// A lower hull's section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HullSection {
    /// Forward of midships, m.
    pub x_m: f64,
    /// Half breadth, m.
    pub half_breadth_m: f64,
    /// Half height, m.
    pub half_height_m: f64,
    /// z of the axis, m.
    pub axis_z_m: f64,
    /// Area, m2.
    pub area_m2: f64,
    /// d(b h)/dx, m: half of it over the mean radius is the slope of the surface.
    pub bh_slope_m: f64,
}

impl EndSpec {
    /// Length beyond the station, m.
    pub fn length_m(&self) -> f64 {
        match *self {
            EndSpec::AsGiven => 0.0,
            EndSpec::Ellipsoid { length_m }
            | EndSpec::Paraboloid { length_m }
            | EndSpec::Parabola { length_m } => length_m,
        }
    }

    /// Factor on b² and h² at the share s of the end, and its derivative by s.
    fn square_factor(&self, s: f64) -> (f64, f64) {
        match self {
            EndSpec::AsGiven => (1.0, 0.0),
            EndSpec::Ellipsoid { .. } => (1.0 - s * s, -2.0 * s),
            EndSpec::Paraboloid { .. } => (1.0 - s, -1.0),
            EndSpec::Parabola { .. } => {
                let f = 1.0 - s * s;
                (f * f, -4.0 * s * f)
            }
        }
    }
}

impl LowerHull {
    /// Builds the hull; every geometric problem found is pushed.
    pub fn build(
        spec: &LowerHullSpec,
        waterline_m: f64,
        problems: &mut Vec<Problem>,
    ) -> Option<LowerHull> {
        let before = problems.len();
        check(spec, waterline_m, problems);
        if problems.len() > before {
            return None;
        }
        let stations: Vec<Station> = spec
            .stations
            .iter()
            .map(|s| {
                let h = s.half_height_m.unwrap_or(s.half_breadth_m);
                Station {
                    x: s.x_m,
                    b2: s.half_breadth_m * s.half_breadth_m,
                    h2: h * h,
                    z: waterline_m - s.axis_height_m.unwrap_or(h),
                }
            })
            .collect();
        let (first, last) = (stations.first()?.x, stations.last()?.x);
        Some(LowerHull {
            shape: spec.section,
            centre_y_m: spec.lateral_position_m,
            aft_x_m: first - spec.aft_end.length_m(),
            fore_x_m: last + spec.fore_end.length_m(),
            stations,
            fore_end: spec.fore_end,
            aft_end: spec.aft_end,
        })
    }

    /// Length over all, m.
    pub fn length_m(&self) -> f64 {
        self.fore_x_m - self.aft_x_m
    }

    /// Ends, stations and joins, ascending: between them the shape is smooth.
    pub fn breakpoints(&self) -> Vec<f64> {
        let mut x: Vec<f64> = self.stations.iter().map(|s| s.x).collect();
        x.extend([self.aft_x_m, self.fore_x_m]);
        merged(x, 1e-9 * self.length_m())
    }

    /// Joins of the ends with the stations (the ends themselves included), ascending.
    pub fn joins(&self) -> Vec<f64> {
        let x = vec![
            self.aft_x_m,
            self.stations[0].x,
            self.stations[self.stations.len() - 1].x,
            self.fore_x_m,
        ];
        merged(x, 1e-9 * self.length_m())
    }

    /// The section at `x_m`; none beyond the ends.
    pub fn section_at(&self, x_m: f64) -> Option<HullSection> {
        if !(x_m >= self.aft_x_m && x_m <= self.fore_x_m) {
            return None;
        }
        let first = self.stations[0];
        let last = self.stations[self.stations.len() - 1];
        let (b2, h2, z, slope) = if x_m < first.x {
            end_section(&first, &self.aft_end, first.x - x_m, -1.0)
        } else if x_m > last.x {
            end_section(&last, &self.fore_end, x_m - last.x, 1.0)
        } else {
            let i = self.stations.partition_point(|s| s.x < x_m).max(1);
            between(&self.stations[i - 1], &self.stations[i], x_m)
        };
        let (b, h) = (b2.max(0.0).sqrt(), h2.max(0.0).sqrt());
        Some(HullSection {
            x_m,
            half_breadth_m: b,
            half_height_m: h,
            axis_z_m: z,
            area_m2: section_area(self.shape, b, h),
            bh_slope_m: slope,
        })
    }

    /// z of the hull's upper surface at `y_m` from its centre plane, m.
    pub fn top_z(&self, s: &HullSection, y_m: f64) -> f64 {
        s.axis_z_m - self.half_chord_height(s, y_m)
    }

    /// Height of the upper surface above the axis at `y_m` from the centre plane.
    fn half_chord_height(&self, s: &HullSection, y_m: f64) -> f64 {
        let (b, h) = (s.half_breadth_m, s.half_height_m);
        match self.shape {
            SectionShape::RoundedBox { corner_frac } => {
                let r = corner_frac * b.min(h);
                let over = (y_m.abs() - (b - r)).max(0.0);
                h - r + (r * r - over * over).max(0.0).sqrt()
            }
            _ => h * (1.0 - (y_m / b).powi(2)).max(0.0).sqrt(),
        }
    }

    /// Half breadth of the hull at the level `z_m`; 0 above and below it.
    pub fn half_chord(&self, s: &HullSection, z_m: f64) -> f64 {
        let (b, h) = (s.half_breadth_m, s.half_height_m);
        let up = (z_m - s.axis_z_m).abs();
        if up >= h {
            return 0.0;
        }
        match self.shape {
            SectionShape::RoundedBox { corner_frac } => {
                let r = corner_frac * b.min(h);
                let over = (up - (h - r)).max(0.0);
                b - r + (r * r - over * over).max(0.0).sqrt()
            }
            _ => b * (1.0 - (up / h).powi(2)).max(0.0).sqrt(),
        }
    }

    /// The outline from the point of the upper side at `y1` inboard, round the keel to the point
    /// of the upper side at `y2` (both from the hull's centre plane, y1 <= y2), in craft axes.
    pub fn outline(&self, s: &HullSection, y1: f64, y2: f64) -> Vec<Curve> {
        let (b, h) = (s.half_breadth_m, s.half_height_m);
        let centre = [self.centre_y_m, s.axis_z_m];
        if let SectionShape::RoundedBox { corner_frac } = self.shape {
            return box_outline(centre, b, h, corner_frac * b.min(h), y1, y2);
        }
        vec![Curve::Arc {
            centre,
            radii: [b, h],
            from_rad: 2.0 * PI - (y1 / b).clamp(-1.0, 1.0).acos(),
            to_rad: -(y2 / b).clamp(-1.0, 1.0).acos(),
        }]
    }
}

fn end_section(s: &Station, end: &EndSpec, away: f64, sign: f64) -> (f64, f64, f64, f64) {
    let length = end.length_m();
    let (f, df) = end.square_factor((away / length).min(1.0));
    let bh = (s.b2 * s.h2).sqrt();
    (s.b2 * f, s.h2 * f, s.z, bh * df * sign / length)
}

fn between(a: &Station, b: &Station, x: f64) -> (f64, f64, f64, f64) {
    let length = b.x - a.x;
    let s = (x - a.x) / length;
    let mix = |p: f64, q: f64| p + s * (q - p);
    let (b2, h2) = (mix(a.b2, b.b2), mix(a.h2, b.h2));
    let bh = (b2 * h2).max(0.0).sqrt();
    let slope = if bh > 0.0 {
        ((b.b2 - a.b2) * h2 + b2 * (b.h2 - a.h2)) / (2.0 * bh * length)
    } else {
        0.0
    };
    (b2, h2, mix(a.z, b.z), slope)
}

fn section_area(shape: SectionShape, b: f64, h: f64) -> f64 {
    match shape {
        SectionShape::RoundedBox { corner_frac } => {
            let r = corner_frac * b.min(h);
            4.0 * b * h - (4.0 - PI) * r * r
        }
        _ => PI * b * h,
    }
}

/// Rounded box from the upper side at y1, inboard round the keel, to the upper side at y2.
fn box_outline(c: [f64; 2], b: f64, h: f64, r: f64, y1: f64, y2: f64) -> Vec<Curve> {
    let (fy, fz) = (b - r, h - r);
    let line = |p: [f64; 2], q: [f64; 2]| Curve::Line {
        from: [c[0] + p[0], c[1] + p[1]],
        to: [c[0] + q[0], c[1] + q[1]],
    };
    let arc = |y: f64, z: f64, from_rad: f64, to_rad: f64| Curve::Arc {
        centre: [c[0] + y, c[1] + z],
        radii: [r, r],
        from_rad,
        to_rad,
    };
    let mut start = 1.5 * PI; // where the first corner is entered
    let mut stop = -0.5 * PI;
    let mut chain = Vec::with_capacity(9);
    if y1 > -fy {
        chain.push(line([y1, -h], [-fy, -h]));
    } else if r > 0.0 {
        start = PI + ((-fy - y1) / r).clamp(0.0, 1.0).acos();
    }
    if y2 > fy && r > 0.0 {
        stop = -((y2 - fy) / r).clamp(0.0, 1.0).acos();
    }
    if r > 0.0 {
        chain.push(arc(-fy, -fz, start, PI));
    }
    chain.push(line([-b, -fz], [-b, fz]));
    if r > 0.0 {
        chain.push(arc(-fy, fz, PI, 0.5 * PI));
    }
    chain.push(line([-fy, h], [fy, h]));
    if r > 0.0 {
        chain.push(arc(fy, fz, 0.5 * PI, 0.0));
    }
    chain.push(line([b, fz], [b, -fz]));
    if r > 0.0 {
        chain.push(arc(fy, -fz, 0.0, stop));
    }
    if y2 < fy {
        chain.push(line([fy, -h], [y2, -h]));
    }
    chain
}

const LEAST_M: f64 = 1e-3; // smaller lengths are slips of the keyboard
const GREATEST_M: f64 = 1e3; // no craft of the type comes near it

/// Pushes a problem unless `value` lies in the open-closed range.
pub(super) fn in_range(
    problems: &mut Vec<Problem>,
    key: &str,
    value: f64,
    low: f64,
    high: f64,
) -> bool {
    let good = value >= low && value <= high; // false for a NaN
    if !good {
        problems.push(Problem::at(
            key,
            format!("is {value}, must lie between {low} and {high}"),
        ));
    }
    good
}

fn check(spec: &LowerHullSpec, waterline_m: f64, problems: &mut Vec<Problem>) {
    let key = "lower_hulls";
    if let SectionShape::RoundedBox { corner_frac } = spec.section {
        in_range(
            problems,
            &format!("{key}.section.rounded_box.corner_frac"),
            corner_frac,
            0.0,
            1.0,
        );
    }
    let y = spec.lateral_position_m;
    in_range(
        problems,
        &format!("{key}.lateral_position_m"),
        y,
        LEAST_M,
        GREATEST_M,
    );
    if spec.stations.len() < 2 {
        problems.push(
            Problem::at(
                format!("{key}.stations"),
                format!("has {} stations, needs at least 2", spec.stations.len()),
            )
            .hint("give a station at each end of the parallel middle and choose ends beyond"),
        );
    }
    for (name, end, station) in [
        ("fore_end", &spec.fore_end, spec.stations.last()),
        ("aft_end", &spec.aft_end, spec.stations.first()),
    ] {
        if *end != EndSpec::AsGiven {
            in_range(
                problems,
                &format!("{key}.{name}"),
                end.length_m(),
                LEAST_M,
                GREATEST_M,
            );
            if station.is_some_and(|s| s.half_breadth_m <= 0.0) {
                problems.push(Problem::at(
                    format!("{key}.{name}"),
                    "closes a station that has no breadth; use `as_given` there",
                ));
            }
        }
    }
    for (i, s) in spec.stations.iter().enumerate() {
        check_station(spec, i, waterline_m, problems);
        if i > 0 {
            let before = spec.stations[i - 1].x_m;
            if s.x_m <= before {
                problems.push(
                    Problem::at(
                        format!("{key}.stations[{i}].x_m"),
                        format!(
                            "is {} m, must lie forward of the station before ({before} m)",
                            s.x_m
                        ),
                    )
                    .hint("stations run from aft forward, x ascending"),
                );
            }
        }
    }
}

fn check_station(spec: &LowerHullSpec, i: usize, waterline_m: f64, problems: &mut Vec<Problem>) {
    let s = &spec.stations[i];
    let key = format!("lower_hulls.stations[{i}]");
    let b = s.half_breadth_m;
    let h = s.half_height_m.unwrap_or(b);
    let axis = s.axis_height_m.unwrap_or(h);
    let at_end = i == 0 || i + 1 == spec.stations.len();
    let least = if at_end { 0.0 } else { LEAST_M };
    let mut good = in_range(
        problems,
        &format!("{key}.x_m"),
        s.x_m,
        -GREATEST_M,
        GREATEST_M,
    );
    good &= in_range(
        problems,
        &format!("{key}.half_breadth_m"),
        b,
        least,
        GREATEST_M,
    );
    good &= in_range(
        problems,
        &format!("{key}.half_height_m"),
        h,
        least,
        GREATEST_M,
    );
    good &= in_range(
        problems,
        &format!("{key}.axis_height_m"),
        axis,
        0.0,
        GREATEST_M,
    );
    if !good {
        return;
    }
    if spec.section == SectionShape::Circle && (h - b).abs() > 1e-9 {
        problems.push(
            Problem::at(
                format!("{key}.half_height_m"),
                format!("is {h} m and the half breadth {b} m; a circle has them equal"),
            )
            .hint("leave half_height_m out, or choose the section `ellipse`"),
        );
    }
    if axis + h >= waterline_m {
        problems.push(
            Problem::at(
                format!("{key}.axis_height_m"),
                format!(
                    "puts the hull's top {:.3} m above the baseline, must stay below the design waterline {waterline_m} m",
                    axis + h
                ),
            )
            .hint("lower the axis or raise design_waterline_m"),
        );
    }
    if b >= spec.lateral_position_m {
        problems.push(
            Problem::at(
                format!("{key}.half_breadth_m"),
                format!(
                    "is {b} m, so the hulls overlap: must be less than lateral_position_m {} m",
                    spec.lateral_position_m
                ),
            )
            .hint("move the hulls apart"),
        );
    }
}
