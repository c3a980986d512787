//! What several promise tests share: the demonstration craft and plants.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part

use std::path::Path;
use std::sync::Arc;

use num_complex::Complex64;
use ridewright::control::fixed::Fixed;
use ridewright::control::{Controller, from_spec};
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::{Plant, PlantInput};
use ridewright::linear::trim::Trim;
use ridewright::math::rng::{Purpose, generator};
use ridewright::sea::realisation::{Component, Realisation, realise};
use ridewright::sim::bake::{self, Recipe};
use ridewright::sim::case::{Integrator, Parts, Sensing, Timing};
use ridewright::sim::run::Run;
use ridewright::spec::controller::ControllerSpec;
use ridewright::spec::craft::CraftSpec;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::spec::sea::{Amplitudes, SeaSpec, SpectrumSpec, WaveSystemSpec};

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

/// A plant led straight in calm water by springs, with ideal servos, and its trim.
pub fn held_plant(model: &CraftModel, speed_kn: f64) -> (Plant, Trim) {
    let mut plant = model
        .plant(ridewright::units::kn(speed_kn), &mean_held())
        .expect("plant");
    ideal_servos(&mut plant);
    let trim = ridewright::linear::trim::level(&plant).expect("trim");
    (plant, trim)
}

/// A sea of one regular wave, crest at O at t = 0.
pub fn regular(omega_rad_s: f64, mu_rad: f64, amplitude_m: f64) -> Realisation {
    Realisation {
        components: vec![Component {
            omega_rad_s,
            mu_rad,
            amplitude_m,
            phase_rad: 0.0,
        }],
        ..Realisation::calm()
    }
}

/// A two-parameter sea, long-crested, always the same one for a seed.
pub fn irregular(hs_m: f64, tp_s: f64, mu_rad: f64, seed: u64, components: usize) -> Realisation {
    let spec = SeaSpec {
        format: "ridewright.sea/1".into(),
        name: "test sea".into(),
        note: String::new(),
        systems: vec![WaveSystemSpec {
            spectrum: SpectrumSpec::Bretschneider { hs_m, tp_s },
            spreading: None,
            offset_deg: 0.0,
        }],
        components,
        amplitudes: Amplitudes::Fixed,
        wind: None,
        current_m_s: 0.0,
        current_offset_deg: 0.0,
    };
    let mut rng = generator(seed, 0, Purpose::Waves, 0);
    realise(&spec, Path::new("."), mu_rad, 0.0, 0.0, &mut rng).expect("sea")
}

/// The parts of a case with the truth as sensors; tests change what they need.
pub fn parts(
    model: &CraftModel,
    plant: &Arc<Plant>,
    trim: &Trim,
    sea: &Realisation,
    course: &CourseSpec,
    timing: Timing,
) -> Parts {
    bake::parts(&Recipe {
        name: "proof".into(),
        model,
        plant: Arc::clone(plant),
        trim,
        sea,
        timing,
        integrator: Integrator::FixedStep,
        course,
        sensing: Sensing::Perfect,
    })
}

/// Surfaces held at trim.
pub fn fixed() -> Box<dyn Controller> {
    Box::new(Fixed::new("fixed"))
}

/// The law of a controller file.
pub fn law(relative: &str) -> Box<dyn Controller> {
    let spec: ControllerSpec = read(relative);
    from_spec(&spec, Path::new("."), None).expect(relative)
}

/// Samples of a column after the run-in.
pub fn judged<'a>(run: &'a Run, name: &str) -> &'a [f64] {
    run.record.judged_of(name).expect(name)
}

/// Root mean square about the mean.
pub fn rms(x: &[f64]) -> f64 {
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    (x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

/// Complex amplitude at `omega` of a record that starts at t = 0 (lead of exp(+i omega t)), by
/// least squares with a constant.
pub fn harmonic(x: &[f64], step_s: f64, omega: f64) -> Complex64 {
    let mut n = nalgebra::Matrix3::zeros();
    let mut r = nalgebra::Vector3::zeros();
    for (i, v) in x.iter().enumerate() {
        let (s, c) = (omega * i as f64 * step_s).sin_cos();
        let row = nalgebra::Vector3::new(1.0, c, s);
        n += row * row.transpose();
        r += row * *v;
    }
    let fit = n.lu().solve(&r).expect("a record longer than a period");
    Complex64::new(fit[1], -fit[2])
}
