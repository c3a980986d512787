//! Outlines the checks are made with.

use std::f64::consts::PI;

use crate::geometry::contour::Contour;
use crate::hydro::section::{SectionOptions, SectionSolver};

/// Points per smooth piece.
const DENSE: usize = 400;

fn arc(centre: [f64; 2], radius: [f64; 2], from: f64, to: f64) -> Vec<[f64; 2]> {
    (0..=DENSE)
        .map(|i| {
            let t = from + (to - from) * i as f64 / DENSE as f64;
            [
                centre[0] + radius[0] * t.cos(),
                centre[1] - radius[1] * t.sin(),
            ]
        })
        .collect()
}

fn contour(pieces: Vec<Vec<[f64; 2]>>, piercing: bool, area: f64, y: f64, z: f64) -> Contour {
    Contour {
        x_m: 0.0,
        pieces,
        surface_piercing: piercing,
        area_m2: area,
        half_breadth_m: 1.0,
        half_height_m: 1.0,
        axis_z_m: z,
        centre_y_m: y,
        strut_half_thickness_m: 0.0,
    }
}

/// Half-immersed circle of radius 1, centre at y.
pub(super) fn semicircle(y: f64) -> Contour {
    contour(
        vec![arc([y, 0.0], [1.0, 1.0], PI, 2.0 * PI)],
        true,
        PI / 2.0,
        y,
        0.0,
    )
}

/// Half-immersed ellipse of half breadth b and draught d.
pub(super) fn half_ellipse(y: f64, b: f64, d: f64) -> Contour {
    contour(
        vec![arc([y, 0.0], [b, d], PI, 2.0 * PI)],
        true,
        PI / 2.0 * b * d,
        y,
        0.0,
    )
}

/// Submerged circle of radius 1, axis at depth h.
pub(super) fn submerged_circle(y: f64, h: f64) -> Contour {
    contour(
        vec![arc([y, h], [1.0, 1.0], PI / 2.0, 2.5 * PI)],
        false,
        PI,
        y,
        h,
    )
}

/// Box of half breadth b and draught d.
pub(super) fn floating_box(y: f64, b: f64, d: f64) -> Contour {
    let side = |s: f64| vec![[y + s * b, 0.0], [y + s * b, d]];
    let mut up = side(1.0);
    up.reverse();
    contour(
        vec![side(-1.0), vec![[y - b, d], [y + b, d]], up],
        true,
        2.0 * b * d,
        y,
        0.0,
    )
}

/// Circle of radius 1 with axis at depth h under a wall-sided strut of thickness t.
pub(super) fn circle_and_strut(y: f64, h: f64, t: f64) -> Contour {
    let half = 0.5 * t;
    let join = half.asin(); // from the vertical
    let top = h - join.cos();
    let hull = arc([y, h], [1.0, 1.0], PI / 2.0 + join, 2.5 * PI - join);
    let area = PI - (join - 0.5 * (2.0 * join).sin()) + t * top;
    let pieces = vec![
        vec![[y - half, 0.0], [y - half, top]],
        hull,
        vec![[y + half, top], [y + half, 0.0]],
    ];
    contour(pieces, true, area, y, h)
}

/// Solver with so many panels per hull, the rest by default.
pub(super) fn solver_of(contour: &Contour, panels: usize) -> SectionSolver {
    let options = SectionOptions {
        panels,
        ..SectionOptions::default()
    };
    SectionSolver::new(contour, &options).unwrap()
}

/// Frequency of wave number k for g = 1.
pub(super) fn omega(k: f64) -> f64 {
    k.sqrt()
}

/// Solver with the default options.
pub(super) fn solver(contour: &Contour) -> SectionSolver {
    SectionSolver::new(contour, &SectionOptions::default()).unwrap()
}

/// Lewis section: y + i (depth) from M (zeta + a1/zeta + a3/zeta^3), half breadth M(1 + a1 + a3).
pub(super) fn lewis(centre: f64, a1: f64, a3: f64, m: f64) -> Contour {
    let points = (0..=DENSE)
        .map(|i| {
            let t = PI * (1.0 - i as f64 / DENSE as f64);
            let y = m * ((1.0 + a1) * t.cos() + a3 * (3.0 * t).cos());
            let z = m * ((1.0 - a1) * t.sin() - a3 * (3.0 * t).sin());
            [centre + y, if i == 0 || i == DENSE { 0.0 } else { z }]
        })
        .collect();
    let area = PI / 2.0 * m * m * (1.0 - a1 * a1 - 3.0 * a3 * a3);
    contour(vec![points], true, area, centre, 0.0)
}
