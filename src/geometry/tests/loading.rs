//! Weights: sums, tanks, balance, and what a wrong file is told.

use super::super::craft::Craft;
use super::{COASTAL, coastal, spec_of};
use crate::spec::craft::{CraftSpec, MassSpec, TankSpec, WeightSpec};

fn set_total(
    spec: &mut CraftSpec,
    mass: Option<f64>,
    lcg: Option<f64>,
    tcg: f64,
    vcg: Option<f64>,
) {
    if let MassSpec::Total {
        mass_kg,
        lcg_m,
        tcg_m,
        vcg_m,
        ..
    } = &mut spec.mass
    {
        *mass_kg = mass;
        *lcg_m = lcg;
        *tcg_m = tcg;
        *vcg_m = vcg.unwrap_or(*vcg_m);
    }
}

#[test]
fn mass_defaults_to_balance() {
    let c = coastal();
    let h = &c.hydrostatics;
    assert!((c.mass.mass_kg - h.displacement_kg).abs() < 1e-6);
    assert!((c.mass.cg_m.x - h.cb_m.x).abs() < 1e-12);
}

#[test]
fn rounded_mass_is_taken_as_balanced() {
    let h = coastal().hydrostatics;
    let mut spec = spec_of(COASTAL);
    let rounded = (h.displacement_kg / 1e3).round() * 1e3;
    set_total(
        &mut spec,
        Some(rounded),
        Some((h.cb_m.x * 1e3).round() / 1e3),
        0.0,
        None,
    );
    let c = Craft::build(&spec).unwrap();
    assert!((c.mass.mass_kg - h.displacement_kg).abs() < 1e-6);
}

#[test]
fn wrong_mass_says_how_it_would_float() {
    let h = coastal().hydrostatics;
    let mut spec = spec_of(COASTAL);
    // ten tonnes more, on the centre of floatation: parallel sinkage
    let more = 10_000.0;
    let mass = h.displacement_kg + more;
    let lcg = (h.displacement_kg * h.cb_m.x + more * h.lcf_m) / mass;
    set_total(&mut spec, Some(mass), Some(lcg), 0.0, None);
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems.len(), 1, "{e}");
    assert_eq!(e.problems[0].place.key, "mass.total.mass_kg");
    // wall-sided: sinkage is mass over rho A_w
    let want = format!("{:.3} m deeper", more / 1025.0 / h.a_w_m2);
    assert!(e.problems[0].message.contains(&want), "{e}\nwant {want}");
    let balanced = format!("{:.0}", h.displacement_kg);
    assert!(e.problems[0].hint.as_ref().unwrap().contains(&balanced));

    set_total(&mut spec, None, Some(h.cb_m.x - 0.2), 0.0, None);
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems[0].place.key, "mass.total.lcg_m");
    // weight aft: trimmed by the stern, bow up, about 0.2 / GM_L
    let trim = (0.2 / h.gm_l_m).to_degrees();
    let told = &e.problems[0].message;
    assert!(told.contains("bow up"), "{told}");
    let found: f64 = told
        .split("trimmed ")
        .nth(1)
        .and_then(|s| s.split(' ').next())
        .and_then(|s| s.parse().ok())
        .unwrap();
    assert!((found / trim - 1.0).abs() < 0.05, "{found} {trim}"); // nonlinear against linear

    set_total(&mut spec, None, None, 0.1, None);
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems[0].place.key, "mass.total.tcg_m");
    assert!(e.problems[0].message.contains("to starboard"), "{e}");
}

#[test]
fn negative_gm_is_refused() {
    let mut spec = spec_of(COASTAL);
    set_total(&mut spec, None, None, 0.0, Some(6.5));
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems.len(), 1);
    assert_eq!(e.problems[0].place.key, "mass.total.vcg_m");
    assert!(
        e.problems[0]
            .message
            .contains("transverse metacentric height")
    );
}

fn weight(name: &str, mass_kg: f64, x_m: f64, height_m: f64) -> WeightSpec {
    WeightSpec {
        name: name.into(),
        mass_kg,
        x_m,
        y_m: 0.0,
        height_m,
        gyration_m: [4.0, 7.0, 7.5],
    }
}

fn tank(fill_frac: f64, y_m: f64) -> TankSpec {
    TankSpec {
        name: "ballast".into(),
        density_kg_m3: 1025.0,
        length_m: 3.0,
        breadth_m: 1.2,
        depth_m: 1.0,
        x_m: 2.0,
        y_m,
        floor_height_m: 0.6,
        fill_frac,
    }
}

