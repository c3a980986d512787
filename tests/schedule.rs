//! Promises of laws over speed: frozen, ramped, turned, on the smaller demonstration craft.
#![allow(clippy::unwrap_used)] // tests

mod common;

use std::path::Path;
use std::sync::{Arc, OnceLock};

use nalgebra::DMatrix;
use ridewright::closed_loop::LoopCraft;
use ridewright::closed_loop::margins::robust::Judged;
use ridewright::closed_loop::schedule::frozen::{self, crafts, frozen, grid};
use ridewright::closed_loop::schedule::ramp::{REACHED_FRAC, Ramp, RampRun, TrimBySpeed, Weather};
use ridewright::closed_loop::schedule::surge::{surge, times_s};
use ridewright::closed_loop::schedule::turn::{differentiate, turn};
use ridewright::control::linear::{LawSignal, LinearLaw};
use ridewright::control::signal::{FinCommand, Measurement, Setup};
use ridewright::control::{Controller, ControllerInfo, from_spec};
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::PlantInput;
use ridewright::error::Result;
use ridewright::frames::Wrench;
use ridewright::linear::{assemble, trim};
use ridewright::sea::realisation::Realisation;
use ridewright::sim::case::Sensing;
use ridewright::sim::craft::Craft;
use ridewright::sim::ramp::RampCraft;
use ridewright::spec::craft::SurfaceGroup;
use ridewright::spec::load::{load_controller, load_craft};
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::{deg, kn, to_kn};

/// The craft on a short grid of sections: schedules, not physics, are judged.
fn model() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| {
        let spec = load_craft("scenarios/craft/coastal_survey.json").unwrap();
        let physics = PhysicsSpec {
            stations_x_m: Some(vec![-14.0, -7.0, 0.0, 7.0, 14.0]),
            frequencies_rad_s: Some(vec![0.2, 0.6, 1.0, 1.8, 3.0]),
            ..PhysicsSpec::default()
        };
        CraftModel::build(&spec.spec, &physics, None).unwrap()
    })
}

/// From 10 to 16 kn.
fn range() -> &'static Vec<LoopCraft> {
    static RANGE: OnceLock<Vec<LoopCraft>> = OnceLock::new();
    RANGE.get_or_init(|| {
        let speeds: Vec<f64> = grid(10.0, 16.0, 1.0).into_iter().map(kn).collect();
        crafts(model(), &speeds, &CourseSpec::default()).unwrap()
    })
}

fn pid() -> Box<dyn Controller> {
    let file = load_controller("controllers/pid.json").unwrap();
    from_spec(&file.spec, Path::new("controllers"), None).unwrap()
}

fn pid_at(setup: &Setup) -> Result<LinearLaw> {
    let mut law = pid();
    law.reset(setup)?;
    law.linear()
}

/// Gain of a fin on pitch, pitch rate, roll, roll rate: forward up, aft down; starboard against port.
fn row(setup: &Setup, i: usize) -> [f64; 4] {
    let f = setup.surfaces[i].influence;
    let (pitch, roll) = (f.pitch_nm.signum(), f.roll_nm.signum());
    [-0.5 * pitch, -pitch, -0.3 * roll, -roll]
}

fn fins(setup: &Setup) -> Vec<usize> {
    (0..setup.surfaces.len())
        .filter(|i| setup.surfaces[*i].group != SurfaceGroup::Rudder)
        .collect()
}

/// A schedule with a slip in its middle row: gain 2 at both ends, -2 at 13 kn, straight lines between.
fn slipped_gain(speed_m_s: f64) -> f64 {
    let off = (to_kn(speed_m_s) - 13.0).abs() / 3.0;
    -2.0 + 4.0 * off.min(1.0)
}

#[allow(clippy::unnecessary_wraps)] // as every law's maker
fn slipped(craft: &LoopCraft) -> Result<LinearLaw> {
    let setup = &craft.setup;
    let channels = fins(setup);
    let gain = slipped_gain(craft.speed_m_s);
    let m = channels.len();
    Ok(LinearLaw {
        signals: vec![
            LawSignal::Pitch,
            LawSignal::PitchRate,
            LawSignal::Roll,
            LawSignal::RollRate,
        ],
        d: DMatrix::from_fn(m, 4, |i, j| gain * row(setup, channels[i])[j]),
        c: DMatrix::zeros(m, 0),
        b: DMatrix::zeros(0, 4),
        channels,
        ..LinearLaw::none(setup.sample_period_s)
    })
}

