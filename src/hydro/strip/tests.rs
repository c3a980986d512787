//! Checks of the strip integrals.

use super::*;
use crate::geometry::contour::Contour;

#[test]
fn uniform_hull_has_the_textbook_integrals() {
    // deep circle of radius 1: a22 = a33 = pi, two hulls, axis at depth h: sway-roll -h a, roll h^2 a
    let (h, l) = (10.0, 24.0);
    let a = 2.0 * std::f64::consts::PI;
    let m = [[a, 0.0, -h * a], [0.0, a, 0.0], [-h * a, 0.0, h * h * a]];
    let cuts = crate::geometry::integrate::piecewise(&[-l / 2.0, l / 2.0], 8);
    let mut total = Matrix6::zeros();
    for (x, w) in cuts {
        total += strip_matrix(&m, x + 2.0) * w;
    }
    let second = l.powi(3) / 12.0 + 4.0 * l;
    // sine-mapped Gauss rule on a quadratic
    let tol = 1e-6;
    for (i, j, want) in [
        (1, 1, a * l),
        (2, 2, a * l),
        (2, 4, -2.0 * a * l),
        (4, 2, -2.0 * a * l),
        (1, 5, 2.0 * a * l),
        (4, 4, a * second),
        (5, 5, a * second),
        (1, 3, -h * a * l),
        (3, 3, h * h * a * l),
        (3, 5, -2.0 * h * a * l),
    ] {
        assert!(
            (total[(i, j)] - want).abs() < tol * want.abs(),
            "{i}{j} {} {want}",
            total[(i, j)]
        );
    }
    assert!(total.row(0).norm() < tol, "strips have no surge");
}

/// A deep circle and a surface-piercing strut-hull section at scale `size`.
fn contour(size: f64, strut: bool) -> Contour {
    let (b, h, r, t) = (6.0, 2.4, 1.1, if strut { 0.3_f64 } else { 0.0 });
    let join = (t / r).asin();
    let from = if strut { join } else { 0.0 };
    let hull: Vec<[f64; 2]> = (0..=240)
        .map(|i| {
            let a = from + (std::f64::consts::TAU - 2.0 * from) * f64::from(i) / 240.0;
            [size * (b - r * a.sin()), size * (h - r * a.cos())]
        })
        .collect();
    let top = h - r * join.cos();
    let mut pieces = vec![hull];
    if strut {
        pieces.insert(0, vec![[size * (b - t), 0.0], [size * (b - t), size * top]]);
        pieces.push(vec![[size * (b + t), size * top], [size * (b + t), 0.0]]);
    }
    let area = r * r * (std::f64::consts::PI - join + 0.5 * (2.0 * join).sin()) + 2.0 * t * top;
    Contour {
        x_m: 0.0,
        pieces,
        surface_piercing: strut,
        area_m2: size
            * size
            * if strut {
                area
            } else {
                std::f64::consts::PI * r * r
            },
        half_breadth_m: size * r,
        half_height_m: size * r,
        axis_z_m: size * h,
        centre_y_m: size * b,
        strut_half_thickness_m: size * t,
    }
}

fn strips(size: f64) -> Strips {
    let mut stations = Stations {
        x_m: Vec::new(),
        weight_m: Vec::new(),
        section: Vec::new(),
        contours: Vec::new(),
    };
    for (x, strut) in [
        (-10.0, false),
        (-5.0, true),
        (1.0, true),
        (6.0, true),
        (11.0, false),
    ] {
        stations.push(size * x, size * 5.0, contour(size, strut));
    }
    assert_eq!(stations.contours.len(), 2, "equal sections are cut once");
    let g = 9.80665;
    let omega: Vec<f64> = [0.3, 0.8, 1.4, 2.5, 5.0]
        .map(|w: f64| w / size.sqrt())
        .to_vec();
    Strips::solve(stations, omega, &SectionOptions::default(), 1025.0, g).expect("strips")
}

#[test]
fn froude_scaling_is_exact() {
    let (model, ship) = (strips(1.0).radiation(), strips(9.0).radiation());
    let l: f64 = 9.0;
    for (a, b) in model.isolated.a.iter().zip(&ship.isolated.a) {
        for i in 1..6 {
            for j in 1..6 {
                let power = 3 + i32::from(i > 2) + i32::from(j > 2);
                let want = a[(i, j)] * l.powi(power);
                let scale = (a[(i, i)] * a[(j, j)]).abs().sqrt() * l.powi(power);
                // rounding, amplified by the solution of the panels' equations
                assert!(
                    (b[(i, j)] - want).abs() < 1e-8 * scale,
                    "{i}{j} {} {want}",
                    b[(i, j)]
                );
            }
        }
    }
}
