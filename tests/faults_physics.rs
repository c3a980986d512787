//! Physics of faults on the smaller demonstration craft: linear model, sign card, hinge moments, metacentric height.
#![allow(clippy::unwrap_used)] // tests

mod common;
#[path = "common/rig.rs"]
mod rig;

use std::sync::Arc;

use ridewright::dynamics::damage::Damage;
use ridewright::dynamics::plant::PlantInput;
use ridewright::frames::Wrench;
use ridewright::linear::{assemble, modes, trim};
use ridewright::sea::realisation::Realisation;
use ridewright::sim::case::Case;
use ridewright::sim::faults::resolve;
use ridewright::sim::run::run;
use ridewright::spec::fault::FaultEventSpec;
use ridewright::spec::scenario::CourseSpec;
use ridewright::units::{deg, kn, to_deg};
use serde_json::json;

use crate::rig::{Rig, SURFACES, at, last, pid, surface, timing, value};

fn input<'a>(hold: &'a [f64], waves: &'a [f64]) -> PlantInput<'a> {
    PlantInput {
        waves,
        command_rad: hold,
        surface_hold_rad: hold,
        rate_limit_rad_s: hold,
        thrust_n: &[],
        wind: Wrench::zeros(),
    }
}

#[test]
fn a_jammed_fin_settles_where_the_linear_model_says() {
    // springs stiff enough that the towed craft is stable in all modes, and linear physics
    let model = common::model(&common::linear_physics());
    let course = CourseSpec::MeanHeld {
        spring_period_s: 20.0,
    };
    let mut plant = model.plant(kn(10.0), &course).unwrap();
    common::ideal_servos(&mut plant);
    let trim = trim::level(&plant).unwrap();
    let linear = assemble::assemble(&plant, &trim.x, None);
    let slowest = modes::poles(&linear)
        .unwrap()
        .iter()
        .map(|p| p.value.re)
        .fold(-9.0, f64::max);
    assert!(slowest < -0.01, "stable: {slowest}");
    let plant = Arc::new(plant);
    for (i, name) in [(2, "aft port"), (1, "forward starboard")] {
        let off_deg = 0.2;
        let angle_deg = to_deg(trim.surface_rad[i]) + off_deg;
        let jam = at(
            0.0,
            surface(name, json!({"jammed_at": {"angle_deg": angle_deg}})),
        );
        let calm = Realisation::calm();
        let mut parts = common::parts(&model, &plant, &trim, &calm, &course, timing(700.0));
        parts.faults = resolve(&[jam], &model.craft.spec, 1, 0).unwrap();
        let r = run(&Case::new(parts).unwrap(), &mut *common::fixed());
        assert!(r.outcome.is_completed(), "{}", r.outcome);
        // A dx + b delta = 0
        let b = linear.b_command.column(i) * deg(off_deg);
        let dx = linear.a.clone().lu().solve(&-b).unwrap();
        for (column, k, sign) in [
            ("heave_up", 2, -1.0),
            ("roll", 3, 1.0),
            ("pitch", 4, 1.0),
            ("yaw", 5, 1.0),
        ] {
            let want = dx[k];
            let got = sign * last(&r, column) - trim.x[k];
            let scale = if k == 2 {
                0.01
            } else {
                dx[3].abs().max(dx[4].abs())
            };
            // second order in a fifth of a degree; what is left of the transient
            assert!(
                (got - want).abs() < 0.01 * want.abs() + 0.002 * scale,
                "{name} {column}: {got:e} {want:e}"
            );
        }
    }
}

#[test]
fn hard_over_accelerates_as_the_sign_card_says() {
    // DEVELOPERS.md, sign card: loop open, first second
    let rig = Rig::new(16.0, CourseSpec::default());
    let healthy = rig.sail(1.2, &[], &mut *common::fixed());
    for name in SURFACES {
        for (stop, sense) in [("max", 1.0), ("min", -1.0)] {
            let e = at(0.1, surface(name, json!({"hard_over": {"stop": stop}})));
            let r = rig.sail(1.2, &[e], &mut *common::fixed());
            let off = |c: &str| sense * (value(&r, c, 0.8) - value(&healthy, c, 0.8));
            let angle = off(&format!("{name}.angle"));
            assert!(angle > 0.0, "{name} {stop}");
            if name.starts_with("rudder") {
                assert!(off("r") < 0.0, "{name}: {}", off("r"));
                continue;
            }
            let pitch = if name.starts_with("forward") {
                1.0
            } else {
                -1.0
            };
            assert!(pitch * off("q") > 0.0, "{name} {stop}: {}", off("q"));
            let roll = if name.ends_with("starboard") {
                -1.0
            } else {
                1.0
            };
            assert!(roll * off("p") > 0.0, "{name} {stop}: {}", off("p"));
            // lifts: O goes up, whatever the sign of pitch
            assert!(off("w") < 0.0, "{name} {stop}: {}", off("w"));
        }
    }
}