#[test]
fn the_grid_holds_its_ends() {
    let g = grid(8.0, 18.0, 0.5);
    assert_eq!((g.len(), g[0], g[20]), (21, 8.0, 18.0));
    let g = grid(8.0, 9.1, 0.5);
    assert_eq!(g.len(), 4, "steps no longer than asked");
    assert!((g[3] - 9.1).abs() < 1e-12);
    assert_eq!(grid(8.0, 8.0, 0.5), vec![8.0]);
}

#[test]
fn unstable_between_stable_ends_is_caught() {
    let ends = [range()[0].clone(), range()[6].clone()];
    let coarse = frozen(&ends, slipped);
    assert!(coarse.iter().all(|p| p.summary().is_some()), "{coarse:?}");
    let fine = frozen(range(), slipped);
    assert!(fine[3].is_unstable(), "{:?}", fine[3]);
    let Ok(Judged::Unstable(p, motion)) = &fine[3].judged else {
        panic!("{:?}", fine[3]);
    };
    assert!(
        p.re > 0.0 && ["pitch", "heave", "roll"].contains(motion),
        "{motion}"
    );
    // the worst is one of the stable points, at its speed
    let worst = frozen::worst(&fine).unwrap();
    for (k, w) in worst.iter().enumerate() {
        let at = fine
            .iter()
            .find(|p| (p.speed_m_s - w.speed_m_s).abs() < 1e-12)
            .unwrap();
        assert_eq!(at.summary().unwrap().all()[k], &w.found);
        for s in fine.iter().filter_map(|p| p.summary()) {
            assert!(s.all()[k].value >= w.found.value);
        }
    }
}

#[test]
fn the_hump_is_surges_matter() {
    // behind the hump of this craft's resistance the slow speed hold of the scenario default runs away
    let craft = LoopCraft::new(model(), kn(11.5), &CourseSpec::default()).unwrap();
    let slope = craft.plant.steady.slope(kn(11.5))[0];
    assert!(slope > 0.0, "resistance falls with speed: {slope}");
    let points = frozen(std::slice::from_ref(&craft), |c| pid_at(&c.setup));
    let pole = points[0].surge_pole.unwrap();
    assert!(pole.re > 0.0 && pole.norm() < 0.1, "{pole}");
    assert!(points[0].summary().is_some(), "the rest is judged");
    // where it does not run away, holding the speed changes little of the fins' margins
    let craft = &range()[6];
    let whole = frozen(std::slice::from_ref(craft), |c| pid_at(&c.setup));
    let held = [frozen::at_held_speed(craft)];
    let held = frozen(&held, |c| pid_at(&c.setup));
    let gain = |p: &[frozen::FrozenPoint]| p[0].summary().unwrap().gain_up.value;
    // surge couples to pitch by the height of drag and thrust only: a few per cent
    assert!((gain(&whole) / gain(&held) - 1.0).abs() < 0.05);
}

fn noise(n: usize) -> impl Fn(usize) -> f64 {
    move |i| ((i * 37 + n) as f64 * 0.73).sin()
}

#[test]
fn a_ramp_craft_at_its_own_speed_is_the_plant() {
    let course = CourseSpec::default();
    let u = kn(14.0);
    let plant = model().plant(u, &course).unwrap();
    let ramp = RampCraft::new(model(), &[u], u, &course).unwrap();
    let mut x = trim::level(&plant).unwrap().x;
    let of = noise(3);
    x.iter_mut()
        .enumerate()
        .for_each(|(i, v)| *v += 1e-3 * of(i));
    assert_eq!(ramp.channels(), plant.channels());
    let waves: Vec<f64> = (0..plant.channels().len()).map(noise(5)).collect();
    let n = plant.surfaces.len();
    let (command, hold, limits) = (vec![0.05; n], vec![0.02; n], vec![0.4; n]);
    let thrust = vec![3e4; plant.shafts.len()];
    let input = PlantInput {
        waves: &waves,
        command_rad: &command,
        surface_hold_rad: &hold,
        rate_limit_rad_s: &limits,
        thrust_n: &thrust,
        wind: Wrench::zeros(),
    };
    let (mut a, mut b) = (vec![0.0; x.len()], vec![0.0; x.len()]);
    plant.derivative(&x, &input, &mut a);
    Craft::derivative(&ramp, &x, &input, &mut b);
    assert!(a.iter().zip(&b).all(|(a, b)| a.to_bits() == b.to_bits()));
}

