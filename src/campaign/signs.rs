//! Do fins and law turn the right way? A check of every sign between law and water.
//!
//! # Equation
//! ```text
//! fins   each alone by a step, others held, calm water: mean of (z'' up, p', q') over half a second, less
//!        that of a run without the step, beside  M^-1 w (step)  of the fin it was meant to be
//! law    craft tilted by roll, pitch, or depth in its sensors only: the force or moment of what the
//!        law then asks must lead back
//! ```
//! The found vector is compared with the expected ones of all fins, each mode over its greatest expected
//! value, either sign: the nearest direction names the fault. All fins are put to their trim angles
//! through the chain first. What is found is less than expected: lift builds up (Wagner), and the first
//! motion takes incidence away, most of all from heave.
//!
//! # Symbols
//! M mass with added mass, w force and moment of a fin per deflection about O.
//!
//! # Valid when
//! The step is small, so that fins do not stall; half a second is short against the natural periods; each
//! fin's share in heave, roll and pitch differs from the others' as it does on a craft with four fins.
//!
//! # Source
//! Sign card of [`crate::frames`].
//!
//! # Checked by
//! `healthy_craft_passes`, `reversed_fin_is_named`, `crossed_channels_are_named`,
//! `law_that_pushes_the_wrong_way_is_told`, `nearest_direction_names_the_fault`

use std::ops::ControlFlow;
use std::sync::Arc;

use nalgebra::Vector3;
use serde::Serialize;

use super::stage::LawPlan;
use crate::control::modes::Order;
use crate::control::signal::Setup;
use crate::control::{Controller, allocate};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::error::{Error, Result};
use crate::frames::wrench_at;
use crate::linear::trim::{self, Trim};
use crate::sea::realisation::Realisation;
use crate::sim::bake::{self, Recipe};
use crate::sim::case::{Case, Integrator, Sensing, Timing};
use crate::sim::observer::{Observer, View};
use crate::sim::orders::{Action, Event};
use crate::sim::run::run_observed;
use crate::sim::setup::setup;
use crate::spec::controller::{ModeSpec, TripsSpec};
use crate::spec::scenario::CourseSpec;
use crate::units::{to_deg, to_kn};

mod tilt;

pub use tilt::{Tilt, TiltedFin};

/// When the step is ordered, s.
const AT_S: f64 = 1.0;
/// From the order to the second that is averaged, s: delay and lag of the servo.
const AFTER_S: f64 = 0.3;
/// Length of the average, s: later the motion itself changes the forces.
const OVER_S: f64 = 0.5;
/// Share of the expected below which a fin counts as not moving.
const STILL: f64 = 0.1;
/// Ratio of the angle reached to the one asked beyond which the scale is told, either way.
const FAR: f64 = 1.25;

/// What a fin did.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// As the card says.
    Right,
    /// The right fin, the right way, but too far or not far enough, by this factor.
    Scale(f64),
    /// The right fin, the wrong way.
    Reversed,
    /// Another fin moved.
    Swapped {
        /// Which.
        with: String,
        /// What pair of words explains it.
        how: &'static str,
        /// And it moved the wrong way.
        reversed: bool,
    },
    /// Nothing moved.
    Still,
}

impl Verdict {
    /// In words.
    pub fn words(&self) -> String {
        match self {
            Verdict::Right => "right".into(),
            Verdict::Scale(f) => format!("right way, {f:.2} times as far: scale"),
            Verdict::Reversed => "reversed".into(),
            Verdict::Swapped {
                with,
                how,
                reversed,
            } => {
                let and = if *reversed { ", and reversed" } else { "" };
                format!("{how} swapped: {with} moved{and}")
            }
            Verdict::Still => "does not move".into(),
        }
    }
}

/// One fin moved alone.
#[derive(Clone, Debug, Serialize)]
pub struct MovedFin {
    /// Surface that was asked to move.
    pub surface: String,
    /// Change of angle asked, deg.
    pub asked_deg: f64,
    /// Change of angle that it reached, deg, by the craft's own measure.
    pub reached_deg: f64,
    /// Change of each surface's angle, deg, in the craft's order.
    pub moved_deg: Vec<f64>,
    /// Heave up (m/s2), roll and pitch (deg/s2) found.
    pub found: [f64; 3],
    /// The same expected.
    pub expected: [f64; 3],
    /// Verdict.
    pub verdict: Verdict,
}

/// Everything the check found.
#[derive(Clone, Debug, Serialize)]
pub struct SignCheck {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Step of each fin, deg.
    pub step_deg: f64,
    /// Law, none when only fins were moved.
    pub law: Option<String>,
    /// Fins.
    pub fins: Vec<MovedFin>,
    /// Tilts; empty without a law.
    pub tilts: Vec<Tilt>,
}

impl SignCheck {
    /// Every fin and every answer of the law is right.
    pub fn passes(&self) -> bool {
        self.fins.iter().all(|f| f.verdict == Verdict::Right)
            && self.tilts.iter().all(|t| !t.pushes_wrong_way())
    }
}

