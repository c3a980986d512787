//! Restoring: equilibrium, linear limit, energy, emergence, mirror.

use nalgebra::{Matrix6, Vector3};

use super::super::craft::Craft;
use super::super::hydrostatics::form;
use super::super::restoring::Restoring;
use super::{COASTAL, OFFSHORE, coastal, spec_of};

fn waterplane(c: &Craft) -> Matrix6<f64> {
    form(&c.hull, &c.struts).waterplane_matrix(c.rho_kg_m3, c.g_m_s2)
}

#[test]
fn restoring_at_rest_is_exact() {
    for text in [COASTAL, OFFSHORE] {
        let c = Craft::build(&spec_of(text)).unwrap();
        let r = Restoring::build(&c);
        let weight = c.mass.mass_kg * c.g_m_s2;
        assert!(r.net(0.0, 0.0, 0.0).norm() < 1e-9 * weight); // rounding
        let w = r.wrench(0.0, 0.0, 0.0);
        assert!((w[2] + weight).abs() < 1e-9 * weight);
        assert!((w[4] - weight * c.hydrostatics.cb_m.x).abs() < 1e-9 * weight);
    }
}

#[test]
fn strips_alone_match_c() {
    for text in [COASTAL, OFFSHORE] {
        let c = Craft::build(&spec_of(text)).unwrap();
        let r = Restoring::build(&c);
        let miss = r.strip_error(&waterplane(&c));
        assert!(miss < 1e-3, "{miss}"); // asked: 0.1 % before the correction
    }
}

#[test]
fn restoring_slope_is_c() {
    for text in [COASTAL, OFFSHORE] {
        let c = Craft::build(&spec_of(text)).unwrap();
        let r = Restoring::build(&c);
        let k = &c.hydrostatics.c;
        for (j, h) in [(2, 1e-4), (3, 1e-5), (4, 1e-5)] {
            let at = |s: f64| {
                let mut q = Vector3::zeros();
                q[j - 2] = s;
                r.net(q.x, q.y, q.z)
            };
            let slope = (at(h) - at(-h)) / (2.0 * h);
            for i in 2..5 {
                let scale = (k[(i, i)] * k[(j, j)]).sqrt();
                let miss = (slope[i] + k[(i, j)]).abs() / scale;
                assert!(
                    miss < 1e-4,
                    "{} C{}{}: {miss:.2e}",
                    c.spec.name,
                    i + 1,
                    j + 1
                ); // 0.1 % asked
            }
        }
    }
}

#[test]
fn restoring_is_conservative() {
    // work over a closed path of heave, roll, pitch; body moments projected on Euler angles
    let c = coastal();
    let r = Restoring::build(&c);
    let generalised = |q: &Vector3<f64>| {
        let w = r.net(q.x, q.y, q.z);
        let (s, co) = q.y.sin_cos();
        let (st, ct) = q.z.sin_cos();
        // O moves along earth's vertical; roll about body x, pitch about the level transverse axis
        let down = Vector3::new(-st, ct * s, ct * co);
        Vector3::new(
            down.dot(&Vector3::new(w[0], w[1], w[2])),
            w[3],
            w[4] * co - w[5] * s,
        )
    };
    let path = |t: f64| {
        let a = std::f64::consts::TAU * t;
        Vector3::new(
            0.2 + 0.5 * a.sin() + 0.2 * (2.0 * a).cos(),
            0.05 + 0.12 * a.cos(),
            0.02 + 0.06 * (a + 0.7).sin(),
        )
    };
    let n = 20_000_u32;
    let (mut work, mut gross) = (0.0, 0.0);
    for i in 0..n {
        let (p, q) = (
            path(f64::from(i) / f64::from(n)),
            path(f64::from(i + 1) / f64::from(n)),
        );
        let d = generalised(&(0.5 * (p + q))).dot(&(q - p));
        work += d;
        gross += d.abs();
    }
    println!(
        "closed-path work {:.2e} of the gross work",
        work.abs() / gross
    );
    assert!(work.abs() < 1e-4 * gross, "{work} of {gross}");
}

#[test]
fn broached_and_sunk_limits() {
    let c = coastal();
    let r = Restoring::build(&c);
    let weight = c.mass.mass_kg * c.g_m_s2;
    let lifted = r.wrench(-6.0, 0.0, 0.0)[2];
    assert!(lifted.abs() < 2e-3 * weight, "{lifted}"); // out of the water: only the strips' rounding
    // struts just clear: hulls alone
    let top = c.hull.section_at(0.0).unwrap();
    let clear = r.wrench(-(top.axis_z_m - top.half_height_m) - 1e-6, 0.0, 0.0)[2];
    let hulls = -c.rho_kg_m3 * c.g_m_s2 * c.hydrostatics.hull_volume_m3;
    assert!((clear / hulls - 1.0).abs() < 5e-3, "{clear} {hulls}"); // noses lie lower, caps under struts
}

#[test]
fn box_bites() {
    let c = coastal();
    let r = Restoring::build(&c);
    let cs = &c.spec.cross_structure;
    let gap = -c.underside_z_m;
    let area = (cs.fore_x_m - cs.aft_x_m) * 2.0 * cs.half_breadth_m;
    let stiffness =
        |z: f64| (r.wrench(z - 0.05, 0.0, 0.0)[2] - r.wrench(z + 0.05, 0.0, 0.0)[2]) / 0.1;
    let extra = stiffness(gap + 0.2) / (c.rho_kg_m3 * c.g_m_s2);
    assert!((extra / area - 1.0).abs() < 1e-9);
}

#[test]
fn mirror_in_roll() {
    let c = coastal();
    let r = Restoring::build(&c);
    let (a, b) = (r.net(0.3, 0.2, -0.05), r.net(0.3, -0.2, -0.05));
    let flip = [1.0, -1.0, 1.0, -1.0, 1.0, -1.0];
    for i in 0..6 {
        assert!((a[i] - flip[i] * b[i]).abs() < 1e-6, "{a} {b}"); // N against meganewtons
    }
}

#[test]
fn gz_starts_with_gm() {
    let c = coastal();
    let r = Restoring::build(&c);
    let heel: Vec<f64> = (0..=40).map(|d| f64::from(d).to_radians()).collect();
    let curve = c.gz_curve(&r, &heel);
    assert!(curve[0].gz_m.abs() < 1e-9);
    let slope = curve[1].gz_m / heel[1];
    assert!(
        (slope / c.hydrostatics.gm_t_m - 1.0).abs() < 0.02,
        "{slope}"
    ); // chord against tangent
    assert!(curve.iter().all(|p| p.gz_m.is_finite()));
}

#[test]
fn immersion_curve_passes_the_design_point() {
    let c = coastal();
    let r = Restoring::build(&c);
    let curve = c.immersion_curve(&r, &[-0.5, 0.0, 0.5]);
    assert!((curve[1].displacement_kg / c.hydrostatics.displacement_kg - 1.0).abs() < 1e-9);
    let per_cm = c.rho_kg_m3 * c.hydrostatics.a_w_m2 / 100.0;
    assert!((curve[1].kg_per_cm / per_cm - 1.0).abs() < 1e-4);
    assert!(curve[0].displacement_kg < curve[2].displacement_kg);
}
