//! A steady turn with the law engaged: bank, fins, loss of speed, and the loop about that equilibrium.
//!
//! # Equation
//! ```text
//! x0: end of a simulated turn, rudders held over, calm water
//! A_ij = (f_i(x0 + h e_j) - f_i(x0 - h e_j)) / 2h       the plant differentiated about x0
//! ```
//! Position and heading are left out: in calm water nothing depends on them. The course keeper's rudders are
//! held, its speed hold stays. The law is its linear form at the speed of the turn.
//!
//! # Symbols
//! f derivative of the state by [`Plant::derivative`]; h small steps.
//!
//! # Valid when
//! The turn is steady and no fin is at a limit. Angle and pitch signals are read about the heel of the turn;
//! the accelerometer's terms of the turning rate (some hundredths of a m/s2 for each m/s) are left out. A
//! law whose integrators rest in turns rests them in the simulation; its linear form may have them.
//!
//! # Source
//! Own derivation.
//!
//! # Checked by
//! `differentiated_straight_ahead_is_the_assembled_model`, `a_turn_banks_and_slows` (tests/schedule.rs)

use std::sync::Arc;

use nalgebra::DMatrix;
use serde::Serialize;

use super::frozen::{apart, first_words};
use super::ramp::{Weather, fins, free};
use super::watch::{Course, Watch};
use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::margins::robust::Judged;
use crate::control::Controller;
use crate::control::linear::LinearLaw;
use crate::control::signal::Setup;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::{Plant, PlantInput};
use crate::dynamics::state::StateLayout;
use crate::error::Result;
use crate::frames::Wrench;
use crate::linear::assemble::LinearModel;
use crate::linear::trim;
use crate::sea::realisation::Realisation;
use crate::sim::bake::{self, Recipe};
use crate::sim::case::{Case, Integrator, Sensing, Timing};
use crate::sim::orders::{Action, Event};
use crate::sim::run::run_observed;
use crate::spec::scenario::CourseSpec;

/// When the rudders go over, s.
pub const OVER_S: f64 = 20.0;
/// Length of the whole run, s.
pub const RUN_S: f64 = 320.0;
/// Time at the end that is judged, s.
pub const JUDGED_S: f64 = 40.0;
/// Scatter of pitch and roll below which a turn counts as steady, rad (a tenth of a degree).
const STEADY_RAD: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// A fin nearer to its limit than this counts as at it, rad (a tenth of a degree).
const AT_LIMIT_RAD: f64 = STEADY_RAD;

/// What came of a turn.
#[derive(Clone, Debug, Serialize)]
pub struct Turn {
    /// Rudder angle held, rad; positive turns to port.
    pub rudder_rad: f64,
    /// Speed before, m/s.
    pub entry_m_s: f64,
    /// How the run ended, in words.
    pub outcome: String,
    /// The whole time was simulated, and at its end pitch and roll stood still.
    pub is_steady: bool,
    /// Speed along the keel in the turn, m/s.
    pub speed_m_s: f64,
    /// Greatest roll on the way, rad, starboard down.
    pub bank_peak_rad: f64,
    /// Roll in the turn, rad, starboard down.
    pub bank_rad: f64,
    /// Pitch in the turn, rad.
    pub pitch_rad: f64,
    /// RMS of pitch and roll about their means at the end, rad.
    pub scatter_rad: [f64; 2],
    /// Yaw rate, rad/s, to starboard.
    pub yaw_rate_rad_s: f64,
    /// Radius of the turn, m.
    pub radius_m: f64,
    /// Drift angle, rad.
    pub drift_rad: f64,
    /// Each fin: index, angle in the turn, least and greatest allowed there, rad.
    pub fins: Vec<(usize, f64, [f64; 2])>,
    /// Fins at their limits in the turn.
    pub at_limit: Vec<usize>,
    /// Greatest acceleration left over where the loop is linearised, m/s2 and rad/s2.
    pub residual: f64,
    /// The loop about the turn; else why there is none to judge.
    #[serde(skip)]
    pub judged: std::result::Result<Judged, String>,
    /// Everything, sample by sample.
    #[serde(skip)]
    pub course: Course,
}

