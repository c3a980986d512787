//! Time of one sectional solution (both variants, three modes) and of the set-up.

use std::f64::consts::PI;

use ridewright::geometry::contour::Contour;
use ridewright::hydro::section::{SectionOptions, SectionSolver};

fn main() {
    divan::main();
}

/// Circle of radius 1.2 m, axis 2.4 m deep, strut 0.5 m thick, 6 m off the centre plane.
fn section() -> Contour {
    let (y, h, radius, half) = (6.0, 2.4, 1.2, 0.25_f64);
    let join = (half / radius).asin();
    let top = h - radius * join.cos();
    let hull = (0..=200)
        .map(|i| {
            let t = PI / 2.0 + join + (2.0 * PI - 2.0 * join) * f64::from(i) / 200.0;
            [y + radius * t.cos(), h - radius * t.sin()]
        })
        .collect();
    Contour {
        x_m: 0.0,
        pieces: vec![
            vec![[y - half, 0.0], [y - half, top]],
            hull,
            vec![[y + half, top], [y + half, 0.0]],
        ],
        surface_piercing: true,
        area_m2: radius * radius * (PI - join + 0.5 * (2.0 * join).sin()) + 2.0 * half * top,
        half_breadth_m: radius,
        half_height_m: radius,
        axis_z_m: h,
        centre_y_m: y,
        strut_half_thickness_m: half,
    }
}

fn solver(panels: usize) -> SectionSolver {
    let options = SectionOptions {
        panels,
        ..SectionOptions::default()
    };
    match SectionSolver::new(&section(), &options) {
        Ok(s) => s,
        Err(e) => panic!("{e}"),
    }
}

#[divan::bench(args = [40, 56, 64, 80, 96])]
fn solve(bencher: divan::Bencher, panels: usize) {
    let s = solver(panels);
    bencher.bench_local(|| s.solve(divan::black_box(1.1), 9.80665));
}

#[divan::bench(args = [40, 56, 64, 80, 96])]
fn set_up(bencher: divan::Bencher, panels: usize) {
    bencher.bench_local(|| solver(divan::black_box(panels)));
}

#[divan::bench]
fn wave_force(bencher: divan::Bencher) {
    let s = solver(64);
    let Ok(flow) = s.solve(1.1, 9.80665) else {
        return;
    };
    bencher.bench_local(|| s.wave_force(&flow.twin, 0.9, 1.1, divan::black_box(2.0), 9.80665));
}
