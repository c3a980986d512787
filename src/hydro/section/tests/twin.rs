//! Twin half-immersed circles, reference ids twin.b*; frequencies of the standing waves.

use std::f64::consts::PI;

use super::close;
use super::reference::TWIN;
use super::shapes::{circle_and_strut, omega, semicircle, solver, solver_of};
use crate::hydro::section::SectionSolver;

/// Asked 0.5 %; floor 0.1 % of rho pi a^2 where a coefficient passes through zero, 1 % of it on the
/// lines marked "near a resonance or a damping zero: use absolute comparison".
#[test]
fn twin_semicircles() {
    for (id, half, _, _, ka, a, b, marked) in TWIN {
        let s = solver(&semicircle(half));
        let w = omega(ka);
        let p = s.solve(w, 1.0).unwrap().twin;
        let j = usize::from(id.contains("heave"));
        let floor = if marked { 0.01 } else { 1e-3 };
        close(&format!("{id} A"), p.a[j][j] / PI, a, 0.005, floor);
        close(&format!("{id} B"), p.b[j][j] / PI / w, b, 0.005, floor);
    }
}

/// ka in [lo, hi] where the damping of mode j peaks, by golden section.
fn peak(s: &SectionSolver, j: usize, lo: f64, hi: f64, n: usize) -> f64 {
    let b = |ka: f64| s.solve(omega(ka), 1.0).unwrap().twin.b[j][j];
    let ratio = 0.5 * (5.0_f64.sqrt() - 1.0);
    // bracket first on an even grid: the peak is narrow
    let at = |i: usize| lo + (hi - lo) * i as f64 / n as f64;
    let top = (1..n)
        .max_by(|&i, &k| b(at(i)).total_cmp(&b(at(k))))
        .unwrap();
    let (mut l, mut r) = (at(top - 1), at(top + 1));
    for _ in 0..25 {
        let (x, y) = (r - ratio * (r - l), l + ratio * (r - l));
        if b(x) > b(y) { r = y } else { l = x }
    }
    0.5 * (l + r)
}

/// Standing-wave frequencies within 0.5 % of a mesh three times finer: heave of
/// the twin semicircles (pumping mode) and heave and sway of the twin strut-hull section.
#[test]
fn twin_standing_wave_frequencies() {
    for (what, c, j, lo, hi) in [
        ("semicircles b 1.5, heave", semicircle(1.5), 1, 0.4, 0.8),
        ("semicircles b 2, heave", semicircle(2.0), 1, 0.3, 0.6),
        ("semicircles b 2, sway", semicircle(2.0), 0, 1.5, 1.9),
        (
            "strut t 0.4, sway",
            circle_and_strut(5.0, 2.0, 0.4),
            0,
            0.25,
            0.4,
        ),
        (
            "strut t 0.4, heave",
            circle_and_strut(5.0, 2.0, 0.4),
            1,
            0.55,
            0.75,
        ),
        (
            "strut t 0.1, sway",
            circle_and_strut(5.0, 2.0, 0.1),
            0,
            0.25,
            0.4,
        ),
    ] {
        let coarse = peak(&solver(&c), j, lo, hi, 160);
        let fine = peak(&solver_of(&c, 288), j, 0.98 * coarse, 1.02 * coarse, 40);
        assert!(
            coarse > lo * 1.01 && coarse < hi * 0.99,
            "{what}: no peak inside"
        );
        // omega goes with the root of ka
        close(what, omega(coarse), omega(fine), 0.005, 0.0);
    }
}

/// Far below the first standing wave and far apart the two variants must not differ wildly, and
/// a twin with its hulls moved apart by half a standing wave length repeats: the interaction is
/// only through the wave of wave number K once the hulls are far apart.
#[test]
fn interaction_repeats_with_the_wave_length() {
    let ka = 1.0;
    let near = solver(&semicircle(60.0))
        .solve(omega(ka), 1.0)
        .unwrap()
        .twin;
    let far = solver(&semicircle(60.0 + PI))
        .solve(omega(ka), 1.0)
        .unwrap()
        .twin;
    for j in [0, 1] {
        close("a", near.a[j][j], far.a[j][j], 5e-3, 0.0);
        close("b", near.b[j][j], far.b[j][j], 5e-3, 5e-3);
    }
}
