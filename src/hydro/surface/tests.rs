//! Lifting surfaces: geometry, signs, mirror, small angles, switches, hinge moments.

use super::*;
use crate::spec::craft::{CraftSpec, MovingPart};
use crate::spec::scenario::FinEffectsSpec;

/// An invented craft of 30 m and 250 t: two forward all-movable fins, two aft flapped fins, two rudders.
pub(crate) fn demo_spec() -> CraftSpec {
    let fin = |name: &str, group: &str, x: f64, y: f64, angle: f64, extra: serde_json::Value| {
        let mut v = serde_json::json!({
            "name": name, "group": group, "stock_x_m": x, "root_y_m": y, "root_height_m": 1.1,
            "span_angle_deg": angle, "min_deg": -25.0, "max_deg": 25.0
        });
        for (k, w) in extra.as_object().unwrap() {
            v[k] = w.clone();
        }
        v
    };
    let forward = serde_json::json!({
        "span_m": 1.4, "root_chord_m": 1.6, "tip_chord_m": 1.2, "stock_frac": 0.22, "sweep_deg": 8.0,
        "moving": {"all_movable": {}}
    });
    let aft = serde_json::json!({
        "span_m": 2.9, "root_chord_m": 2.2, "tip_chord_m": 1.6, "stock_frac": 0.72, "sweep_deg": 8.0,
        "moving": {"flap": {"chord_frac": 0.28}}
    });
    let rudder = serde_json::json!({
        "root_height_m": 2.1, "span_m": 1.5, "root_chord_m": 1.2, "tip_chord_m": 1.0,
        "stock_frac": 0.25, "moving": {"all_movable": {}}, "body_radius_m": 0.0
    });
    serde_json::from_value(serde_json::json!({
        "format": "ridewright.craft/1", "name": "test craft", "design_waterline_m": 3.2,
        "lower_hulls": {"lateral_position_m": 5.5, "section": "circle", "stations": [
            {"x_m": -13.5, "half_breadth_m": 0.9, "axis_height_m": 1.1},
            {"x_m": -10.0, "half_breadth_m": 1.1}, {"x_m": 11.0, "half_breadth_m": 1.1}]},
        "struts": [],
        "cross_structure": {"underside_height_m": 5.4, "fore_x_m": 12.0, "aft_x_m": -13.0, "half_breadth_m": 6.5},
        "mass": {"total": {"vcg_m": 4.5, "k_xx_m": 5.5, "k_yy_m": 8.0, "k_zz_m": 8.5}},
        "surfaces": [
            fin("forward_port", "forward", 9.5, -4.4, 0.0, forward.clone()),
            fin("forward_starboard", "forward", 9.5, 4.4, 180.0, forward),
            fin("aft_port", "aft", -10.5, -4.4, 0.0, aft.clone()),
            fin("aft_starboard", "aft", -10.5, 4.4, 180.0, aft),
            fin("rudder_port", "rudder", -14.2, -5.5, 90.0, rudder.clone()),
            fin("rudder_starboard", "rudder", -14.2, 5.5, 90.0, rudder),
        ]
    }))
    .unwrap()
}