/// Holds the rudders at `rudder_rad` off trim and judges the turn. `law_at` gives the law's linear form for
/// what it is told.
///
/// # Errors
/// Timings that do not fit each other; a craft without trim.
pub fn turn(
    model: &CraftModel,
    craft: &LoopCraft,
    course: &CourseSpec,
    law: &mut dyn Controller,
    law_at: impl Fn(&Setup) -> Result<LinearLaw>,
    [rudder_rad, step_s]: [f64; 2],
) -> Result<Turn> {
    let course = free(course);
    let plant = Arc::new(model.plant(craft.speed_m_s, &course)?);
    let trim = trim::level(&plant)?;
    let period_s = craft.setup.sample_period_s;
    let calm = Realisation::calm();
    let weather = Weather {
        sea: &calm,
        pitch_rad: 0.0,
        sensing: Sensing::Suite {
            craft: Arc::new(model.craft.spec.clone()),
            errors: false,
            seed: 1,
            case: 0,
        },
    };
    let timing = Timing::new(RUN_S, 0.0, step_s, period_s, period_s)?;
    let mut parts = bake::parts(&Recipe {
        name: "turn".into(),
        model,
        plant: Arc::clone(&plant),
        trim: &trim,
        sea: weather.sea,
        timing,
        integrator: Integrator::FixedStep,
        course: &course,
        sensing: weather.sensing.clone(),
    });
    parts.orders = vec![Event {
        at_s: OVER_S,
        action: Action::Rudder(rudder_rad),
        words: "rudders over".into(),
    }];
    let case = Case::new(parts)?;
    let mut watch = Watch::new(timing.sample_every, plant.surfaces.len());
    let run = run_observed(&case, law, &mut [&mut watch]);
    let mut out = describe(&plant, &watch.course, &run.end_state, rudder_rad);
    out.entry_m_s = craft.speed_m_s;
    out.outcome = run.outcome.to_string();
    out.is_steady &= run.outcome.is_completed();
    if !out.is_steady {
        return Ok(out);
    }
    let (about, residual) = about(craft, &plant, &run.end_state);
    out.residual = residual;
    out.judged = law_at(&about.setup)
        .and_then(|l| Ok(apart(&about, &l)?.0))
        .map_err(|e| first_words(&e));
    Ok(out)
}

fn describe(plant: &Plant, c: &Course, end: &[f64], rudder_rad: f64) -> Turn {
    let last = c.t_s.last().copied().unwrap_or(0.0);
    let span = c.span(last - JUDGED_S, last);
    let mean_rms = |v: &[f64]| {
        let n = v.len().max(1) as f64;
        let mean = v.iter().sum::<f64>() / n;
        let square = v.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n;
        (mean, square.sqrt())
    };
    let at = |v: &[f64]| mean_rms(&v[span.clone()]);
    let (bank_rad, roll_rms) = at(&c.roll_rad);
    let (pitch_rad, pitch_rms) = at(&c.pitch_rad);
    let (speed_m_s, _) = at(&c.speed_m_s);
    let (yaw_rate_rad_s, _) = at(&c.yaw_rate_rad_s);
    let (sway, _) = at(&c.sway_m_s);
    let angles: Vec<(usize, f64, [f64; 2])> = fins(plant)
        .into_iter()
        .map(|i| {
            let (low, high) = plant.actuators[i].angle_range_rad(speed_m_s);
            (i, end[plant.layout().angle(i)], [low, high])
        })
        .collect();
    let stuck = |a: &&(usize, f64, [f64; 2])| {
        a.2[1] > a.2[0] && (a.1 - a.2[0] < AT_LIMIT_RAD || a.2[1] - a.1 < AT_LIMIT_RAD)
    };
    Turn {
        rudder_rad,
        entry_m_s: 0.0,
        outcome: String::new(),
        is_steady: pitch_rms < STEADY_RAD && roll_rms < STEADY_RAD,
        speed_m_s,
        bank_peak_rad: c
            .roll_rad
            .iter()
            .copied()
            .fold(0.0, |m, v: f64| if v.abs() > f64::abs(m) { v } else { m }),
        bank_rad,
        pitch_rad,
        scatter_rad: [pitch_rms, roll_rms],
        yaw_rate_rad_s,
        radius_m: speed_m_s.hypot(sway) / yaw_rate_rad_s.abs().max(1e-9),
        drift_rad: (-sway).atan2(speed_m_s),
        at_limit: angles.iter().filter(stuck).map(|a| a.0).collect(),
        fins: angles,
        residual: f64::NAN,
        judged: Err("the turn is not steady: there is no equilibrium to judge".to_owned()),
        course: c.clone(),
    }
}

