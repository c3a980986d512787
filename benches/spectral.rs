//! How fast a gain set is judged without simulation.
//!
//! `cargo bench --bench spectral`: the smaller demonstration craft at 16 kn in a bow sea of 2 m cut into
//! 200 frequencies, one heading; a law of 10 states, 6 signals and 4 channels (the size of a modal PID) and
//! one of 50 states (an LQG). Set-up (craft, sea, modes and stability of the law) is timed by itself.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use nalgebra::{DMatrix, Vector3};
use ridewright::closed_loop::{
    AtSea, AtSpeed, DragModel, Fineness, LawInLoop, LoopCraft, Options, Output,
};
use ridewright::control::linear::{LawSignal, LinearLaw};
use ridewright::dynamics::model::CraftModel;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::spec::sea::SeaSpec;
use ridewright::units::{deg, kn};

const CRAFT: &str = include_str!("../scenarios/craft/coastal_survey.json");
const SEA: &str = r#"{"format":"ridewright.sea/1","name":"bench",
    "systems":[{"spectrum":{"bretschneider":{"hs_m":2.0,"tp_s":7.0}}}]}"#;
const SPEED_KN: f64 = 16.0;
const HEADING_DEG: f64 = 140.0;
const FINS: [usize; 4] = [0, 1, 2, 3];
const SIGNALS: [LawSignal; 6] = [
    LawSignal::RollRate,
    LawSignal::PitchRate,
    LawSignal::Roll,
    LawSignal::Pitch,
    LawSignal::VerticalAcceleration,
    LawSignal::HeightHeave,
];

fn main() {
    divan::main();
}

static CRAFT_IN_LOOP: LazyLock<Arc<LoopCraft>> = LazyLock::new(|| {
    let spec = serde_json::from_str(CRAFT).expect("the craft file");
    // coarse tables: their length does not enter the times measured here
    let switches = PhysicsSpec {
        stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
        frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
        ..PhysicsSpec::default()
    };
    let model = CraftModel::build(&spec, &switches, None).expect("the craft");
    let craft = LoopCraft::new(&model, kn(SPEED_KN), &CourseSpec::default());
    Arc::new(craft.expect("a trim"))
});

static SPEED: LazyLock<Arc<AtSpeed>> = LazyLock::new(|| Arc::new(at_speed()));
static AT_SEA: LazyLock<AtSea> = LazyLock::new(at_sea);

fn at_speed() -> AtSpeed {
    AtSpeed::new(Arc::clone(&CRAFT_IN_LOOP), &FINS, &SIGNALS).expect("a sampled model")
}

fn at_sea() -> AtSea {
    let sea: SeaSpec = serde_json::from_str(SEA).expect("the sea");
    let fine = Fineness {
        frequencies: 200,
        ..Fineness::default()
    };
    SPEED
        .at_sea(
            &sea,
            Path::new("."),
            deg(HEADING_DEG),
            &fine,
            DragModel::Gaussian,
        )
        .expect("responses")
}

/// A stable law of `n` states that moves all fins by all signals.
fn law(n: usize) -> LinearLaw {
    let wave = |i: usize, j: usize| ((i * 7 + j * 13) as f64).sin();
    LinearLaw {
        sample_period_s: CRAFT_IN_LOOP.setup.sample_period_s,
        signals: SIGNALS.to_vec(),
        channels: FINS.to_vec(),
        a: DMatrix::from_fn(n, n, |i, j| match i.abs_diff(j) {
            0 => 0.55 + 0.4 * i as f64 / n as f64,
            1 => 0.1 * wave(i, j) / (1.0 + 0.1 * n as f64),
            _ => 0.0,
        }),
        b: DMatrix::from_fn(n, 6, |i, j| 0.02 * wave(i + 1, j + 2)),
        c: DMatrix::from_fn(4, n, |i, j| 0.02 * wave(i + 3, j + 1)),
        d: DMatrix::from_fn(4, 6, |i, j| 0.01 * wave(i + 5, j + 4)),
        speed_power: 0.0,
    }
}

fn prepared(n: usize) -> LawInLoop {
    SPEED.law(&law(n)).expect("a law that fits")
}

/// The number asked for: motions, five points, fins.
fn judge(law: &LawInLoop, options: &Options) -> f64 {
    let e = AT_SEA.evaluate(law, options).expect("a stable loop");
    let points = (0..5).map(|i| Output::Vertical {
        r_m: Vector3::new(4.0 * f64::from(i) - 8.0, 2.0, -5.0),
    });
    let motions = (2..5).map(Output::Motion);
    let ride: f64 = points.chain(motions).map(|o| e.rms(o)).sum();
    ride + e.surfaces.iter().map(|s| s.angle_rms_rad).sum::<f64>()
}

#[divan::bench(args = [10, 50])]
fn linear_pass(bencher: divan::Bencher, states: usize) {
    let law = prepared(states);
    let options = Options {
        noise: false,
        ..Options::linear()
    };
    bencher.bench(|| judge(&law, &options));
}

#[divan::bench(args = [10, 50])]
fn linear_pass_with_noise(bencher: divan::Bencher, states: usize) {
    let law = prepared(states);
    bencher.bench(|| judge(&law, &Options::linear()));
}

#[divan::bench(args = [10, 50])]
fn limits_and_drag_converged(bencher: divan::Bencher, states: usize) {
    let law = prepared(states);
    bencher.bench(|| judge(&law, &Options::default()));
}

#[divan::bench(args = [10, 50])]
fn prepare_law(states: usize) -> LawInLoop {
    prepared(states)
}

#[divan::bench]
fn prepare_speed() -> AtSpeed {
    at_speed()
}

#[divan::bench]
fn prepare_sea() -> AtSea {
    at_sea()
}