pub(crate) fn demo_radius(x_m: f64) -> f64 {
    if x_m < -10.0 {
        1.1 + (x_m + 10.0) * 0.2 / 3.5
    } else {
        1.1
    }
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as build_surfaces
pub(crate) fn demo_surfaces(effects: &FinEffectsSpec) -> Vec<Surface> {
    build_surfaces(&demo_spec(), &demo_radius, effects).unwrap()
}

pub(crate) fn all_off() -> FinEffectsSpec {
    FinEffectsSpec {
        body_carry_over: false,
        free_surface: false,
        downwash: false,
        unsteady_lag: false,
        added_mass: false,
        orbital_velocity: false,
        stall: false,
    }
}

const ROUND: f64 = 1e-12; // rounding of a few operations on numbers of order ten

#[test]
fn axes_follow_the_sign_card() {
    use crate::frames::{Dof, wrench_at};
    let s = demo_surfaces(&FinEffectsSpec::default());
    let moment = |i: usize| wrench_at(&s[i].r_m, &(s[i].n * s[i].slope_deflection));
    assert!(
        moment(0)[Dof::Pitch.i()] > 0.0 && moment(1)[Dof::Pitch.i()] > 0.0,
        "bow up"
    );
    assert!(
        moment(2)[Dof::Pitch.i()] < 0.0 && moment(3)[Dof::Pitch.i()] < 0.0,
        "bow down"
    );
    assert!(
        moment(1)[Dof::Roll.i()] < 0.0 && moment(3)[Dof::Roll.i()] < 0.0,
        "starboard rises"
    );
    assert!(moment(4)[Dof::Yaw.i()] < 0.0 && moment(4)[Dof::Sway.i()] > 0.0);
    for x in &s {
        assert!((x.n - x.e.cross(&Vector3::x())).norm() < ROUND);
        assert!(x.e.y > 0.0 || x.e.z > 0.999);
    }
}

#[test]
fn cant_and_side_give_the_stated_axes() {
    let mut spec = demo_spec();
    spec.surfaces[3].span_angle_deg = 170.0; // drooping by 10 deg, to port
    spec.surfaces[2].span_angle_deg = 10.0; // drooping by 10 deg, to starboard
    spec.surfaces[4].span_angle_deg = 270.0; // up
    spec.surfaces[4].root_height_m = 0.2;
    let s = build_surfaces(&spec, &demo_radius, &FinEffectsSpec::default()).unwrap();
    let (sin, cos) = 10f64.to_radians().sin_cos();
    assert!((s[2].e - Vector3::new(0.0, cos, sin)).norm() < ROUND);
    assert!((s[3].e - Vector3::new(0.0, cos, -sin)).norm() < ROUND);
    assert!((s[2].n - Vector3::new(0.0, sin, -cos)).norm() < ROUND);
    assert!((s[3].n - Vector3::new(0.0, -sin, -cos)).norm() < ROUND);
    assert!((s[4].e - Vector3::z()).norm() < ROUND && (s[4].n - Vector3::y()).norm() < ROUND);
}

#[test]
fn port_and_starboard_are_mirror_images() {
    let s = demo_surfaces(&FinEffectsSpec::default());
    for (p, q) in [(0, 1), (2, 3), (4, 5)] {
        let (a, b) = (&s[p], &s[q]);
        assert!((a.r_m.y + b.r_m.y).abs() < ROUND && (a.r_m.x - b.r_m.x).abs() < ROUND);
        assert!((a.slope_incidence - b.slope_incidence).abs() < ROUND);
        assert!((a.slope_deflection - b.slope_deflection).abs() < ROUND);
    }
}

#[test]
fn planform_of_a_swept_taper_by_hand() {
    // root 2.2, tip 1.6, span 2.9: S = 5.51, mac = (2/3) 2.2 (1 + t + t^2)/(1 + t), t = 8/11
    let s = &demo_surfaces(&all_off())[3];
    assert!((s.area_m2 - 5.51).abs() < ROUND);
    let t: f64 = 8.0 / 11.0;
    let mac = 2.0 / 3.0 * 2.2 * (1.0 + t + t * t) / (1.0 + t);
    assert!((s.mac_m - mac).abs() < ROUND);
    assert!((s.aspect - 2.0 * 2.9 * 2.9 / 5.51).abs() < ROUND); // root sealed
    let y = 2.9 / 3.0 * (1.0 + 2.0 * t) / (1.0 + t);
    let leading = -10.5 + 0.72 * 2.2 - 0.25 * 2.2 - y * 8f64.to_radians().tan() + 0.25 * mac;
    let frac = lift::centre_of_pressure_frac(s.aspect);
    assert!((s.r_m.x - (leading - frac * mac)).abs() < ROUND);
    assert!((s.r_m.y - (4.4 - 4.0 / (3.0 * PI) * 2.9)).abs() < ROUND);
    assert!((s.r_m.z - 2.1).abs() < ROUND);
}

#[test]
fn small_angles_reduce_to_the_slopes() {
    for effects in [FinEffectsSpec::default(), all_off()] {
        for s in demo_surfaces(&effects) {
            let h = 1e-5;
            // cross-flow lift is quadratic: error of order h
            let a = s.lift_coefficient(h, 0.0) / h;
            let d = s.lift_coefficient(0.0, h) / h;
            assert!((a / s.slope_incidence - 1.0).abs() < 1e-4, "{}", s.name);
            assert!((d / s.slope_deflection - 1.0).abs() < 1e-4, "{}", s.name);
            let (x, y) = (s.lift_coefficient(0.2, -0.1), s.lift_coefficient(-0.2, 0.1));
            assert!((x + y).abs() < ROUND, "odd");
        }
    }
}

#[test]
fn lift_stalls_smoothly_at_a_credible_greatest_value() {
    let s = &demo_surfaces(&FinEffectsSpec::default())[0];
    let (mut best, mut at, mut last) = (0.0, 0.0, 0.0);
    for i in 0..=1800 {
        let a = f64::from(i) * 0.05;
        let panel = s.panel_share() * s.lift_coefficient(0.0, a.to_radians());
        assert!((panel - last).abs() < 0.01, "jump at {a}");
        last = panel;
        if panel > best {
            (best, at) = (panel, a);
        }
    }
    // Whicker & Fehlner: about 1.2 to 1.4 at 20 to 25 deg for A of 2 to 3, less by the surface's nearness
    assert!(
        (1.0..1.4).contains(&best) && (20.0..30.0).contains(&at),
        "{best} {at}"
    );
}

#[test]
fn depth_factor_is_one_at_design_and_nothing_in_the_air() {
    for s in demo_surfaces(&FinEffectsSpec::default()) {
        assert!((s.depth_factor(s.design_depth_m) - 1.0).abs() < ROUND);
        assert!(s.depth_factor(-2.0).abs() < ROUND);
        assert!(s.depth_factor(20.0) >= 1.0);
    }
    for s in demo_surfaces(&all_off()) {
        assert!((s.depth_factor(0.3) - 1.0).abs() < ROUND);
    }
}

#[test]
fn switches_change_what_they_name() {
    let on = demo_surfaces(&FinEffectsSpec::default());
    let bare = demo_surfaces(&all_off());
    let s = &bare[0];
    assert!((s.slope_incidence - lift::whicker_fehlner_slope(s.aspect, s.sweep_rad)).abs() < ROUND);
    assert!(s.added_mass_kg.abs() < ROUND && on[0].added_mass_kg > 100.0);
    assert!(on[0].carry.panel_incidence > 1.2 && on[0].panel_slope < s.panel_slope);
    let free = demo_surfaces(&FinEffectsSpec {
        free_surface: false,
        ..FinEffectsSpec::default()
    });
    assert!((free[0].panel_slope - s.panel_slope).abs() < ROUND);
}

#[test]
fn a_given_slope_replaces_slope_and_carry_over() {
    let mut spec = demo_spec();
    spec.surfaces[0].lift_slope_per_rad = Some(2.0);
    spec.surfaces[2].lift_slope_per_rad = Some(2.0);
    let s = build_surfaces(&spec, &demo_radius, &FinEffectsSpec::default()).unwrap();
    assert!(
        (s[0].slope_incidence - 2.0).abs() < ROUND && (s[0].slope_deflection - 2.0).abs() < ROUND
    );
    let tau = ThinFlap::new(0.28).tau * flap::VISCOUS_EFFECTIVENESS;
    assert!((s[2].slope_deflection - 2.0 * tau).abs() < ROUND);
}

#[test]
fn two_sided_fins_double_the_body_part() {
    let mut spec = demo_spec();
    let mut other = spec.surfaces[1].clone();
    other.name = "forward_starboard_outer".into();
    other.root_y_m = 6.6;
    other.span_angle_deg = 0.0;
    spec.surfaces.push(other);
    let s = build_surfaces(&spec, &demo_radius, &FinEffectsSpec::default()).unwrap();
    assert!((s[1].carry.body_incidence / s[0].carry.body_incidence - 2.0).abs() < ROUND);
    assert!((s[6].carry.body_incidence / s[0].carry.body_incidence - 2.0).abs() < ROUND);
}

#[test]
fn hinge_moment_of_a_flap_meets_thin_aerofoil_at_large_aspect() {
    let mut spec = demo_spec();
    spec.surfaces[2].span_m = 400.0; // as good as two-dimensional
    spec.surfaces[2].root_chord_m = 1.0;
    spec.surfaces[2].tip_chord_m = 1.0;
    spec.surfaces[2].sweep_deg = 0.0;
    spec.surfaces[2].moving = MovingPart::Flap {
        chord_frac: 0.25,
        span_frac: 1.0,
    };
    spec.surfaces[2].stock_frac = 0.75;
    let s = build_surfaces(&spec, &demo_radius, &all_off())
        .unwrap()
        .swap_remove(2);
    // flap.E0.25: CH_alpha -0.56534726 per rad times q cf^2 b; slope 1.8 pi of 2 pi at large aspect
    let got = s.hinge_moment_nm(1000.0, 0.01, 0.0);
    let want = -0.56534726 * 0.01 * 1000.0 * 0.0625 * 400.0;
    assert!((got / (want * 0.9) - 1.0).abs() < 0.01, "{got} {want}");
    assert!(
        s.hinge_moment_nm(1000.0, 0.0, 0.1) < 0.0,
        "water closes the flap"
    );
}

#[test]
fn hinge_moment_of_an_all_movable_fin_is_lift_times_lever() {
    let s = &demo_surfaces(&all_off())[0];
    let (q, d) = (4.0e4, 0.05);
    let lift = q * s.area_m2 * s.lift_coefficient(0.0, d);
    // the force acts r.x - stock ahead of the stock and turns the fin further
    let want = lift * (s.r_m.x - 9.5);
    assert!(
        (s.hinge_moment_nm(q, 0.0, d) / want - 1.0).abs() < 1e-9,
        "{want}"
    );
    // half-chord cross-flow lift drives it back at large angles
    let s = &demo_surfaces(&FinEffectsSpec::default())[0];
    assert!(s.hinge_moment_nm(q, 0.0, 0.6) < 0.0);
}

#[test]
fn cavitation_comes_with_speed_and_lift() {
    let s = &demo_surfaces(&FinEffectsSpec::default())[0];
    assert!(!s.cavitates(9.3, 2.1, 0.3));
    assert!(s.cavitates(20.0, 2.1, 0.6));
}

#[test]
fn wrong_dimensions_are_told_at_their_keys() {
    let mut spec = demo_spec();
    spec.surfaces[0].span_m = 0.0;
    spec.surfaces[2].stock_frac = 0.5;
    spec.surfaces[3].min_deg = 30.0;
    let e = build_surfaces(&spec, &demo_radius, &FinEffectsSpec::default()).unwrap_err();
    let keys: Vec<_> = e.problems.iter().map(|p| p.place.key.as_str()).collect();
    assert_eq!(
        keys,
        [
            "surfaces[0].span_m",
            "surfaces[2].stock_frac",
            "surfaces[3].min_deg"
        ]
    );
}

#[test]
fn froude_scaled_surfaces_keep_their_coefficients() {
    let big = demo_surfaces(&FinEffectsSpec::default());
    let mut spec = demo_spec();
    let k = 0.1;
    spec.design_waterline_m *= k;
    spec.lower_hulls.lateral_position_m *= k;
    for st in &mut spec.lower_hulls.stations {
        st.x_m *= k;
        st.half_breadth_m *= k;
        st.axis_height_m = st.axis_height_m.map(|h| h * k);
    }
    for s in &mut spec.surfaces {
        for v in [
            &mut s.stock_x_m,
            &mut s.root_y_m,
            &mut s.root_height_m,
            &mut s.span_m,
            &mut s.root_chord_m,
            &mut s.tip_chord_m,
        ] {
            *v *= k;
        }
    }
    let small = build_surfaces(
        &spec,
        &|x| k * demo_radius(x / k),
        &FinEffectsSpec::default(),
    )
    .unwrap();
    for (a, b) in big.iter().zip(&small) {
        assert!((a.slope_incidence - b.slope_incidence).abs() < 1e-9);
        assert!((a.slope_deflection - b.slope_deflection).abs() < 1e-9);
        assert!((a.r_m * k - b.r_m).norm() < 1e-9);
        assert!((b.added_mass_kg / a.added_mass_kg / (k * k * k) - 1.0).abs() < 1e-9);
    }
}