/// The craft in the loop about the state `x0` of a turn, and the acceleration left over there.
pub fn about(craft: &LoopCraft, plant: &Plant, x0: &[f64]) -> (LoopCraft, f64) {
    let mut ideal = plant.clone();
    for a in &mut ideal.actuators {
        (a.dead_band_rad, a.backlash_rad) = (0.0, 0.0);
    }
    let (linear, residual) = differentiate(&ideal, x0);
    let mut out = craft.clone();
    let n = out.linear.layout.len();
    let left_out: Vec<usize> = (0..n).filter(|i| !craft.kept.contains(i)).collect();
    // the heading acts through the keeper only, whose rudders are held
    out.kept = (0..linear.layout.len())
        .filter(|i| !left_out.contains(i) && ![0, 1, 5].contains(i))
        .collect();
    out.keeper.helm = None;
    out.linear = linear;
    out.trim.x = x0.to_vec();
    (out.trim.z_m, out.trim.theta_rad) = (x0[2], x0[4]);
    out.speed_m_s = x0[StateLayout::NU.start];
    out.setup.nominal_speed_m_s = out.speed_m_s;
    out.plant = Arc::new(ideal);
    (out, residual)
}

/// Step of the difference for each state: those of the immersion tables as in the assembled model.
fn step(layout: &StateLayout, i: usize, x: f64) -> f64 {
    match i {
        2 => 0.02,
        3 | 4 => 0.002,
        _ if layout.thrust.contains(&i) => 10.0,
        _ if layout.servo.contains(&i) => 1e-5,
        _ if StateLayout::NU.contains(&i) => 1e-4,
        _ => 1e-4 * x.abs().max(1.0),
    }
}

/// The plant differentiated about `x0`, commands standing where surfaces and shafts are, calm water; and the
/// greatest acceleration at `x0`.
pub fn differentiate(plant: &Plant, x0: &[f64]) -> (LinearModel, f64) {
    let layout = plant.layout().clone();
    let n = layout.len();
    let (surfaces, shafts) = (plant.surfaces.len(), plant.shafts.len());
    let waves = vec![0.0; plant.channels().len()];
    let limits: Vec<f64> = plant.actuators.iter().map(|a| a.max_rate_rad_s).collect();
    let mut command: Vec<f64> = (0..surfaces).map(|i| x0[layout.angle(i)]).collect();
    let mut thrust = x0[layout.thrust.clone()].to_vec();
    let at = |x: &[f64], command: &[f64], thrust: &[f64]| {
        let hold: Vec<f64> = (0..surfaces).map(|i| x[layout.angle(i)]).collect();
        let mut dx = vec![0.0; n];
        let input = PlantInput {
            waves: &waves,
            command_rad: command,
            surface_hold_rad: &hold,
            rate_limit_rad_s: &limits,
            thrust_n: thrust,
            wind: Wrench::zeros(),
        };
        plant.derivative(x, &input, &mut dx);
        dx
    };
    let residual = at(x0, &command, &thrust)[StateLayout::NU]
        .iter()
        .fold(0.0, |m: f64, v| m.max(v.abs()));
    let difference = |up: Vec<f64>, down: Vec<f64>, h: f64| -> Vec<f64> {
        up.iter()
            .zip(down)
            .map(|(u, d)| (u - d) / (2.0 * h))
            .collect()
    };
    let mut a = DMatrix::zeros(n, n);
    let mut x = x0.to_vec();
    for j in 0..n {
        let h = step(&layout, j, x0[j]);
        x[j] = x0[j] + h;
        let up = at(&x, &command, &thrust);
        x[j] = x0[j] - h;
        let down = at(&x, &command, &thrust);
        x[j] = x0[j];
        a.set_column(j, &nalgebra::DVector::from_vec(difference(up, down, h)));
    }
    let mut b_command = DMatrix::zeros(n, surfaces);
    for j in 0..surfaces {
        let (old, h) = (command[j], 1e-5);
        command[j] = old + h;
        let up = at(x0, &command, &thrust);
        command[j] = old - h;
        let down = at(x0, &command, &thrust);
        command[j] = old;
        b_command.set_column(j, &nalgebra::DVector::from_vec(difference(up, down, h)));
    }
    let mut b_thrust = DMatrix::zeros(n, shafts);
    for j in 0..shafts {
        let (old, h) = (thrust[j], 10.0);
        thrust[j] = old + h;
        let up = at(x0, &command, &thrust);
        thrust[j] = old - h;
        let down = at(x0, &command, &thrust);
        thrust[j] = old;
        b_thrust.set_column(j, &nalgebra::DVector::from_vec(difference(up, down, h)));
    }
    let model = LinearModel {
        speed_m_s: plant.speed_m_s,
        x0: x0.to_vec(),
        b_waves: DMatrix::zeros(n, waves.len()),
        layout,
        a,
        b_command,
        b_thrust,
    };
    (model, residual)
}