/// Moves every fin of the craft through the chain of `plan`, then tilts the craft under its law.
///
/// # Errors
/// A craft without trim at the speed, a law that does not fit it, a run that ends early.
pub fn check(
    model: &CraftModel,
    plan: &LawPlan,
    speed_m_s: f64,
    step_rad: f64,
    tilts: bool,
) -> Result<SignCheck> {
    let bench = Bench::new(model, speed_m_s)?;
    let chain = with_modes(plan, ModeSpec::Manual);
    let fins: Vec<usize> = (0..bench.setup.surfaces.len())
        .filter(|&i| allocate::lifts(&bench.setup.surfaces[i]))
        .filter(|&i| drives(plan, &bench.setup.surfaces[i].name))
        .collect();
    if fins.is_empty() {
        return Err(Error::new(
            "the craft has no fin that turns: nothing to check",
        ));
    }
    let still = bench.run(&chain, &fins, None)?;
    let expected: Vec<[f64; 3]> = fins
        .iter()
        .map(|&i| bench.expected(i, step_rad))
        .collect::<Result<_>>()?;
    let mut moved = Vec::with_capacity(fins.len());
    for (k, &i) in fins.iter().enumerate() {
        let order = Order::Fin {
            surface: i,
            angle_rad: bench.setup.surfaces[i].trim_rad + step_rad,
        };
        let seen = bench.run(&chain, &fins, Some(order))?;
        let found: [f64; 3] = std::array::from_fn(|j| seen.mean[j] - still.mean[j]);
        let change = |s: usize| to_deg(seen.angle_rad[s] - still.angle_rad[s]);
        let which = nearest(&found, &expected);
        moved.push(MovedFin {
            surface: bench.setup.surfaces[i].name.clone(),
            asked_deg: to_deg(step_rad),
            reached_deg: change(i),
            moved_deg: (0..bench.setup.surfaces.len()).map(change).collect(),
            found: shown(&found),
            expected: shown(&expected[k]),
            verdict: verdict(&bench.setup, &fins, k, which, to_deg(step_rad) / change(i)),
        });
    }
    Ok(SignCheck {
        speed_kn: to_kn(speed_m_s),
        step_deg: to_deg(step_rad),
        law: tilts.then(|| plan.spec.name.clone()),
        fins: moved,
        tilts: if tilts {
            tilt::all(&with_modes(plan, ModeSpec::Engaged), &bench.setup)?
        } else {
            Vec::new()
        },
    })
}

fn drives(plan: &LawPlan, name: &str) -> bool {
    plan.spec.channels.is_empty() || plan.spec.channels.iter().any(|c| c == name)
}

/// The law in a mode, nothing that could interrupt the check.
fn with_modes(plan: &LawPlan, start: ModeSpec) -> LawPlan {
    let mut plan = plan.clone();
    let modes = plan.spec.modes.get_or_insert_default();
    modes.start = start;
    modes.trips = TripsSpec::default();
    plan
}

/// m/s2, deg/s2, deg/s2.
fn shown(a: &[f64; 3]) -> [f64; 3] {
    [a[0], to_deg(a[1]), to_deg(a[2])]
}

/// The fin among the expected whose direction is nearest, and its sign; none when hardly anything moved.
fn nearest(found: &[f64; 3], expected: &[[f64; 3]]) -> Option<(usize, f64)> {
    let scale: [f64; 3] =
        std::array::from_fn(|j| expected.iter().fold(1e-12, |m: f64, e| m.max(e[j].abs())));
    let even = |a: &[f64; 3]| Vector3::from_fn(|j, _| a[j] / scale[j]);
    let f = even(found);
    let near = |e: &[f64; 3]| f.dot(&even(e)) / even(e).norm().max(1e-12);
    let (k, along) = expected
        .iter()
        .map(near)
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let ratio = along / even(&expected[k]).norm().max(1e-12);
    (ratio.abs() > STILL).then_some((k, ratio.signum()))
}

/// `which` moved when the fin at `asked` was to; `lack` is the angle asked over the one it reached.
fn verdict(
    setup: &Setup,
    fins: &[usize],
    asked: usize,
    which: Option<(usize, f64)>,
    lack: f64,
) -> Verdict {
    let Some((k, sign)) = which else {
        return Verdict::Still;
    };
    let reversed = sign < 0.0;
    if k != asked {
        let (a, b) = (&setup.surfaces[fins[asked]], &setup.surfaces[fins[k]]);
        let how = match (a.group == b.group, a.r_m.y * b.r_m.y > 0.0) {
            (true, false) => "port and starboard",
            (false, true) => "forward and aft",
            _ => "channels",
        };
        return Verdict::Swapped {
            with: b.name.clone(),
            how,
            reversed,
        };
    }
    match (reversed, !(1.0 / FAR..=FAR).contains(&lack)) {
        (true, _) => Verdict::Reversed,
        (false, true) => Verdict::Scale(1.0 / lack),
        (false, false) => Verdict::Right,
    }
}

