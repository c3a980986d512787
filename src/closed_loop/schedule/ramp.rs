//! Up through the range of speeds and back, as fast as thrust and resistance let the craft.
//!
//! # Equation
//! ```text
//! hold U_low | order U_high: full thrust | hold | order U_low: thrust astern | hold
//! throttle: speed hold of THROTTLE_S in place of the scenario's slow one, within the shafts' limits
//! jump = max over fins and samples of |u(k) - u(k-1)|
//! ```
//! The nonlinear simulator with the law as filed: its own speed filter, rate limits, estimators and
//! integrators. The craft is that of [`crate::sim::ramp`].
//!
//! # Symbols
//! u commanded angles (rad), U speeds (m/s).
//!
//! # Valid when
//! As [`crate::sim::ramp`]. A law is told the trim of the speed at which it starts; what other speeds ask of
//! trim its own integrators must find, unless it is given them by [`TrimBySpeed`].
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `a_stable_schedule_stays_bounded_through_a_ramp`, `a_schedule_unstable_at_the_top_does_not_pass`
//! (tests/schedule.rs)

use std::sync::Arc;

use serde::Serialize;

use super::surge;
use super::watch::{Course, Watch, Window};
use crate::closed_loop::craft::LoopCraft;
use crate::control::modes::Order;
use crate::control::signal::{FinCommand, Measurement, SetPoint, Setup, Trace};
use crate::control::{Controller, ControllerInfo};
use crate::dynamics::course::SpeedHold;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::error::{Error, Result};
use crate::linear::trim::{self, Trim};
use crate::sea::realisation::Realisation;
use crate::sim::bake::{self, Recipe};
use crate::sim::case::{Case, Integrator, Parts, Sensing, Timing};
use crate::sim::orders::{Action, Event};
use crate::sim::ramp::{RampCraft, with_memory_of};
use crate::sim::run::run_observed;
use crate::spec::craft::SurfaceGroup;
use crate::spec::scenario::CourseSpec;

/// Time at steady speed before the ramp, s.
pub const SETTLE_S: f64 = 60.0;
/// Time over which a steady speed is judged, s.
pub const JUDGED_S: f64 = 40.0;
/// Share of the change of speed at which the ramp counts as over: the rest is the speed hold's.
pub const REACHED_FRAC: f64 = 0.9;
/// Time constant of the speed hold in a ramp, s: throttles go to their stops until the last knots.
pub const THROTTLE_S: f64 = 8.0;
/// Pitch that may be left in calm water at the end, rad (a fifth of a degree off the speed's own mean).
const CALM_RMS_RAD: f64 = 0.2 * std::f64::consts::PI / 180.0;
/// Pitch off level trim at which a law that rests there has lost the craft, rad (3 deg): fins at their stops
/// rest too.
const LOST_RAD: f64 = 3.0 * std::f64::consts::PI / 180.0;
/// Wave tables lie at most this far apart, m/s (2 kn).
const TABLE_STEP_M_S: f64 = 1.03;

/// A ramp made ready.
pub struct Ramp {
    craft: Arc<RampCraft>,
    start: Arc<Plant>,
    trim: Trim,
    course: CourseSpec,
    /// Lower speed, m/s.
    pub low_m_s: f64,
    /// Upper speed, m/s.
    pub high_m_s: f64,
    /// Speed whose memory is used, m/s.
    pub memory_m_s: f64,
    /// Order to go up and to come back, and the end, s.
    pub orders_s: [f64; 3],
    step_s: f64,
    /// Thrust midway between both ends, a shaft, N.
    thrust_n: Vec<f64>,
    allowed_rad: f64,
}

/// How a run begins and what it meets.
pub struct Weather<'a> {
    /// Sea relative to the mean course.
    pub sea: &'a Realisation,
    /// Pitch at the start off trim, rad.
    pub pitch_rad: f64,
    /// What the law sees.
    pub sensing: Sensing,
}

/// What came of a ramp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RampRun {
    /// How the run ended, in words.
    pub outcome: String,
    /// The whole time was simulated.
    pub is_completed: bool,
    /// Time from order to [`REACHED_FRAC`] of the change, up and down, s; none when it was not reached.
    pub took_s: [Option<f64>; 2],
    /// Greatest speed, m/s.
    pub top_m_s: f64,
    /// Pitch off the start's trim that a law at rest may leave, rad: 3 deg beyond what trims differ.
    pub allowed_rad: f64,
    /// At the low speed before, through the ramp up, at the high speed, through the ramp down, at the
    /// low speed again.
    pub windows: [Window; 5],
    /// Everything, sample by sample.
    #[serde(skip)]
    pub course: Course,
}

