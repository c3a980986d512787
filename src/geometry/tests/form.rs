//! Closed forms of volumes, waterplanes, contours; invariance under mirror and scale.

use std::f64::consts::PI;

use super::super::craft::Craft;
use super::{coastal, plain};
use crate::spec::craft::{CraftSpec, MassSpec};

const EXACT: f64 = 1e-6; // asked for where the shape is exact; found 1e-10 or better

fn close(found: f64, want: f64, tol: f64) {
    assert!(
        (found - want).abs() <= tol * want.abs(),
        "found {found}, want {want}, relative error {:.2e}",
        (found / want - 1.0).abs()
    );
}

/// A thin strut so that a bare hull can be weighed by difference.
const THIN: &str = r#"[{"name":"s","fore_x_m":5,"aft_x_m":-5,"thickness_m":0.001,
    "waterplane":{"rectangle":{}}}]"#;

fn hull_volume(hull: &str) -> f64 {
    let mut spec = plain(hull, THIN, 6.0);
    spec.mass = total(None, -40.0); // far below the keel: only the form is looked at
    Craft::build(&spec).unwrap().hydrostatics.hull_volume_m3
}

fn total(mass_kg: Option<f64>, vcg_m: f64) -> MassSpec {
    MassSpec::Total {
        mass_kg,
        lcg_m: None,
        tcg_m: 0.0,
        vcg_m,
        k_xx_m: 5.0,
        k_yy_m: 8.0,
        k_zz_m: 9.0,
    }
}

#[test]
fn spheroid_and_cylinder_volumes() {
    let spheroid = r#"{"lateral_position_m":6,"section":"circle","stations":[
        {"x_m":-1,"half_breadth_m":1.2},{"x_m":1,"half_breadth_m":1.2}],
        "fore_end":{"ellipsoid":{"length_m":9}},"aft_end":{"ellipsoid":{"length_m":7}}}"#;
    let area = PI * 1.44;
    close(
        hull_volume(spheroid),
        2.0 * area * (2.0 + 16.0 * 2.0 / 3.0),
        EXACT,
    );
    let pointed = r#"{"lateral_position_m":6,"section":"ellipse","stations":[
        {"x_m":-6,"half_breadth_m":1.2,"half_height_m":0.9},
        {"x_m":6,"half_breadth_m":1.2,"half_height_m":0.9}],
        "fore_end":{"paraboloid":{"length_m":4}},"aft_end":{"parabola":{"length_m":6}}}"#;
    let area = PI * 1.2 * 0.9;
    // paraboloid: half the cylinder; (1 - s²)²: 8/15
    close(
        hull_volume(pointed),
        2.0 * area * (12.0 + 2.0 + 6.0 * 8.0 / 15.0),
        EXACT,
    );
}

#[test]
fn cone_of_linear_area() {
    let cone = r#"{"lateral_position_m":6,"section":"circle","stations":[
        {"x_m":-10,"half_breadth_m":0.0,"axis_height_m":1.5},
        {"x_m":8,"half_breadth_m":1.5,"axis_height_m":1.5},
        {"x_m":12,"half_breadth_m":0.0,"axis_height_m":1.5}]}"#;
    // areas linear between stations: half of the greatest over the whole length
    close(hull_volume(cone), 2.0 * PI * 2.25 * 22.0 / 2.0, EXACT);
}

#[test]
fn box_hull_volume() {
    let square = r#"{"lateral_position_m":6,"section":{"rounded_box":{"corner_frac":0.0}},"stations":[
        {"x_m":-10,"half_breadth_m":1.3,"half_height_m":0.8},
        {"x_m":10,"half_breadth_m":1.3,"half_height_m":0.8}]}"#;
    close(hull_volume(square), 2.0 * 2.6 * 1.6 * 20.0, EXACT);
    let round = square.replace("0.0}}", "0.5}}");
    let area = 2.6 * 1.6 - (4.0 - PI) * 0.16;
    close(hull_volume(&round), 2.0 * area * 20.0, EXACT);
}

