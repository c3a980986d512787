//! Struts: waterplanes, flare, volumes.
//!
//! # Equation
//! Half thickness at the design waterline t0(x) after the chosen shape; above and below it
//! ```text
//! t(x, z) = t0(x) (1 - z tan(flare) / (T/2)),   T the greatest thickness
//! ```
//! so that the sides lean by the flare where the strut is thickest and the ends keep their place.
//! The strut runs down to the upper surface of its hull.
//!
//! # Valid when
//! The strut stands within its hull's length and breadth (checked).
//!
//! # Checked by
//! `twin_rect_20`, `twin_parabola_22`, `box_with_strut_has_the_volume_of_its_prisms`, `flare_widens_upwards`

use super::hull::{HullSection, LowerHull, in_range};
use super::integrate::merged;
use crate::error::Problem;
use crate::spec::craft::{StrutSpec, WaterplaneShape};

/// One strut of the starboard side.
#[derive(Clone, Debug)]
pub struct Strut {
    /// Name for messages.
    pub name: String,
    /// Aftmost x at the design waterline, m.
    pub aft_x_m: f64,
    /// Foremost x, m.
    pub fore_x_m: f64,
    /// y of the strut's centre plane, m.
    pub centre_y_m: f64,
    /// Offset of that plane from the hull's, outboard positive, m.
    pub offset_m: f64,
    /// Greatest thickness at the design waterline, m.
    pub thickness_m: f64,
    /// Relative change of thickness per metre of height, 1/m.
    pub taper_1_m: f64,
    shape: WaterplaneShape,
}

impl Strut {
    /// Builds strut `index` of the craft; problems are pushed.
    pub fn build(
        spec: &StrutSpec,
        index: usize,
        hull: &LowerHull,
        problems: &mut Vec<Problem>,
    ) -> Option<Strut> {
        let before = problems.len();
        let key = format!("struts[{index}]");
        check_numbers(spec, &key, problems);
        if problems.len() > before {
            return None;
        }
        let strut = Strut {
            name: spec.name.clone(),
            aft_x_m: spec.aft_x_m,
            fore_x_m: spec.fore_x_m,
            centre_y_m: hull.centre_y_m + spec.offset_outboard_m,
            offset_m: spec.offset_outboard_m,
            thickness_m: spec.thickness_m,
            taper_1_m: spec.flare_deg.to_radians().tan() / (0.5 * spec.thickness_m),
            shape: spec.waterplane.clone(),
        };
        strut.check_on_hull(&key, hull, problems);
        (problems.len() == before).then_some(strut)
    }

    /// Length at the design waterline, m.
    pub fn length_m(&self) -> f64 {
        self.fore_x_m - self.aft_x_m
    }

    /// Half thickness at the design waterline, m; 0 beyond the ends.
    pub fn half_thickness(&self, x_m: f64) -> f64 {
        if !(x_m >= self.aft_x_m && x_m <= self.fore_x_m) {
            return 0.0;
        }
        let half = 0.5 * self.thickness_m;
        let s = (2.0 * x_m - self.aft_x_m - self.fore_x_m) / self.length_m();
        match &self.shape {
            WaterplaneShape::Rectangle {} => half,
            WaterplaneShape::Parabola {} => half * (1.0 - s * s).max(0.0),
            WaterplaneShape::Ellipse {} => half * (1.0 - s * s).max(0.0).sqrt(),
            WaterplaneShape::ParabolicEnds {
                fore_length_m,
                aft_length_m,
            } => {
                let fore = (x_m - (self.fore_x_m - fore_length_m)).max(0.0) / fore_length_m;
                let aft = (self.aft_x_m + aft_length_m - x_m).max(0.0) / aft_length_m;
                let s = fore.max(aft);
                half * (1.0 - s * s).max(0.0)
            }
            WaterplaneShape::Offsets {
                x_m: xs,
                half_thickness_m,
            } => linear(xs, half_thickness_m, x_m),
        }
    }

    /// Half thickness at the height `z_m` (down positive), m.
    pub fn half_thickness_at(&self, x_m: f64, z_m: f64) -> f64 {
        self.half_thickness(x_m) * (1.0 - z_m * self.taper_1_m).max(0.0)
    }

    /// Ends and joins, ascending: between them the waterplane is smooth.
    pub fn breakpoints(&self) -> Vec<f64> {
        let mut x = vec![self.aft_x_m, self.fore_x_m];
        match &self.shape {
            WaterplaneShape::ParabolicEnds {
                fore_length_m,
                aft_length_m,
            } => x.extend([self.aft_x_m + aft_length_m, self.fore_x_m - fore_length_m]),
            WaterplaneShape::Offsets { x_m, .. } => x.extend(
                x_m.iter()
                    .filter(|v| **v > self.aft_x_m && **v < self.fore_x_m),
            ),
            _ => {}
        }
        merged(x, 1e-9 * self.length_m())
    }

    /// True when the thickness falls as a square root at the ends.
    pub fn has_round_ends(&self) -> bool {
        matches!(self.shape, WaterplaneShape::Ellipse {})
    }

    /// Where the faces meet the hull: (y from the hull's centre plane, z) inboard and outboard.
    pub fn junction(&self, hull: &LowerHull, s: &HullSection) -> [[f64; 2]; 2] {
        [-1.0, 1.0].map(|side| {
            let mut z = hull.top_z(s, self.offset_m);
            let mut y = self.offset_m;
            for _ in 0..60 {
                y = (self.offset_m + side * self.half_thickness_at(s.x_m, z))
                    .clamp(-s.half_breadth_m, s.half_breadth_m);
                let next = hull.top_z(s, y);
                let done = (next - z).abs() < 1e-13;
                z = next;
                if done {
                    break;
                }
            }
            [y, z]
        })
    }

