//! What a heave demand does in pitch on the demonstration craft: fin forces with lag and delayed wakes.

#![allow(clippy::unwrap_used)] // a test that cannot go on stops

mod common;

use num_complex::Complex64;
use ridewright::control::Controller;
use ridewright::control::linear::LawSignal;
use ridewright::control::pid::Pid;
use ridewright::control::signal::Setup;
use ridewright::dynamics::plant::Plant;
use ridewright::frames::wrench_at;
use ridewright::hydro::unsteady::{reduced_frequency, wagner_response};
use ridewright::linear::trim;
use ridewright::sim::setup::setup;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::kn;

/// Lift up and pitching moment per rad of surface `i` on a craft that does not move: Wagner's lag, and the
/// wake that reaches the aft surfaces x/U later.
fn forces(plant: &Plant, i: usize, omega: f64) -> [Complex64; 2] {
    let (s, u) = (&plant.surfaces[i], plant.speed_m_s);
    let lag = wagner_response(reduced_frequency(omega, u, 0.5 * s.mac_m));
    let q = 0.5 * plant.rho_kg_m3 * u * u;
    let lift_coefficient = lag * s.slope_deflection;
    let mut sum = [Complex64::ZERO; 2];
    let mut add = |j: usize, force: Complex64| {
        let w = wrench_at(&plant.surfaces[j].r_m, &plant.surfaces[j].n);
        sum[0] -= force * w[2];
        sum[1] += force * w[4];
    };
    add(i, lift_coefficient * (q * s.area_m2));
    for link in plant.links.iter().filter(|l| l.from == i) {
        let t = &plant.surfaces[link.to];
        let late = Complex64::from_polar(1.0, -omega * link.distance_m / u);
        let angle = lift_coefficient * late * link.angle_per_lift_coefficient;
        add(link.to, -angle * (q * t.area_m2 * t.slope_incidence));
    }
    sum
}

/// Pitch content over heave content of what a law makes of heave, both in shares of what all surfaces together
/// make, at each frequency of [`BAND`].
fn leaks(plant: &Plant, setup: &Setup, keys: &serde_json::Value) -> [f64; 10] {
    let mut pid = serde_json::json!({
        "reference_speed_kn": 16, "pitch": {}, "roll": {}, "heave": { "proportional_deg_per_m": 1 }
    });
    for (key, value) in keys.as_object().unwrap() {
        pid[key] = value.clone();
    }
    let spec = serde_json::from_value(pid).unwrap();
    let mut law = Pid::new("heave alone", &spec).unwrap();
    law.reset(setup).unwrap();
    let law = law.linear().unwrap();
    let by_height = law
        .signals
        .iter()
        .position(|s| *s == LawSignal::HeightHeave)
        .unwrap();
    let all = |f: &dyn Fn(usize) -> f64| law.channels.iter().map(|i| f(*i).abs()).sum::<f64>();
    let heave_n = all(&|i| setup.surfaces[i].influence.heave_n);
    let pitch_nm = all(&|i| setup.surfaces[i].influence.pitch_nm);
    BAND.map(|omega| {
        let angles = law.response(omega).unwrap();
        let mut sum = [Complex64::ZERO; 2];
        for (k, &i) in law.channels.iter().enumerate() {
            let f = forces(plant, i, omega);
            sum[0] += f[0] * angles[(k, by_height)];
            sum[1] += f[1] * angles[(k, by_height)];
        }
        (sum[1] / pitch_nm).norm() / (sum[0] / heave_n).norm()
    })
}

/// Encounter frequencies of waves, rad/s.
const BAND: [f64; 10] = [0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0];

#[test]
fn heave_demand_leaks_into_pitch_by_wakes() {
    let model = common::model(&PhysicsSpec::default());
    let plant = model.plant(kn(16.0), &CourseSpec::default()).unwrap();
    let setup = setup(&model, &plant, &trim::level(&plant).unwrap());
    let of = |keys: serde_json::Value| {
        let leaks = leaks(&plant, &setup, &keys);
        let rms = (leaks.iter().map(|l| l * l).sum::<f64>() / BAND.len() as f64).sqrt();
        println!("{keys}: {rms:.3} of {leaks:.2?}");
        (rms, leaks)
    };
    let (plain, each) = of(serde_json::json!({}));
    assert!(plain > 0.5, "wakes are left out: {plain}");
    // a matrix for one frequency heals that one and no other
    let (_, at) = of(serde_json::json!({ "wake_frequency_rad_s": 1.2 }));
    assert!(at[5] < 0.25 * each[5], "{} {}", at[5], each[5]);
    for share in [0.3, 0.4, 0.5] {
        let (rms, _) = of(serde_json::json!({ "heave_forward_share_frac": share }));
        assert!(rms > 0.45, "no share heals the band: {share} {rms}");
    }
    // aft surfaces against the wake: what is left is the lag of their own lift
    let (healed, _) = of(serde_json::json!({ "wake_compensation_frac": 1 }));
    assert!(healed < 0.3 * plain, "{healed} {plain}");
    let (half, _) = of(serde_json::json!({ "wake_compensation_frac": 0.5 }));
    assert!(half < 0.7 * plain, "{half} {plain}");
}
