//! Checks of the resistance.

use super::*;
use crate::geometry::tests::{coastal, scaled};
use crate::units::kn;

#[test]
fn friction_line() {
    // ittc57.* of the reference set, printed to 8 digits
    for (re, want) in [
        (1e6, 0.0046875),
        (3e6, 0.0037416534),
        (1e7, 0.003),
        (1e8, 0.0020833333),
        (1e9, 0.0015306122),
    ] {
        assert!((friction_coefficient(re) / want - 1.0).abs() < 1e-7);
    }
}

fn wigley(half_spacing: Option<f64>) -> Sheets {
    // B/L = 0.1, T/L = 0.0625, L = 1
    let sheet = nodes(&[-0.5, 0.0, 0.5])
        .into_iter()
        .map(|x| {
            let y = 0.05 * (1.0 - 4.0 * x * x);
            (x, y, Column::Parabola { depth: 0.0625 })
        })
        .collect();
    Sheets {
        columns: vec![sheet],
        half_spacing,
        length: 1.0,
    }
}

#[test]
fn wigley_hull() {
    // michell.Fn* of the reference set: Rw / (1/2 rho U² L²), 1e-3 suggested there, 1e-5 kept here
    let w = wigley(None);
    for (froude, want) in [
        (0.25, 0.00015830128),
        (0.3, 0.00031865996),
        (0.35, 0.0001856791),
        (0.4, 0.00040678287),
        (0.5, 0.0006721243),
    ] {
        let u = froude * 9.80665f64.sqrt();
        let found = w.wave_resistance(1025.0, 9.80665, u) / (0.5 * 1025.0 * u * u);
        println!(
            "Fn {froude}: {found:.6e} want {want:.6e} error {:.1e}",
            found / want - 1.0
        );
        assert!(
            (found / want - 1.0).abs() < 1e-5,
            "Fn {froude}: {found} {want}"
        );
    }
}

#[test]
fn wigley_twins() {
    // michell.twin.*: hulls 0.3 L apart, total over twice the single; 2e-3 suggested, 1e-4 kept
    for (froude, want) in [(0.3, 1.1685488), (0.5, 1.3018118)] {
        let u = froude * 9.80665f64.sqrt();
        let single = wigley(None).wave_resistance(1.0, 9.80665, u);
        let twin = wigley(Some(0.15)).wave_resistance(1.0, 9.80665, u);
        let found = twin / (2.0 * single);
        println!("Fn {froude}: twins {found:.6} want {want:.6}");
        assert!(
            (found / want - 1.0).abs() < 1e-4,
            "Fn {froude}: {found} {want}"
        );
    }
}

#[test]
fn far_twins_do_not_meet() {
    let u = 0.4 * 9.80665f64.sqrt();
    let single = wigley(None).wave_resistance(1.0, 9.80665, u);
    let twin = wigley(Some(400.0)).wave_resistance(1.0, 9.80665, u);
    assert!(
        (twin / (2.0 * single) - 1.0).abs() < 0.02,
        "{}",
        twin / single
    );
}

#[test]
fn thin_hull_is_a_line_of_sources() {
    // a thin deep strip of a strut and a line of the same volume at its middle agree
    let x = nodes(&[-10.0, 10.0]);
    let shape = |x: f64| 0.3 * (1.0 - x * x / 100.0);
    let with = |f: &dyn Fn(f64) -> Vec<(f64, f64, Column)>| Sheets {
        columns: x
            .iter()
            .map(|x| f(*x))
            .fold(vec![Vec::new(), Vec::new()], |mut all, cols| {
                for (i, c) in cols.into_iter().enumerate() {
                    all[i].push(c);
                }
                all
            }),
        half_spacing: Some(6.0),
        length: 20.0,
    };
    let strip = with(&|x| {
        vec![
            (
                x,
                shape(x),
                Column::Strut {
                    depth: 2.1,
                    taper: 0.0,
                },
            ),
            (
                x,
                -shape(x),
                Column::Strut {
                    depth: 1.9,
                    taper: 0.0,
                },
            ),
        ]
    });
    let line = with(&|x| vec![(x, 0.2 * shape(x), Column::Line { z: 2.0 })]);
    let (a, b) = (
        strip.wave_resistance(1025.0, 9.81, 7.0),
        line.wave_resistance(1025.0, 9.81, 7.0),
    );
    assert!((a / b - 1.0).abs() < 0.01, "{a} {b}"); // (kappa h)²/6 with kappa of order one
}

#[test]
fn resistance_scales_by_froude() {
    // waves scale with the cube of length at equal Froude number
    let small = coastal();
    let k: f64 = 2.25;
    let big = Craft::build(&scaled(&small.spec, k)).unwrap();
    for u in [4.0, 7.0, 9.0] {
        let a = resistance_curve(&small, &[u])[0].wave_n;
        let b = resistance_curve(&big, &[u * k.sqrt()])[0].wave_n;
        assert!((b / a / k.powi(3) - 1.0).abs() < 1e-9, "{a} {b}");
    }
}

#[test]
fn demo_curve_is_plausible() {
    let c = coastal();
    let speeds: Vec<f64> = (2..=10).map(|i| kn(2.0 * f64::from(i))).collect();
    let curve = resistance_curve(&c, &speeds);
    for p in &curve {
        println!(
            "{:5.1} kn: hull {:6.1} strut {:5.1} wave {:6.1} total {:6.1} kN",
            crate::units::to_kn(p.speed_m_s),
            p.hull_friction_n / 1e3,
            p.strut_friction_n / 1e3,
            p.wave_n / 1e3,
            p.total_n() / 1e3
        );
        assert!(p.wave_n >= 0.0 && p.total_n().is_finite());
    }
    // at 16 kn the demo's two propulsors must push it with something in hand
    let at16 = curve[6].total_n();
    let thrust: f64 = c.spec.propulsors.iter().map(|p| p.max_thrust_n).sum();
    assert!(
        at16 > 0.2 * thrust && at16 < 0.9 * thrust,
        "{at16} of {thrust}"
    );
}