    fn check_on_hull(&self, key: &str, hull: &LowerHull, problems: &mut Vec<Problem>) {
        const ROOM_M: f64 = 1e-9; // the ends may coincide with the hull's
        const CUTS: usize = 200;
        for (name, x, over) in [
            ("fore_x_m", self.fore_x_m, self.fore_x_m - hull.fore_x_m),
            ("aft_x_m", self.aft_x_m, hull.aft_x_m - self.aft_x_m),
        ] {
            if over > ROOM_M {
                problems.push(
                    Problem::at(
                        format!("{key}.{name}"),
                        format!(
                            "is {x} m, beyond the hull, which runs from {:.3} to {:.3} m",
                            hull.aft_x_m, hull.fore_x_m
                        ),
                    )
                    .hint("shorten the strut or lengthen the lower hull"),
                );
                return;
            }
        }
        for i in 0..=CUTS {
            let x = self.aft_x_m + self.length_m() * i as f64 / CUTS as f64;
            let Some(s) = hull.section_at(x) else {
                continue;
            };
            let top = hull.top_z(&s, 0.0);
            let t = self.half_thickness_at(x, top);
            let reach = self.offset_m.abs() + t;
            if reach > s.half_breadth_m + ROOM_M {
                problems.push(
                    Problem::at(
                        key,
                        format!(
                            "reaches {reach:.3} m from the hull's centre plane at x = {x:.2} m, where the hull is only {:.3} m wide a side",
                            s.half_breadth_m
                        ),
                    )
                    .hint("the strut is longer or thicker than the hull's top allows: shorten, thin or centre it"),
                );
                return;
            }
            if 1.0 - top * self.taper_1_m < 0.05 {
                problems.push(
                    Problem::at(
                        format!("{key}.flare_deg"),
                        "leaves no thickness where the strut meets the hull",
                    )
                    .hint("flare less"),
                );
                return;
            }
        }
    }
}

fn linear(xs: &[f64], ys: &[f64], x: f64) -> f64 {
    let i = xs.partition_point(|v| *v < x);
    if i == 0 {
        return if (xs[0] - x).abs() < 1e-9 { ys[0] } else { 0.0 };
    }
    if i == xs.len() {
        return 0.0;
    }
    let s = (x - xs[i - 1]) / (xs[i] - xs[i - 1]);
    ys[i - 1] + s * (ys[i] - ys[i - 1])
}

fn check_numbers(spec: &StrutSpec, key: &str, problems: &mut Vec<Problem>) {
    let mut good = true;
    for (name, x) in [("fore_x_m", spec.fore_x_m), ("aft_x_m", spec.aft_x_m)] {
        good &= in_range(problems, &format!("{key}.{name}"), x, -1e3, 1e3);
    }
    good &= in_range(
        problems,
        &format!("{key}.thickness_m"),
        spec.thickness_m,
        1e-3,
        1e2,
    );
    good &= in_range(
        problems,
        &format!("{key}.flare_deg"),
        spec.flare_deg,
        -45.0,
        45.0,
    );
    good &= in_range(
        problems,
        &format!("{key}.offset_outboard_m"),
        spec.offset_outboard_m,
        -1e2,
        1e2,
    );
    if !good {
        return;
    }
    let length = spec.fore_x_m - spec.aft_x_m;
    if length < 1e-2 {
        problems.push(
            Problem::at(
                format!("{key}.fore_x_m"),
                format!(
                    "is {} m, must lie forward of aft_x_m {} m",
                    spec.fore_x_m, spec.aft_x_m
                ),
            )
            .hint("x is forward positive"),
        );
        return;
    }
    match &spec.waterplane {
        WaterplaneShape::ParabolicEnds {
            fore_length_m,
            aft_length_m,
        } => {
            let at = format!("{key}.waterplane.parabolic_ends");
            let mut fine = in_range(
                problems,
                &format!("{at}.fore_length_m"),
                *fore_length_m,
                1e-3,
                1e3,
            );
            fine &= in_range(
                problems,
                &format!("{at}.aft_length_m"),
                *aft_length_m,
                1e-3,
                1e3,
            );
            if fine && fore_length_m + aft_length_m > length * (1.0 + 1e-12) {
                problems.push(Problem::at(
                    at,
                    format!(
                        "has ends of {fore_length_m} and {aft_length_m} m, together longer than the strut ({length:.3} m)"
                    ),
                ));
            }
        }
        WaterplaneShape::Offsets {
            x_m,
            half_thickness_m,
        } => check_offsets(spec, key, x_m, half_thickness_m, problems),
        _ => {}
    }
}

fn check_offsets(spec: &StrutSpec, key: &str, x: &[f64], t: &[f64], problems: &mut Vec<Problem>) {
    let at = format!("{key}.waterplane.offsets");
    if x.len() < 2 || x.len() != t.len() {
        problems.push(Problem::at(
            at,
            format!(
                "has {} x and {} half thicknesses; needs as many of each, at least 2",
                x.len(),
                t.len()
            ),
        ));
        return;
    }
    for i in 0..x.len() {
        in_range(
            problems,
            &format!("{at}.half_thickness_m[{i}]"),
            t[i],
            0.0,
            0.5 * spec.thickness_m * (1.0 + 1e-9),
        );
        let low = if i == 0 {
            spec.aft_x_m
        } else {
            x[i - 1] + 1e-6
        };
        in_range(
            problems,
            &format!("{at}.x_m[{i}]"),
            x[i],
            low,
            spec.fore_x_m,
        );
    }
}