impl RampRun {
    /// In calm water: ran to the end and came to rest near trim at both speeds.
    pub fn is_calm_at_the_ends(&self) -> bool {
        let rests =
            |w: &Window| w.pitch_rms_rad < CALM_RMS_RAD && w.pitch_peak_rad < self.allowed_rad;
        self.is_completed && rests(&self.windows[2]) && rests(&self.windows[4])
    }

    /// Greatest jump while the speed changes and while it does not, rad.
    pub fn jumps_rad(&self) -> [f64; 2] {
        let of = |at: &[usize]| {
            at.iter()
                .map(|i| self.windows[*i].jump_rad)
                .fold(0.0, f64::max)
        };
        [of(&[1, 3]), of(&[0, 2, 4])]
    }

    /// Greatest pitch off the start's trim while the speed changes, rad.
    pub fn pitch_peak_rad(&self) -> f64 {
        self.windows[1]
            .pitch_peak_rad
            .max(self.windows[3].pitch_peak_rad)
    }
}

/// A free run's course keeping: springs cannot lead a craft whose speed changes.
pub fn free(course: &CourseSpec) -> CourseSpec {
    match course {
        CourseSpec::Kept { .. } => course.clone(),
        CourseSpec::MeanHeld { .. } => CourseSpec::default(),
    }
}

impl Ramp {
    /// Between the speeds of the first and the last of `crafts` (ascending), which say how long it takes.
    ///
    /// # Errors
    /// Fewer than two speeds; a craft without shafts or without trim.
    pub fn new(
        model: &CraftModel,
        crafts: &[LoopCraft],
        course: &CourseSpec,
        step_s: f64,
    ) -> Result<Self> {
        let (Some(first), Some(last)) = (crafts.first(), crafts.last()) else {
            return Err(Error::new("a ramp needs speeds"));
        };
        let (low, high) = (first.speed_m_s, last.speed_m_s);
        if high <= low || first.plant.shafts.is_empty() || !first.plant.surge_free {
            return Err(Error::with_hint(
                format!(
                    "no ramp from {low:.2} to {high:.2} m/s: it needs two speeds and a craft that thrust can accelerate"
                ),
                "give a range of speeds, `propulsors` in the craft file, `surge_coupling` on",
            ));
        }
        let course = free(course);
        let tables = super::grid(low, high, TABLE_STEP_M_S);
        let memory_m_s = 0.5 * (low + high);
        let craft = RampCraft::new(model, &tables, memory_m_s, &course)?;
        let start = with_memory_of(&model.plant(low, &course)?, craft.base());
        let trim = trim::level(&start)?;
        let [up, down] = surge::times_s(&surge::surge(crafts)).map(|t| t.min(300.0));
        // the shafts' lag and the end of the approach, which is the speed hold's: half as long again
        let whole = |t: f64| (t * 10.0).ceil() / 10.0;
        let back_s = whole(SETTLE_S + 1.5 * up + 60.0 + JUDGED_S);
        let end_s = whole(back_s + 1.5 * down + 60.0 + JUDGED_S);
        Ok(Ramp {
            craft: Arc::new(craft),
            start: Arc::new(start),
            trim,
            course,
            low_m_s: low,
            high_m_s: high,
            memory_m_s,
            orders_s: [SETTLE_S, back_s, end_s],
            step_s,
            allowed_rad: LOST_RAD
                + crafts.iter().fold(0.0, |m: f64, c| {
                    m.max((c.trim.theta_rad - first.trim.theta_rad).abs())
                }),
            thrust_n: (first.trim.thrust_n.iter())
                .zip(&last.trim.thrust_n)
                .map(|(a, b)| 0.5 * (a + b))
                .collect(),
        })
    }

    /// The plant whose memory all speeds of the ramp share.
    pub fn memory_plant(&self) -> &Plant {
        self.craft.base()
    }

    /// Surfaces that are no rudders.
    pub fn fins(&self) -> Vec<usize> {
        fins(&self.start)
    }