#[test]
fn a_trailing_surface_floats_without_hinge_moment() {
    let rig = Rig::new(14.0, CourseSpec::default());
    let (plant, layout) = (&rig.plant, rig.plant.layout());
    let waves = vec![0.0; plant.channels().len()];
    for (i, name) in SURFACES.iter().enumerate() {
        let e = at(2.0, surface(name, json!({"trailing": {}})));
        let r = rig.sail(60.0, &[e], &mut *pid());
        let x = &r.end_state;
        let mut hold: Vec<f64> = (0..6).map(|k| x[layout.angle(k)]).collect();
        let here = plant.hinge_moment_nm(i, x, &input(&hold, &waves));
        let floats = hold[i];
        // against what half a degree off would feel, craft standing as it is
        hold[i] = floats + deg(0.5);
        let mut moved = x.clone();
        moved[layout.angle(i)] = hold[i];
        let off = plant.hinge_moment_nm(i, &moved, &input(&hold, &waves));
        let s = &plant.surfaces[i];
        let told = format!("{name}: {here} N m at {} deg, {off}", to_deg(floats));
        let held = if floats >= s.max_rad {
            here > 0.0
        } else if floats <= s.min_rad {
            here < 0.0
        } else {
            here.abs() < 0.01 * off.abs() && off < 0.0
        };
        assert!(held, "{told}");
        // the forward fins' stock stands behind the centre of pressure: they swing to a stop; flaps never do
        let is_flap = name.starts_with("aft");
        assert!(
            !is_flap || (floats > s.min_rad && floats < s.max_rad),
            "{told}"
        );
    }
}

#[test]
fn a_lost_surface_gives_no_force() {
    let rig = Rig::new(16.0, CourseSpec::default());
    let (plant, x) = (&rig.plant, &rig.trim.x);
    let mut damage = Damage::none(6);
    damage.lost[0] = true;
    let broken = plant.damaged(&damage);
    assert_eq!(broken.layout(), plant.layout());
    let waves = vec![0.0; plant.channels().len()];
    let (a, b) = (&rig.trim.surface_rad, &rig.trim.thrust_n);
    let whole = common::derivative(plant, x, &waves, a, b);
    let less = common::derivative(&broken, x, &waves, a, b);
    let mut lift = vec![0.0; 6];
    plant.lift_n(x, &input(a, &waves), &mut lift);
    // M (nu' - nu'_without) = its force at its place
    let mass = plant.mass_inverse().try_inverse().unwrap();
    let gone = mass * nalgebra::Vector6::from_fn(|i, _| whole[6 + i] - less[6 + i]);
    let s = &plant.surfaces[0];
    let drag = nalgebra::Vector3::x() * gone[0];
    let want = ridewright::frames::wrench_at(&s.r_m, &(s.n * lift[0] + drag));
    assert!((gone - want).norm() < 1e-6 * want.norm(), "{gone} {want}");
    assert!(gone[0] < 0.0, "a blade brakes");
    assert!(lift[0].abs() > 100.0);
    // its wake goes too: the aft surface behind it meets more
    let e = at(0.0, surface("forward port", json!({"lost": {}})));
    let r = rig.sail(8.0, &[e], &mut *common::fixed());
    assert!(last(&r, "forward port.lift").abs() < 1e-9);
    assert!(last(&r, "aft port.lift") > last(&r, "aft starboard.lift"));
}

/// Where the craft comes to lie at rest: means of heave, roll and pitch over many swings.
fn equilibrium(r: &Rig, events: &[FaultEventSpec]) -> [f64; 3] {
    let run = r.sail(600.0, events, &mut *common::fixed());
    let mean = |c: &str| {
        let data = &run.record.column(c).unwrap().data;
        // whole swings are many: the mean of the second half
        let half = &data[data.len() / 2..];
        half.iter().sum::<f64>() / half.len() as f64
    };
    [-mean("heave_up"), mean("roll"), mean("pitch")]
}

#[test]
fn steady_heel_meets_gm() {
    let rig = Rig::new(0.0, common::mean_held());
    let craft = &rig.model.craft;
    let h = &craft.hydrostatics;
    let weight = craft.mass.mass_kg * craft.g_m_s2;
    // a weight of m moved by d across heels by m d / (displacement GM): small angle
    let (m, d) = (400.0, 4.0);
    let shift = json!({"weight_shift": {"mass_kg": m,
        "from": {"x_m": 0, "y_m": 0, "height_m": 7}, "to": {"x_m": 0, "y_m": d, "height_m": 7}}});
    let [_, roll, _] = equilibrium(&rig, &[at(0.0, shift)]);
    let want = m * craft.g_m_s2 * d / (weight * h.gm_t_m);
    assert!((roll / want - 1.0).abs() < 0.02, "shift: {roll} {want}");
    // water at y with a free surface: heel = moment / (weight GM - rho g i + sum of its own terms)
    let (l, b, depth, fill, y, floor) = (3.0, 2.0, 1.0, 0.1, 3.0, 6.4);
    let flood = json!({"flooded": {"length_m": l, "breadth_m": b, "depth_m": depth, "x_m": 0, "y_m": y,
        "floor_height_m": floor, "fill_frac": fill, "fills_in_s": 0}});
    let [sinks, roll, _] = equilibrium(&rig, &[at(0.0, flood)]);
    let rho_g = craft.rho_kg_m3 * craft.g_m_s2;
    let w = rho_g * l * b * depth * fill;
    let above_o = floor + 0.5 * depth * fill - craft.spec.design_waterline_m;
    // moment about O: w y = roll (W GM + w (-z_w) - rho g i), z_w the water's height above O, which takes stiffness
    let stiff = weight * h.gm_t_m - w * above_o - rho_g * l * b.powi(3) / 12.0;
    let want = w * y / stiff;
    assert!((roll / want - 1.0).abs() < 0.03, "flood: {roll} {want}");
    let deeper = w / (rho_g * h.a_w_m2);
    assert!((sinks / deeper - 1.0).abs() < 0.03, "{sinks} {deeper}");
}