#[test]
fn between_tables_forces_are_blended() {
    let course = CourseSpec::default();
    let ramp = RampCraft::new(model(), &[5.0, 7.0], 6.0, &course).unwrap();
    let n = ramp.channels().len();
    assert_eq!(n, ramp.base().channels().len() + 12);
    let m = ramp.base().surfaces.len();
    let (zeros, limits) = (vec![0.0; m], vec![0.4; m]);
    let thrust = vec![0.0; ramp.base().shafts.len()];
    let at = |u: f64, low: f64, high: f64| {
        let mut waves = vec![0.0; n];
        // a heave force in either table
        (waves[2], waves[14]) = (low, high);
        let mut x = vec![0.0; ramp.layout().len()];
        x[6] = u;
        let input = PlantInput {
            waves: &waves,
            command_rad: &zeros,
            surface_hold_rad: &zeros,
            rate_limit_rad_s: &limits,
            thrust_n: &thrust,
            wind: Wrench::zeros(),
        };
        let mut dx = vec![0.0; x.len()];
        Craft::derivative(&ramp, &x, &input, &mut dx);
        dx[8]
    };
    let whole = at(5.0, 1e5, 0.0) - at(5.0, 0.0, 0.0);
    assert!(whole > 0.0);
    for (u, share) in [(4.0, 1.0), (5.5, 0.75), (6.0, 0.5), (7.0, 0.0), (9.0, 0.0)] {
        let low = at(u, 1e5, 0.0) - at(u, 0.0, 0.0);
        let high = at(u, 0.0, 1e5) - at(u, 0.0, 0.0);
        // rounding of accelerations of order one
        assert!((low - share * whole).abs() < 1e-9, "{u} {low}");
        assert!((high - (1.0 - share) * whole).abs() < 1e-9, "{u} {high}");
    }
}

fn through(law: &mut dyn Controller) -> RampRun {
    let ramp = Ramp::new(model(), range(), &CourseSpec::default(), 0.05).unwrap();
    let calm = Realisation::calm();
    let weather = Weather {
        sea: &calm,
        pitch_rad: deg(1.0),
        sensing: Sensing::Suite {
            craft: Arc::new(model().craft.spec.clone()),
            errors: false,
            seed: 1,
            case: 0,
        },
    };
    ramp.run(model(), law, &weather).unwrap()
}

#[test]
fn a_stable_schedule_stays_bounded_through_a_ramp() {
    let run = through(pid().as_mut());
    assert!(
        run.is_calm_at_the_ends(),
        "{} {:?}",
        run.outcome,
        run.windows
    );
    assert!(
        run.took_s.iter().all(Option::is_some),
        "{:?} {}",
        run.took_s,
        to_kn(run.top_m_s)
    );
    // a kick of one degree and a change of trim of the same size: never more than a few degrees
    assert!(
        run.windows.iter().all(|w| w.pitch_peak_rad < deg(3.0)),
        "{:?}",
        run.windows
    );
    // bumpless: far below what the servo can do in a sample
    let most = model()
        .plant(kn(10.0), &CourseSpec::default())
        .unwrap()
        .actuators[0]
        .max_rate_rad_s;
    assert!(run.jumps_rad()[0] < 0.25 * most * range()[0].setup.sample_period_s);
    // trim by speed takes most of the change of trim off the law
    let fed = through(&mut TrimBySpeed::new(pid(), range()));
    assert!(fed.is_calm_at_the_ends(), "{:?}", fed.windows);
    let at_top = |r: &RampRun| r.windows[2].pitch_peak_rad;
    assert!(
        at_top(&fed) < 0.5 * at_top(&run),
        "{} {}",
        at_top(&fed),
        at_top(&run)
    );
}

#[test]
fn the_ramp_takes_the_time_that_surge_allows() {
    let run = through(pid().as_mut());
    let (low, high) = (kn(10.0), kn(16.0));
    let part: Vec<f64> = grid(low, low + REACHED_FRAC * (high - low), 0.2);
    let part = crafts(model(), &part, &CourseSpec::default()).unwrap();
    let [up, _] = times_s(&surge(&part));
    let took = run.took_s[0].unwrap();
    // shafts answer with 2 s, and throttles leave their stops in the last knots
    assert!(took > up && took < 1.5 * up + 6.0, "{took} {up}");
}

