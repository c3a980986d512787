//! Checks of the strip integrals.

use super::*;

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
