//! Craft in the loop: sampled against continuous, keeper, poles.

use std::sync::OnceLock;

use nalgebra::DMatrix;
use num_complex::Complex64;

pub(crate) mod simulated;
pub(crate) mod spectral;

use super::craft::LoopCraft;
use super::poles::poles;
use crate::control::linear::{LawSignal, LinearLaw};
use crate::dynamics::model::CraftModel;
use crate::math::eigen;
use crate::spec::craft::CraftSpec;
use crate::spec::scenario::{CourseSpec, PhysicsSpec};
use crate::units::kn;

pub(crate) const SIGNALS: [LawSignal; 8] = [
    LawSignal::RollRate,
    LawSignal::PitchRate,
    LawSignal::Roll,
    LawSignal::Pitch,
    LawSignal::VerticalAcceleration,
    LawSignal::HeightHeave,
    LawSignal::Height(0),
    LawSignal::Surface(2),
];

pub(crate) const FINS: [usize; 4] = [0, 1, 2, 3];

/// The smaller demonstration craft with coarse tables: the loop does not care for their accuracy.
pub(crate) fn model() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| {
        let text = include_str!("../../scenarios/craft/coastal_survey.json");
        let mut spec: CraftSpec = serde_json::from_str(text).unwrap();
        for s in &mut spec.surfaces {
            s.actuator.dead_band_deg = 0.0;
            s.actuator.backlash_deg = 0.0;
        }
        let switches = PhysicsSpec {
            stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
            frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
            ..PhysicsSpec::default()
        };
        CraftModel::build(&spec, &switches, None).unwrap()
    })
}

pub(crate) fn held() -> CourseSpec {
    CourseSpec::MeanHeld {
        spring_period_s: 60.0,
    }
}

pub(crate) fn craft(course: &CourseSpec) -> LoopCraft {
    LoopCraft::new(model(), kn(16.0), course).unwrap()
}

/// Largest difference of a row over the row's largest entry.
fn apart(a: &DMatrix<Complex64>, b: &DMatrix<Complex64>) -> f64 {
    let mut worst = 0.0_f64;
    for i in 0..a.nrows() {
        let size = b.row(i).iter().fold(1e-12, |s: f64, v| s.max(v.norm()));
        for j in 0..a.ncols() {
            worst = worst.max((a[(i, j)] - b[(i, j)]).norm() / size);
        }
    }
    worst
}

#[test]
fn sampled_and_continuous_agree() {
    // the alias nearest to the baseband, at 2 pi / T - omega, passes the servo (12 rad/s) with its
    // gain there over that at omega, and the craft with another inverse square for accelerations
    for course in [held(), CourseSpec::default()] {
        let c = craft(&course);
        let s = c.sampled(&FINS, &SIGNALS).unwrap();
        for (omega, tol) in [(0.05, 0.01), (0.3, 0.01), (1.0, 0.01), (2.5, 0.02)] {
            let a = s.response(omega).unwrap();
            let b = c.commands_to_signals(omega, &FINS, &SIGNALS).unwrap();
            let off = apart(&a, &b);
            println!("{omega} rad/s: {off:.2e}");
            assert!(off < tol, "{omega}: {off}");
        }
    }
}

#[test]
fn aliases_make_the_difference() {
    // Poisson: the sampled response is the sum of the continuous one over all aliases
    let c = craft(&held());
    let s = c.sampled(&FINS, &SIGNALS).unwrap();
    let fs = std::f64::consts::TAU / c.setup.sample_period_s;
    for omega in [0.3, 3.0, 20.0] {
        let want = s.response(omega).unwrap();
        let alone = c.commands_to_signals(omega, &FINS, &SIGNALS).unwrap();
        let mut sum = alone.clone();
        for k in 1..40 {
            for sign in [-1.0, 1.0] {
                let shifted = omega + sign * f64::from(k) * fs;
                sum += c.commands_to_signals(shifted, &FINS, &SIGNALS).unwrap();
            }
        }
        let (before, after) = (apart(&alone, &want), apart(&sum, &want));
        println!("{omega} rad/s: without aliases {before:.2e}, with {after:.2e}");
        // surface angle falls with the cube of frequency: what 40 aliases leave is 1e-6
        assert!(after < 1e-5, "{omega}: {after}");
    }
}

#[test]
fn poles_without_a_law_are_the_crafts() {
    let c = craft(&held());
    let law = LinearLaw::none(c.setup.sample_period_s);
    let got = poles(&c, &law).unwrap();
    let want = eigen::eigenvalues(&c.kept_a()).unwrap();
    let mut tried = 0;
    for p in want.iter().filter(|p| p.norm() < 5.0) {
        let near = got.iter().map(|q| (q - p).norm()).fold(f64::MAX, f64::min);
        assert!(near < 1e-6 * (1.0 + p.norm()), "{p}: {near}"); // two eigenvalue solutions
        tried += 1;
    }
    assert!(tried > 8);
}

#[test]
fn a_free_craft_keeps_its_course() {
    let c = craft(&CourseSpec::default());
    let law = LinearLaw::none(c.setup.sample_period_s);
    let got = poles(&c, &law).unwrap();
    let names = c.linear.layout.names();
    assert!(
        !c.kept.contains(&0) && !c.kept.contains(&1),
        "no state at the end of nothing"
    );
    assert!(c.kept.contains(&5), "{}", names[5]);
    println!("{:?}", &got[..8]);
    // integrator of speed and helm: nothing at or right of zero
    assert!(got[0].re < -1e-4, "{}", got[0]);
}

/// A law of `n` states with everything coupled, for tests and benches of the room.
pub(crate) fn sample_law(
    period_s: f64,
    n: usize,
    channels: &[usize],
    signals: &[LawSignal],
) -> LinearLaw {
    let wave = |i: usize, j: usize| ((i * 7 + j * 13) as f64).sin();
    let (p, m) = (signals.len(), channels.len());
    let a = DMatrix::from_fn(n, n, |i, j| {
        if i == j {
            0.55 + 0.4 * (i as f64 / n as f64)
        } else if i.abs_diff(j) == 1 {
            0.1 * wave(i, j) / (1.0 + 0.1 * n as f64)
        } else {
            0.0
        }
    });
    LinearLaw {
        sample_period_s: period_s,
        signals: signals.to_vec(),
        channels: channels.to_vec(),
        a,
        b: DMatrix::from_fn(n, p, |i, j| 0.05 * wave(i + 1, j + 2)),
        c: DMatrix::from_fn(m, n, |i, j| 0.05 * wave(i + 3, j + 1)),
        d: DMatrix::from_fn(m, p, |i, j| 0.02 * wave(i + 5, j + 4)),
        speed_power: 0.0,
    }
}