/// The craft at one speed in calm water.
struct Bench<'a> {
    model: &'a CraftModel,
    plant: Arc<Plant>,
    trim: Trim,
    setup: Setup,
    course: CourseSpec,
}

/// Means over the second, and the angles at its end.
#[derive(Clone, Debug, Default)]
struct Seen {
    mean: [f64; 3],
    angle_rad: Vec<f64>,
}

/// Adds up accelerations of O.
#[derive(Default)]
struct Averager {
    sum: [f64; 3],
    count: f64,
}

impl Observer for Averager {
    fn see(&mut self, view: &View) -> ControlFlow<()> {
        let t_s = view.truth.t_s - AT_S - AFTER_S;
        if (0.0..=OVER_S).contains(&t_s) {
            let turn = view.truth.omega_dot_rad_s2;
            let rise = view.truth.acceleration_up_m_s2(&Vector3::zeros());
            for (sum, v) in self.sum.iter_mut().zip([rise, turn.x, turn.y]) {
                *sum += v;
            }
            self.count += 1.0;
        }
        ControlFlow::Continue(())
    }
}

impl<'a> Bench<'a> {
    fn new(model: &'a CraftModel, speed_m_s: f64) -> Result<Self> {
        let course = CourseSpec::MeanHeld {
            spring_period_s: 120.0,
        };
        let plant = model.plant(speed_m_s, &course)?;
        let trim = trim::level(&plant)?;
        let setup = setup(model, &plant, &trim);
        Ok(Bench {
            model,
            plant: Arc::new(plant),
            trim,
            setup,
            course,
        })
    }

    /// Heave up, roll and pitch acceleration of a step of one fin, from rest.
    fn expected(&self, i: usize, step_rad: f64) -> Result<[f64; 3]> {
        let s = &self.setup.surfaces[i];
        let u = self.plant.speed_m_s;
        let force_n = s.effectiveness * u * u * step_rad;
        let w = wrench_at(&s.r_m, &(s.n * force_n));
        let a = (self.plant.mass + self.plant.memory.a_inf)
            .lu()
            .solve(&w)
            .ok_or_else(|| Error::new("the mass matrix cannot be inverted"))?;
        Ok([-a[2], a[3], a[4]])
    }

    fn run(&self, plan: &LawPlan, fins: &[usize], order: Option<Order>) -> Result<Seen> {
        let sample_s = self.setup.sample_period_s;
        let step_s = sample_s / (sample_s / 0.05).ceil().max(1.0);
        let steps = ((AT_S + AFTER_S + OVER_S) / sample_s).ceil() + 1.0;
        let timing = Timing::new(steps * sample_s, 0.0, step_s, sample_s, sample_s)?;
        let calm = Realisation {
            components: Vec::new(),
            mu_rad: 0.0,
            speed_m_s: self.plant.speed_m_s,
            duration_s: steps * sample_s,
            wind: None,
            current_m_s: 0.0,
            current_mu_rad: 0.0,
        };
        let mut parts = bake::parts(&Recipe {
            name: "signs".into(),
            model: self.model,
            plant: self.plant.clone(),
            trim: &self.trim,
            sea: &calm,
            timing,
            integrator: Integrator::FixedStep,
            course: &self.course,
            sensing: Sensing::Suite {
                craft: Arc::new(self.model.craft.spec.clone()),
                errors: false,
                seed: 0,
                case: 0,
            },
        });
        let event = |at_s, o| Event {
            at_s,
            action: Action::Law(o),
            words: String::new(),
        };
        let to_trim = |&surface: &usize| Order::Fin {
            surface,
            angle_rad: self.setup.surfaces[surface].trim_rad,
        };
        parts.orders = fins.iter().map(|i| event(0.0, to_trim(i))).collect();
        parts.orders.extend(order.map(|o| event(AT_S, o)));
        let case = Case::new(parts)?;
        let mut law = plan.make()?;
        let mut mean = Averager::default();
        let run = run_observed(&case, law.as_mut(), &mut [&mut mean]);
        if !run.outcome.is_completed() {
            return Err(Error::new(format!(
                "the check ended early: {}",
                run.outcome
            )));
        }
        let layout = self.plant.layout();
        let angle = |i: usize| run.end_state[layout.angle(i)];
        Ok(Seen {
            mean: mean.sum.map(|s| s / mean.count.max(1.0)),
            angle_rad: (0..self.setup.surfaces.len()).map(angle).collect(),
        })
    }
}

/// The law of `plan`, reset for `setup`.
fn fresh(plan: &LawPlan, setup: &Setup) -> Result<Box<dyn Controller>> {
    let mut law = plan.make()?;
    law.reset(setup)?;
    Ok(law)
}

#[cfg(test)]
mod tests;