#[test]
fn box_with_strut_has_the_volume_of_its_prisms() {
    let hull = r#"{"lateral_position_m":6,"section":{"rounded_box":{"corner_frac":0.3}},"stations":[
        {"x_m":-10,"half_breadth_m":1.3,"half_height_m":0.8},
        {"x_m":10,"half_breadth_m":1.3,"half_height_m":0.8}]}"#;
    let struts = r#"[{"name":"s","fore_x_m":9,"aft_x_m":-9,"thickness_m":0.8,
        "waterplane":{"ellipse":{}}}]"#;
    let mut spec = plain(hull, struts, 3.6);
    spec.mass = total(None, -40.0);
    let h = Craft::build(&spec).unwrap().hydrostatics;
    let area = 2.6 * 1.6 - (4.0 - PI) * 0.24 * 0.24;
    let plane = PI / 4.0 * 18.0 * 0.8;
    close(h.a_w_m2, 2.0 * plane, EXACT);
    close(h.i_l_m4, 2.0 * PI / 64.0 * 18f64.powi(3) * 0.8, EXACT);
    close(
        h.i_t_m4,
        2.0 * (PI / 64.0 * 18.0 * 0.8f64.powi(3) + plane * 36.0),
        EXACT,
    );
    close(h.volume_m3, 2.0 * (area * 20.0 + plane * 2.0), EXACT);
    let z = (area * 20.0 * 2.8 + plane * 2.0 * 1.0) / (area * 20.0 + plane * 2.0);
    close(h.cb_m.z, z, EXACT);
}

/// Craft whose hulls are cylinders, with radius and waterline solved so that volume and KB are
/// those of a reference.
fn with_volume(struts: &str, b: f64, length: f64, volume: f64, kb: f64, kg: f64) -> Craft {
    let build = |r: f64, lift: f64| -> Craft {
        let hull = format!(
            r#"{{"lateral_position_m":{b},"section":"circle","stations":[
            {{"x_m":{},"half_breadth_m":{r},"axis_height_m":{lift}}},
            {{"x_m":{},"half_breadth_m":{r},"axis_height_m":{lift}}}]}}"#,
            -0.5 * length,
            0.5 * length
        );
        let mut spec: CraftSpec = plain(&hull, struts, 3.6);
        spec.mass = total(None, kg);
        Craft::build(&spec).unwrap()
    };
    let miss = |r: f64, lift: f64| {
        let h = build(r, lift).hydrostatics;
        [h.volume_m3 - volume, 3.6 - h.cb_m.z - kb]
    };
    let (mut r, mut lift) = (1.1, 1.0);
    for _ in 0..30 {
        let e = 1e-5;
        let (f, fr, fl) = (miss(r, lift), miss(r + e, lift), miss(r, lift + e));
        let (a, c) = ((fr[0] - f[0]) / e, (fr[1] - f[1]) / e);
        let (p, q) = ((fl[0] - f[0]) / e, (fl[1] - f[1]) / e);
        let det = a * q - p * c;
        r -= (q * f[0] - p * f[1]) / det;
        lift -= (a * f[1] - c * f[0]) / det;
    }
    build(r, lift)
}

#[test]
fn twin_rect_20() {
    // twin.rect.20 of the reference set: elementary hydrostatics
    let strut = r#"[{"name":"s","fore_x_m":10,"aft_x_m":-10,"thickness_m":1.2,
        "waterplane":{"rectangle":{}}}]"#;
    let h = with_volume(strut, 6.0, 24.0, 220.0, 1.4, 4.8).hydrostatics;
    close(h.volume_m3, 220.0, 1e-9);
    close(h.a_w_m2, 48.0, EXACT);
    close(h.i_l_m4, 1600.0, EXACT);
    close(h.i_t_m4, 1733.76, EXACT);
    close(h.gm_l_m, 3.8727273, EXACT);
    close(h.gm_t_m, 4.4807273, EXACT);
    close(h.c[(2, 2)], 482487.18, EXACT);
    close(h.c[(3, 3)], 9908678.4, EXACT);
    close(h.c[(4, 4)], 8564147.4, EXACT);
}

#[test]
fn twin_parabola_22() {
    // twin.parabola.22 of the reference set
    let strut = r#"[{"name":"s","fore_x_m":11,"aft_x_m":-11,"thickness_m":1.5,
        "waterplane":{"parabola":{}}}]"#;
    let h = with_volume(strut, 6.5, 26.0, 260.0, 1.5, 5.0).hydrostatics;
    close(h.a_w_m2, 44.0, EXACT);
    close(h.i_l_m4, 1064.8, EXACT);
    close(h.i_t_m4, 1864.6571, EXACT);
    close(h.gm_l_m, 0.59538462, EXACT);
    close(h.gm_t_m, 3.6717582, EXACT);
    close(h.c[(2, 2)], 442279.91, EXACT);
    close(h.c[(3, 3)], 9596038.2, EXACT);
    close(h.c[(4, 4)], 1556021.2, EXACT);
}

#[test]
fn restoring_matrix_is_symmetric_with_the_signs_of_frames() {
    let c = coastal();
    let m = c.hydrostatics.c;
    assert!((m - m.transpose()).norm() < 1e-9 * m.norm()); // rounding
    // centre of floatation forward of O: a heave down pushes the bow up, F5 = -C53 eta3 > 0
    assert!(c.hydrostatics.lcf_m > 0.1);
    assert!(m[(2, 4)] < 0.0);
    close(
        m[(2, 4)],
        -c.rho_kg_m3 * c.g_m_s2 * c.hydrostatics.a_w_m2 * c.hydrostatics.lcf_m,
        1e-12,
    );
    assert!(m.row(0).norm() + m.row(1).norm() + m.row(5).norm() < 1e-9);
}

