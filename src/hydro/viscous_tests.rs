//! Checks of the viscous forces.

use super::*;
use crate::geometry::tests::coastal;

fn model() -> (Craft, ViscousModel) {
    let craft = coastal();
    let mut m = ViscousModel::build(&craft, &ViscousSpec::default());
    let edges = m.shedding(&[9_000.0, 9_000.0]).unwrap();
    m.set_shedding(edges);
    (craft, m)
}

#[test]
fn linear_matrix_is_symmetric_and_dissipates() {
    let (_, m) = model();
    let l = m.linear_matrix(8.0);
    assert!((l - l.transpose()).norm() < 1e-9 * l.norm());
    let least = l.symmetric_eigenvalues().min();
    assert!(least > -1e-9 * l.norm(), "{least}");
    assert!((m.linear_matrix(4.0) * 2.0 - l).norm() < 1e-9 * l.norm());
    // mirror: vertical and lateral plane do not mix
    for i in [0, 2, 4] {
        for j in [1, 3, 5] {
            assert!(l[(i, j)].abs() < 1e-6);
        }
    }
}

#[test]
fn lift_by_hand() {
    let (craft, m) = model();
    let u = 8.0;
    let l = m.linear_matrix(u);
    // heave: 1/2 rho a0 U times the plan area of both hulls, by a second quadrature
    let plan: f64 = crate::geometry::integrate::piecewise(&craft.hull.breakpoints(), 24)
        .iter()
        .map(|(x, w)| 4.0 * w * craft.hull.section_at(*x).unwrap().half_breadth_m)
        .sum();
    let want = 0.5 * 1025.0 * 0.07 * u * plan;
    // seven nodes on a shape with two joins: 1 %
    assert!(
        (l[(2, 2)] / want - 1.0).abs() < 0.01,
        "{} {want}",
        l[(2, 2)]
    );
    // trailing edges: side force -U a22 v, yaw moment by its arm
    assert!((l[(1, 1)] - u * 18_000.0).abs() < 1e-6);
    assert!((l[(5, 1)] - u * 18_000.0 * craft.struts[0].aft_x_m).abs() < 1e-6);
    assert!(m.shedding(&[1.0]).is_err());
}

#[test]
fn wave_force_is_the_relative_motion() {
    // in a long wave the craft that moves with the water feels nothing: F = L nu_water
    let (_, m) = model();
    let (omega, u) = (0.02, 8.0);
    for mu in [0.0, 0.7, 1.6, 2.9, 4.0] {
        let f = m.wave_force(omega, mu, u);
        let l = m.linear_matrix(u);
        let v = Complex64::new(0.0, -omega); // down
        let side = Complex64::new(omega * f64::sin(mu), 0.0);
        for i in 0..3 {
            let want = side * l[(i, 1)] + v * l[(i, 2)];
            let scale = omega * l[(2, 2)];
            // k r of 1e-3 at this frequency
            assert!((f[i] - want).norm() < 2e-3 * scale, "{i} {} {want}", f[i]);
        }
    }
}

#[test]
fn wave_from_port_mirrors_wave_from_starboard() {
    let (_, m) = model();
    let (a, b) = (m.wave_force(0.9, 1.1, 7.0), m.wave_force(0.9, -1.1, 7.0));
    for i in 0..6 {
        let flip = if [1, 3, 5].contains(&i) { -1.0 } else { 1.0 };
        assert!((a[i] - b[i] * flip).norm() < 1e-9 * (1.0 + a[2].norm()));
    }
}

#[test]
fn drag_scales_with_the_square() {
    let (_, m) = model();
    let nu = Vector6::new(7.0, 0.3, -0.5, 0.02, 0.03, -0.01);
    let still: Vec<f64> = vec![0.0; m.drag_elements().len()];
    let a = m.drag_wrench(&nu, &still);
    let b = m.drag_wrench(&(nu * -2.0), &still);
    assert!((a * -4.0 - b).norm() < 1e-9 * b.norm());
    assert!(a.dot(&nu) < 0.0); // takes energy out
    // a craft that drifts with the water feels nothing
    let with: Vec<f64> = m.drag_elements().iter().map(|e| e.row.dot(&nu)).collect();
    assert!(m.drag_wrench(&nu, &with).norm() < 1e-9);
    assert!((m.drag_wrench(&nu, &[]) - a).norm() < 1e-12);
}

#[test]
fn equivalent_linearisation() {
    // lin.quad of the reference set: Lee & Curphey 1977, printed to 8 digits
    assert!((harmonic_speed(0.6) / 0.50929582 - 1.0).abs() < 1e-7);
    assert!((gaussian_speed(0.4) / 0.63830765 - 1.0).abs() < 1e-7);
}

#[test]
fn gaussian_by_second_method() {
    // E(|s| s s) / E(s²) by quadrature over the normal density
    let sigma = 0.7;
    let (mut top, mut bottom) = (0.0, 0.0);
    let n = 20_000;
    for i in 0..n {
        let s = sigma * (-8.0 + 16.0 * (f64::from(i) + 0.5) / f64::from(n));
        let p = (-0.5 * (s / sigma).powi(2)).exp();
        top += p * s.abs() * s * s;
        bottom += p * s * s;
    }
    assert!((gaussian_speed(sigma) / (top / bottom) - 1.0).abs() < 1e-6);
    let (_, m) = model();
    let each = vec![gaussian_speed(sigma); m.drag_elements().len()];
    let d = m.drag_matrix(&each);
    assert!((d - d.transpose()).norm() < 1e-9 * d.norm());
    let f = m.drag_wave_force(0.02, 0.0, &each);
    assert!((f[2].im / (-0.02 * d[(2, 2)]) - 1.0).abs() < 1e-3); // long wave
}
