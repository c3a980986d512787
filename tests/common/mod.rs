//! What several promise tests share: the demonstration craft and plants.
#![allow(dead_code)] // each test file uses its own part

use std::path::Path;

use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::{Plant, PlantInput};
use ridewright::spec::craft::CraftSpec;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};

/// The smaller demonstration craft's file, read plainly.
pub fn small_spec() -> CraftSpec {
    read("scenarios/craft/coastal_survey.json")
}

/// A JSON file of the repository.
pub fn read<T: serde::de::DeserializeOwned>(relative: &str) -> T {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(relative);
    let text = std::fs::read_to_string(&path).expect(relative);
    serde_json::from_str(&text).expect(relative)
}

/// The smaller demonstration craft with the given switches.
pub fn model(physics: &PhysicsSpec) -> CraftModel {
    CraftModel::build(&small_spec(), physics, None).expect("the demonstration craft builds")
}

/// Springs that hold mean course and speed.
pub fn mean_held() -> CourseSpec {
    CourseSpec::MeanHeld {
        spring_period_s: 120.0,
    }
}

/// Servos without dead band and backlash: what the linear model assumes.
pub fn ideal_servos(plant: &mut Plant) {
    for a in &mut plant.actuators {
        a.dead_band_rad = 0.0;
        a.backlash_rad = 0.0;
    }
}

/// Switches of the linear comparison: no quadratic drag, linear restoring, no stall.
pub fn linear_physics() -> PhysicsSpec {
    let mut p = PhysicsSpec {
        cross_flow_drag: false,
        nonlinear_restoring: false,
        ..PhysicsSpec::default()
    };
    p.fins.stall = false;
    p
}

/// Derivative with everything given.
pub fn derivative(
    plant: &Plant,
    x: &[f64],
    waves: &[f64],
    command_rad: &[f64],
    thrust_n: &[f64],
) -> Vec<f64> {
    let limits: Vec<f64> = plant.actuators.iter().map(|a| a.max_rate_rad_s).collect();
    let hold: Vec<f64> = (0..plant.surfaces.len())
        .map(|i| x[plant.layout().angle(i)])
        .collect();
    let mut dx = vec![0.0; x.len()];
    let input = PlantInput {
        waves,
        command_rad,
        surface_hold_rad: &hold,
        rate_limit_rad_s: &limits,
        thrust_n,
        wind: ridewright::frames::Wrench::zeros(),
    };
    plant.derivative(x, &input, &mut dx);
    dx
}