#[test]
fn flare_widens_upwards() {
    let mut spec = c_spec();
    spec.struts[0].flare_deg = 5.0;
    let c = Craft::build(&spec).unwrap();
    let s = &c.struts[0];
    let lean = 5f64.to_radians().tan();
    close(
        s.half_thickness_at(0.0, -1.0),
        s.half_thickness(0.0) + lean,
        1e-12,
    );
    close(
        s.half_thickness_at(0.0, 0.5),
        s.half_thickness(0.0) - 0.5 * lean,
        1e-12,
    );
}

fn c_spec() -> CraftSpec {
    let mut spec = coastal().spec;
    spec.struts[0].thickness_m = 0.9;
    spec
}

#[test]
fn ends_meet_their_stations() {
    let c = coastal();
    for x in c.hull.joins() {
        let near = |d: f64| c.hull.section_at(x + d).map_or(0.0, |s| s.area_m2);
        assert!((near(-1e-9) - near(1e-9)).abs() < 1e-4, "jump at {x}");
    }
}

#[test]
fn contour_runs_inboard_keel_outboard() {
    let c = coastal();
    let k = c.contour_at(0.3).unwrap();
    assert!(k.surface_piercing);
    assert_eq!(k.pieces.len(), 3);
    let first = k.pieces[0][0];
    let last = *k.pieces[2].last().unwrap();
    close(first[0], k.centre_y_m - k.strut_half_thickness_m, 1e-12);
    close(last[0], k.centre_y_m + k.strut_half_thickness_m, 1e-12);
    assert!(first[1].abs() + last[1].abs() < 1e-12);
    let keel = k.pieces[1].iter().map(|p| p[1]).fold(0.0, f64::max);
    close(keel, k.axis_z_m + k.half_height_m, 1e-4); // dense points, not the exact keel
    let inboard = k.pieces[1]
        .iter()
        .position(|p| p[0] < k.centre_y_m - 0.9 * k.half_breadth_m);
    let outboard = k.pieces[1]
        .iter()
        .position(|p| p[0] > k.centre_y_m + 0.9 * k.half_breadth_m);
    assert!(inboard.unwrap() < outboard.unwrap());
    for pair in k.pieces.windows(2) {
        let (a, b) = (pair[0].last().unwrap(), pair[1][0]);
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-9);
    }
    let nose = c.contour_at(15.2).unwrap();
    assert!(!nose.surface_piercing && nose.pieces.len() == 1);
    let p = &nose.pieces[0];
    assert!(p[0][1] < nose.axis_z_m && p[5][0] < p[0][0]); // starts at the top, inboard first
}

#[test]
fn contour_area_is_exact() {
    for frac in [0.0, 0.4, 1.0] {
        let mut spec = coastal().spec;
        spec.lower_hulls.section =
            crate::spec::craft::SectionShape::RoundedBox { corner_frac: frac };
        let c = Craft::build(&spec).unwrap();
        let k = c.contour_at(1.0).unwrap();
        let chain: Vec<[f64; 2]> = k.pieces.concat();
        let polygon: f64 = chain
            .windows(2)
            .map(|p| 0.5 * (p[0][1] + p[1][1]) * (p[1][0] - p[0][0]))
            .sum();
        close(polygon, k.area_m2, 2e-5); // the polygon cuts corners of the arcs, 256 to a half turn
        let strut = 2.0 * k.strut_half_thickness_m * (k.axis_z_m - k.half_height_m);
        let hull = c.hull.section_at(1.0).unwrap().area_m2;
        if frac < 0.5 {
            close(k.area_m2, hull + strut, 1e-12); // the strut stands on the flat top
        } else {
            assert!(k.area_m2 > hull + strut); // and reaches down to the round one
        }
    }
}

#[test]
fn froude_scaled_craft_has_scaled_hydrostatics() {
    let small = coastal();
    let scale = 2.5;
    let h = crate::geometry::tests::scaled(&small.spec, scale);
    let big = Craft::build(&h).unwrap().hydrostatics;
    let s = &small.hydrostatics;
    let rounding = 1e-10;
    close(big.volume_m3, s.volume_m3 * scale.powi(3), rounding);
    close(big.gm_t_m, s.gm_t_m * scale, rounding);
    close(big.c[(4, 4)], s.c[(4, 4)] * scale.powi(4), rounding);
    close(
        big.wetted_area_m2,
        s.wetted_area_m2 * scale.powi(2),
        rounding,
    );
}