/// The slipped schedule's gains as a law; above a speed the sign is wrong.
struct Slipped {
    setup: Option<Setup>,
}

impl Controller for Slipped {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: "slipped".into(),
            ..ControllerInfo::default()
        }
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.setup = Some(setup.clone());
        Ok(())
    }

    fn update(&mut self, _t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let setup = self.setup.as_ref().unwrap();
        let gain = if y.speed_m_s < kn(14.0) { 2.0 } else { -2.0 };
        let read = [
            y.theta_rad - setup.trim_pitch_rad,
            y.rates_rad_s.y,
            y.phi_rad,
            y.rates_rad_s.x,
        ];
        for i in fins(setup) {
            let r = row(setup, i);
            let sum: f64 = r.iter().zip(read).map(|(r, y)| r * y).sum();
            u.fin_rad[i] = setup.surfaces[i].trim_rad + gain * sum;
        }
        Ok(())
    }
}

#[test]
fn a_schedule_unstable_at_the_top_does_not_pass() {
    let run = through(&mut Slipped { setup: None });
    assert!(!run.is_calm_at_the_ends(), "{:?}", run.windows);
    assert!(
        run.windows[0].pitch_rms_rad < deg(0.2),
        "good at the low speed"
    );
}

/// Drag that grows with |v| v has no slope at rest but one of the step; restoring tables have cells.
const SHARE: f64 = 1e-3;

#[test]
fn differentiated_straight_ahead_is_the_assembled_model() {
    let mut plant = model().plant(kn(16.0), &CourseSpec::default()).unwrap();
    common::ideal_servos(&mut plant);
    let x = trim::level(&plant).unwrap().x;
    let want = assemble::assemble(&plant, &x, None);
    let (got, residual) = differentiate(&plant, &x);
    assert!(residual < 1e-9, "{residual}");
    for (a, b) in [
        (&got.a, &want.a),
        (&got.b_command, &want.b_command),
        (&got.b_thrust, &want.b_thrust),
    ] {
        assert_eq!(a.shape(), b.shape());
        for i in 0..a.nrows() {
            let size = b.row(i).amax();
            let off = (a.row(i) - b.row(i)).amax();
            assert!(off <= SHARE * size + 1e-9, "row {i}: {off} of {size}");
        }
    }
}

#[test]
fn a_turn_banks_and_slows() {
    let craft = &range()[6];
    let course = CourseSpec::default();
    let go = |angle: f64| {
        turn(
            model(),
            craft,
            &course,
            pid().as_mut(),
            pid_at,
            [angle, 0.05],
        )
        .unwrap()
    };
    let port = go(deg(15.0));
    assert!(port.is_steady, "{} {:?}", port.outcome, port.scatter_rad);
    assert!(port.yaw_rate_rad_s < 0.0, "positive rudder turns to port");
    assert!(port.speed_m_s < craft.speed_m_s && port.at_limit.is_empty());
    let starboard = go(deg(-15.0));
    // mirror: a craft symmetric about its centre plane
    assert!(
        (port.yaw_rate_rad_s + starboard.yaw_rate_rad_s).abs() < 1e-3 * port.yaw_rate_rad_s.abs()
    );
    assert!((port.bank_peak_rad + starboard.bank_peak_rad).abs() < 1e-2 * port.bank_peak_rad.abs());
    let summary = |t: &ridewright::closed_loop::schedule::turn::Turn| match &t.judged {
        Ok(Judged::Stable(s)) => s.as_ref().clone(),
        other => panic!("{other:?}"),
    };
    assert!(summary(&port).gain_up.value > 1.5);
    // no rudder: the loop about the end of a straight run is that of level trim
    let straight = summary(&go(0.0));
    let level = frozen(std::slice::from_ref(craft), |c| pid_at(&c.setup));
    let level = level[0].summary().unwrap();
    for (a, b) in [
        (&straight.gain_up, &level.gain_up),
        (&straight.disk, &level.disk),
    ] {
        // rudders held, not kept; dead band leaves the end of a run a little off trim
        assert!((a.value / b.value - 1.0).abs() < 0.02, "{a:?} {b:?}");
    }
}