    /// Runs the law through it.
    ///
    /// # Errors
    /// Timings that do not fit each other.
    pub fn run(
        &self,
        model: &CraftModel,
        law: &mut dyn Controller,
        weather: &Weather,
    ) -> Result<RampRun> {
        let period_s = model.craft.spec.sensors.sample_period_s;
        let mut parts = parts(model, &self.start, &self.trim, &self.course, weather, {
            let steps = (self.orders_s[2] / period_s).ceil() * period_s;
            Timing::new(steps, 0.0, self.step_s, period_s, period_s)?
        });
        parts.craft = Arc::clone(&self.craft) as Arc<dyn crate::sim::craft::Craft>;
        parts.speed = Some(self.throttle(period_s));
        let order = |at_s: f64, speed: f64| Event {
            at_s,
            action: Action::Speed(speed),
            words: format!("{speed:.2} m/s"),
        };
        parts.orders = vec![
            order(self.orders_s[0], self.high_m_s),
            order(self.orders_s[1], self.low_m_s),
        ];
        let every = parts.timing.sample_every;
        let case = Case::new(parts)?;
        let mut watch = Watch::new(every, self.start.surfaces.len());
        let run = run_observed(&case, law, &mut [&mut watch]);
        Ok(self.judge(
            &run.outcome.to_string(),
            run.outcome.is_completed(),
            watch.course,
        ))
    }

    /// Lays the throttles over, within their limits; trim thrust midway between both ends.
    fn throttle(&self, period_s: f64) -> SpeedHold {
        let plant = &self.start;
        SpeedHold::new(
            self.low_m_s,
            plant.mass[(0, 0)] + plant.memory.a_inf[(0, 0)],
            THROTTLE_S,
            period_s,
            self.thrust_n.clone(),
            plant.shafts.iter().map(|s| s.max_thrust_n).collect(),
        )
    }

    fn judge(&self, outcome: &str, is_completed: bool, course: Course) -> RampRun {
        let [up_s, back_s, end_s] = self.orders_s;
        let change = self.high_m_s - self.low_m_s;
        let there = course.passes(up_s, self.low_m_s + REACHED_FRAC * change, true);
        let there = there.filter(|t| *t < back_s);
        let home = course.passes(back_s, self.high_m_s - REACHED_FRAC * change, false);
        let (heave, pitch, fins) = (self.trim.z_m, self.trim.theta_rad, self.fins());
        let window = |a: f64, b: f64| course.window(a, b, &fins, heave, pitch);
        let windows = [
            window(up_s - JUDGED_S, up_s),
            window(up_s, there.unwrap_or(back_s - JUDGED_S)),
            window(back_s - JUDGED_S, back_s),
            window(back_s, home.unwrap_or(end_s - JUDGED_S)),
            window(end_s - JUDGED_S, end_s),
        ];
        RampRun {
            outcome: outcome.to_owned(),
            is_completed,
            took_s: [there.map(|t| t - up_s), home.map(|t| t - back_s)],
            allowed_rad: self.allowed_rad,
            top_m_s: course.speed_m_s.iter().copied().fold(0.0, f64::max),
            windows,
            course,
        }
    }
}

/// Surfaces of a plant that are no rudders.
pub(super) fn fins(plant: &Plant) -> Vec<usize> {
    let of = plant.surfaces.iter().enumerate();
    of.filter(|(_, s)| s.group != SurfaceGroup::Rudder)
        .map(|(i, _)| i)
        .collect()
}

fn parts(
    model: &CraftModel,
    plant: &Arc<Plant>,
    trim: &Trim,
    course: &CourseSpec,
    weather: &Weather,
    timing: Timing,
) -> Parts {
    let mut parts = bake::parts(&Recipe {
        name: "schedule".into(),
        model,
        plant: Arc::clone(plant),
        trim,
        sea: weather.sea,
        timing,
        integrator: Integrator::FixedStep,
        course,
        sensing: weather.sensing.clone(),
    });
    parts.start[4] += weather.pitch_rad;
    parts
}

/// The law at one speed all the time, for comparison; judged over `duration_s` after [`SETTLE_S`].
///
/// # Errors
/// Timings that do not fit each other.
pub fn steady(
    model: &CraftModel,
    craft: &LoopCraft,
    course: &CourseSpec,
    law: &mut dyn Controller,
    weather: &Weather,
    [duration_s, step_s]: [f64; 2],
) -> Result<(String, Window)> {
    let course = free(course);
    let plant = Arc::new(model.plant(craft.speed_m_s, &course)?);
    let trim = trim::level(&plant)?;
    let period_s = craft.setup.sample_period_s;
    let timing = Timing::new(SETTLE_S + duration_s, 0.0, step_s, period_s, period_s)?;
    let case = Case::new(parts(model, &plant, &trim, &course, weather, timing))?;
    let mut watch = Watch::new(timing.sample_every, plant.surfaces.len());
    let run = run_observed(&case, law, &mut [&mut watch]);
    let window = watch.course.window(
        SETTLE_S,
        SETTLE_S + duration_s,
        &fins(&plant),
        trim.z_m,
        trim.theta_rad,
    );
    Ok((run.outcome.to_string(), window))
}