fn grouped(fill: f64) -> CraftSpec {
    let h = coastal().hydrostatics;
    let mut spec = spec_of(COASTAL);
    let water = 2.0 * 1025.0 * 3.6 * fill;
    let crew = 20_000.0;
    let light = h.displacement_kg - water - crew;
    // the light ship's centre balances the rest
    let x = (h.displacement_kg * h.cb_m.x - water * 2.0 - crew * 5.0) / light;
    spec.mass = MassSpec::Groups {
        weights: vec![
            weight("light ship", light, x, 4.2),
            weight("crew", crew, 5.0, 7.0),
        ],
        tanks: vec![tank(fill, 5.9), tank(fill, -5.9)],
    };
    spec
}

#[test]
fn groups_add_up() {
    let c = Craft::build(&grouped(1.0)).unwrap();
    let m = &c.mass;
    let water = 2.0 * 1025.0 * 3.6;
    let light = m.mass_kg - water - 20_000.0;
    let height = (light * 4.2 + 20_000.0 * 7.0 + water * 1.1) / m.mass_kg;
    assert!((c.spec.design_waterline_m - m.cg_m.z - height).abs() < 1e-9);
    assert!(m.cg_m.y.abs() < 1e-12 && m.free_surface_roll_nm.abs() < 1e-12);
    // roll inertia by hand: own, and Steiner with heights and sides
    let steiner = |mass: f64, h: f64, y: f64, k2: f64| mass * ((h - height).powi(2) + y * y + k2);
    let roll = steiner(light, 4.2, 0.0, 16.0)
        + steiner(20_000.0, 7.0, 0.0, 16.0)
        + steiner(water, 1.1, 5.9, (1.44 + 1.0) / 12.0);
    assert!((m.inertia_cg_kg_m2[(0, 0)] / roll - 1.0).abs() < 1e-9);
    assert!((m.inertia_cg_kg_m2 - m.inertia_cg_kg_m2.transpose()).norm() < 1e-6);
}

#[test]
fn tanks_take_stiffness() {
    let c = Craft::build(&grouped(0.5)).unwrap();
    let want = 2.0 * 1025.0 * 9.80665 * 3.0 * 1.2f64.powi(3) / 12.0;
    assert!((c.mass.free_surface_roll_nm / want - 1.0).abs() < 1e-12);
    let h = &c.hydrostatics;
    let solid = h.i_t_m4 / h.volume_m3 + c.mass.cg_m.z - h.cb_m.z;
    let loss = want / (h.displacement_kg * 9.80665);
    assert!((h.gm_t_m - (solid - loss)).abs() < 1e-9);
}

#[test]
fn all_problems_at_once() {
    let mut spec = spec_of(COASTAL);
    spec.lower_hulls.stations[0].half_breadth_m = 7.0;
    spec.cross_structure.underside_height_m = 1.0;
    spec.struts.clear();
    let e = Craft::build(&spec).unwrap_err();
    let keys: Vec<&str> = e.problems.iter().map(|p| p.place.key.as_str()).collect();
    for key in [
        "struts",
        "cross_structure.underside_height_m",
        "lower_hulls.stations[0].half_breadth_m",
    ] {
        assert!(keys.contains(&key), "{key} not in {keys:?}");
    }
}

#[test]
fn fins_must_sit_on_the_hull() {
    let mut spec = spec_of(COASTAL);
    spec.surfaces[0].stock_x_m = 25.0;
    spec.surfaces[1].root_y_m = 2.0;
    spec.struts[0].fore_x_m = 15.9;
    let e = Craft::build(&spec).unwrap_err();
    let keys: Vec<&str> = e.problems.iter().map(|p| p.place.key.as_str()).collect();
    assert!(keys.contains(&"surfaces[0].stock_x_m"), "{keys:?}");
    assert!(keys.contains(&"surfaces[1].root_y_m"), "{keys:?}");
    spec = spec_of(COASTAL);
    spec.struts[0].fore_x_m = 17.0;
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems[0].place.key, "struts[0].fore_x_m");
    spec.struts[0].fore_x_m = 16.0;
    spec.struts[0].waterplane = crate::spec::craft::WaterplaneShape::Rectangle {};
    let e = Craft::build(&spec).unwrap_err();
    assert_eq!(e.problems[0].place.key, "struts[0]");
}

#[test]
fn wild_numbers_never_panic() {
    for value in [0.0, -1.0, 1e300, f64::NAN, f64::INFINITY, 1e-300] {
        for which in 0..9 {
            let mut spec = spec_of(COASTAL);
            match which {
                0 => spec.lower_hulls.stations[0].half_breadth_m = value,
                1 => spec.lower_hulls.stations[1].x_m = value,
                2 => spec.struts[0].thickness_m = value,
                3 => spec.struts[0].fore_x_m = value,
                4 => spec.design_waterline_m = value,
                5 => spec.cross_structure.underside_height_m = value,
                6 => spec.surfaces[0].span_m = value,
                7 => spec.lower_hulls.lateral_position_m = value,
                _ => set_total(&mut spec, Some(value), Some(value), value, Some(value)),
            }
            let built = Craft::build(&spec);
            assert!(built.is_err(), "case {which} with {value} was accepted");
        }
    }
}
