//! The design model stands for the craft it was made from.

#![allow(clippy::unwrap_used)] // a test that cannot go on stops

mod common;

use common::{model, read};
use nalgebra::{Complex, DMatrix};
use ridewright::design::{craft, law};
use ridewright::dynamics::model::CraftModel;
use ridewright::linear::assemble::assemble;
use ridewright::linear::{stability, trim};
use ridewright::math::eigen;
use ridewright::spec::controller::{ControllerSpec, LawSpec};
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::kn;

fn poles(a: &DMatrix<f64>) -> Vec<Complex<f64>> {
    eigen::eigenvalues(a).unwrap().iter().copied().collect()
}

fn nearest(poles: &[Complex<f64>], to: Complex<f64>) -> f64 {
    let off = |p: &Complex<f64>| (p - to).norm();
    poles.iter().map(off).fold(f64::INFINITY, f64::min) / to.norm()
}

/// Heave-pitch poles of the whole linear model (memory, surge, servos) are found among those of the design model.
#[test]
fn design_poles_are_those_of_the_craft() {
    let model = model(&PhysicsSpec::default());
    // read off the whole model (`linear::modes`, heave and pitch): slowest oscillation of each speed
    for (speed_kn, tolerance, roll_tolerance) in
        [(8.0, 0.02, 0.15), (12.0, 0.02, 0.15), (16.0, 0.05, 0.15)]
    {
        let plant = model.plant(kn(speed_kn), &CourseSpec::default()).unwrap();
        let level = trim::level(&plant).unwrap();
        let whole = ridewright::linear::modes::poles(&assemble(&plant, &level.x, None)).unwrap();
        let design = craft::at_speed(&model, kn(speed_kn), &[]).unwrap();
        let reduced = poles(&design.a);
        let mut seen = (0, 0);
        for p in whole
            .iter()
            .filter(|p| p.value.im > 0.3 && p.value.im < 2.0)
        {
            let Some(motion) = p.motion else { continue };
            if motion.name() != "roll" && seen.0 == 1 {
                continue; // the faster vertical pole is as much memory's as the craft's
            }
            let off = nearest(&reduced, p.value);
            println!(
                "{speed_kn} kn {}: {:.4}, off {off:.4}",
                motion.name(),
                p.value
            );
            if motion.name() == "roll" {
                // sway and yaw follow by their inertia only, not by the lift of the struts
                assert!(off < roll_tolerance, "{off}");
                seen.1 += 1;
            } else {
                // surge and the memory's change of added mass with frequency are left out
                assert!(off < tolerance, "{speed_kn} kn {}: {off}", motion.name());
                seen.0 += 1;
            }
        }
        assert!(seen.0 >= 1 && seen.1 == 1, "{seen:?}");
    }
}

/// Largest of the design model's real poles, 1/s.
fn growth(model: &CraftModel, speed_kn: f64, omega: f64) -> f64 {
    let a = craft::at_frequency(model, kn(speed_kn), omega, &[])
        .unwrap()
        .a;
    let real = poles(&a).into_iter().filter(|p| p.im.abs() < 1e-9);
    real.map(|p| p.re).fold(f64::NEG_INFINITY, f64::max)
}

#[test]
fn design_model_diverges_where_the_craft_does() {
    let model = model(&PhysicsSpec::default());
    let craft = stability::divergence_kn(&model).unwrap().unwrap();
    let design = |omega: f64| {
        let (mut below, mut above) = (16.0, 40.0);
        while above - below > 0.05 {
            let middle = 0.5 * (below + above);
            if growth(&model, middle, omega) > 0.0 {
                above = middle;
            } else {
                below = middle;
            }
        }
        0.5 * (below + above)
    };
    let omega = craft::at_speed(&model, kn(16.0), &[]).unwrap().omega_rad_s;
    let (slow, heave) = (design(0.0), design(omega));
    println!(
        "divergence: craft {craft:.2} kn, design model {slow:.2} kn, at {omega:.2} rad/s {heave:.2} kn"
    );
    // the craft's is sought level with fins at neutral, the design model's about its trim
    assert!((slow / craft - 1.0).abs() < 0.05, "{slow}");
}

#[test]
fn channels_and_their_angles_are_honoured() {
    let model = model(&PhysicsSpec::default());
    let mut spec: ControllerSpec = read("controllers/lqr.json");
    spec.channels = vec!["aft starboard".into(), "aft port".into()];
    let LawSpec::Lqr(lqr) = &mut spec.law else {
        panic!("lqr.json is an LQR")
    };
    lqr.design_speeds_kn = vec![16.0];
    lqr.channel_deg = vec![2.0, 20.0];
    let here = std::path::Path::new("");
    let (made, report) = law(&spec, here, &model).unwrap();
    assert_eq!(made.info().channels, spec.channels);
    let point = &report.unwrap().points[0];
    let gain = |channel: &str| {
        let of =
            |g: &&ridewright::design::lqr::GainEntry| g.channel == channel && g.state == "q_rad_s";
        point.gains.iter().find(of).unwrap().value.abs()
    };
    // the dear channel works less
    assert!(gain("aft port") > 4.0 * gain("aft starboard"));
    let LawSpec::Lqr(lqr) = &mut spec.law else {
        panic!("lqr.json is an LQR")
    };
    lqr.channel_deg.pop();
    let e = law(&spec, here, &model).err().unwrap().to_string();
    assert!(
        e.contains("channel_deg") && e.contains("1 values for 2"),
        "{e}"
    );
    spec.channels[0] = "aft middle".into();
    let e = law(&spec, here, &model).err().unwrap().to_string();
    assert!(
        e.contains("aft middle") && e.contains("16.0 kn") && e.contains("forward port"),
        "{e}"
    );
}