/// A law that is given level trim by the measured speed: what the trim of the moment differs from that of
/// the start is added behind it, and the law sees and commands its fins without it.
pub struct TrimBySpeed {
    inner: Box<dyn Controller>,
    /// Ascending speeds (m/s) with the angle of every surface (rad).
    table: Vec<(f64, Vec<f64>)>,
    told: Vec<f64>,
    speed_m_s: f64,
    keep: f64,
    seen: Option<Measurement>,
    asked: Option<FinCommand>,
}

/// Time constant of the filter on the speed that picks the trim, s.
const TRIM_FILTER_S: f64 = 2.0;

impl TrimBySpeed {
    /// `inner` with the trims of `crafts`, ascending in speed.
    pub fn new(inner: Box<dyn Controller>, crafts: &[LoopCraft]) -> Self {
        TrimBySpeed {
            inner,
            table: crafts
                .iter()
                .map(|c| (c.speed_m_s, c.trim.surface_rad.clone()))
                .collect(),
            told: Vec::new(),
            speed_m_s: 0.0,
            keep: 0.0,
            seen: None,
            asked: None,
        }
    }

    /// Trim of surface `i` at the speed of the moment less that of the start, rad.
    fn offset_rad(&self, i: usize) -> f64 {
        let t = &self.table;
        let Some(last) = t.len().checked_sub(1) else {
            return 0.0;
        };
        let above = t.partition_point(|r| r.0 <= self.speed_m_s);
        let (a, b) = (&t[above.clamp(1, last.max(1)) - 1], &t[above.min(last)]);
        let width = b.0 - a.0;
        let s = if width > 0.0 {
            ((self.speed_m_s - a.0) / width).clamp(0.0, 1.0)
        } else {
            0.0
        };
        a.1[i] + s * (b.1[i] - a.1[i]) - self.told[i]
    }
}

impl Controller for TrimBySpeed {
    fn info(&self) -> ControllerInfo {
        self.inner.info()
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.told = setup.surfaces.iter().map(|s| s.trim_rad).collect();
        self.speed_m_s = setup.nominal_speed_m_s;
        self.keep = libm::exp(-setup.sample_period_s / TRIM_FILTER_S);
        self.seen = Some(Measurement::at_trim(setup));
        self.asked = Some(FinCommand::at_trim(setup));
        self.inner.reset(setup)
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let (Some(mut seen), Some(mut asked)) = (self.seen.take(), self.asked.take()) else {
            return Err(Error::new("a law with trim by speed was not reset"));
        };
        // the command of before stands on the trim of before: the law sees its own part of it
        let fins = asked.fin_rad.len();
        seen.copy_from(y);
        for i in 0..fins {
            let offset = self.offset_rad(i);
            seen.surface_rad[i] -= offset;
            asked.fin_rad[i] = u.fin_rad[i] - offset;
            asked.min_rad[i] = u.min_rad[i] - offset;
            asked.max_rad[i] = u.max_rad[i] - offset;
        }
        if y.valid.speed {
            self.speed_m_s = y.speed_m_s + self.keep * (self.speed_m_s - y.speed_m_s);
        }
        let done = self.inner.update(t_s, &seen, &mut asked);
        for i in 0..fins {
            u.fin_rad[i] = asked.fin_rad[i] + self.offset_rad(i);
        }
        (self.seen, self.asked) = (Some(seen), Some(asked));
        done
    }

    fn set_point(&mut self, goal: SetPoint) -> Result<()> {
        self.inner.set_point(goal)
    }

    fn set_displacement(&mut self, displacement_kg: f64) -> Result<()> {
        self.inner.set_displacement(displacement_kg)
    }

    fn order(&mut self, order: &Order) -> Result<()> {
        self.inner.order(order)
    }

    fn notice(&mut self) -> Option<String> {
        self.inner.notice()
    }

    fn finding(&mut self) -> Option<crate::control::monitor::finding::Finding> {
        self.inner.finding()
    }

    fn trace(&self, out: &mut Trace) {
        self.inner.trace(out);
    }
}
