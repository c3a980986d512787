//! The loop of a craft with something broken, linear about the trim that the sound craft had.
//!
//! # Equation
//! ```text
//! jammed    B_c e_i = 0                        its fixed lift stays in A, no command moves it
//! trailing  C_La' = C_La + C_Ld d delta/d alpha,  C_Ld' = 0;   d delta/d alpha = -(dM/d alpha)/(dM/d delta)
//! lost      C_La' = C_Ld' = 0,  area 0         neither lift nor damping nor wake
//! sensor    y' = k y                           0 silent or frozen, -1 reversed
//! ```
//! The law is the sound one: its gains, its model of the craft and its share of demands among the surfaces know
//! nothing of the fault. Its channels to surfaces that no longer answer are cut.
//!
//! # Symbols
//! A, B_c linear model, C_La and C_Ld lift slopes by incidence and deflection (1/rad), M hinge moment (N m).
//!
//! # Valid when
//! Small motions about the trim of the sound craft: a surface jammed or hard over at another angle moves the
//! mean, not the poles, as long as lift is linear. Slow servos, backlash, oscillation, bias, drift, noise,
//! late readings, weights and water are not in the linear model; [`LinearFault::left_out`] names them.
//!
//! # Source
//! Etkin & Reid, Dynamics of Flight, 3rd ed. 1996, section 2.5 and 2.6: controls free against controls fixed.
//!
//! # Checked by
//! `a_jam_leaves_the_craft_and_takes_the_command`, `a_lost_aft_fin_lowers_the_divergence_speed_and_a_pair_more`,
//! `the_broken_linear_model_is_the_broken_plants_derivative`, `a_dead_sensor_is_a_zero_column_of_the_law`
//! (tests/failures.rs)

use std::sync::Arc;

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::craft::{LoopCraft, kept_states};
use super::margins::robust::{Judged, Summary};
use super::poles::poles;
use super::reading::Quantity;
use super::schedule::frozen::{apart, at_held_speed};
use crate::control::linear::LinearLaw;
use crate::dynamics::damage::Damage;
use crate::dynamics::plant::Plant;
use crate::error::Result;
use crate::linear::assemble::assemble;
use crate::spec::craft::CraftSpec;
use crate::spec::fault::{
    BreakageSpec, ControllerFailureSpec, SensorFailureSpec, SensorNameSpec, SurfaceFailureSpec,
};
use crate::units::to_deg;

/// Growth below which a pole counts as neutral, 1/s.
const NEUTRAL_1_S: f64 = super::margins::loops::NEUTRAL_1_S;
/// Probe of the hinge moment, rad.
const PROBE_RAD: f64 = 1e-4;

/// What is left of a surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Left {
    /// Its lift by incidence, at a fixed angle.
    Held,
    /// What floats.
    Trailing,
    /// Nothing.
    Nothing,
}

/// A fault as the linear model sees it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LinearFault {
    /// Surfaces that no command moves any more, by index, with what is left of each.
    pub surfaces: Vec<(usize, Left)>,
    /// Factors on readings.
    pub readings: Vec<(Quantity, f64)>,
    /// The law is silent: it moves nothing.
    pub is_law_silent: bool,
    /// What of the fault the linear model leaves out, in words.
    pub left_out: Vec<&'static str>,
}

impl LinearFault {
    /// The linear side of some breakages of a craft.
    pub fn of<'a>(all: impl IntoIterator<Item = &'a BreakageSpec>, craft: &CraftSpec) -> Self {
        let mut out = LinearFault::default();
        for b in all {
            out.add(b, craft);
        }
        out
    }

    /// True where the linear model sees nothing of the fault.
    pub fn is_none(&self) -> bool {
        self.surfaces.is_empty() && self.readings.is_empty() && !self.is_law_silent
    }

    fn add(&mut self, b: &BreakageSpec, craft: &CraftSpec) {
        let index = |name: &str| craft.surfaces.iter().position(|s| s.name == name);
        match b {
            BreakageSpec::Surface { name, failure } => {
                let Some(i) = index(name) else { return };
                match failure {
                    SurfaceFailureSpec::Jammed {}
                    | SurfaceFailureSpec::JammedAt { .. }
                    | SurfaceFailureSpec::HardOver { .. }
                    | SurfaceFailureSpec::Oscillating { .. } => self.leave(i, Left::Held),
                    SurfaceFailureSpec::Trailing {} => self.leave(i, Left::Trailing),
                    SurfaceFailureSpec::Lost {} => self.leave(i, Left::Nothing),
                    SurfaceFailureSpec::Slow { .. } => self.left_out.push("a slow servo"),
                    SurfaceFailureSpec::Backlash { .. } => self.left_out.push("backlash"),
                }
            }
            BreakageSpec::Supply { name, left_frac } if *left_frac <= 0.0 => {
                for (i, s) in craft.surfaces.iter().enumerate() {
                    if name.is_none() || s.actuator.supply == *name {
                        self.leave(i, Left::Held);
                    }
                }
            }
            BreakageSpec::Supply { .. } => self.left_out.push("a weak supply"),
            BreakageSpec::Sensor { name, failure } => self.sensor(name, failure, &index),
            BreakageSpec::Controller(ControllerFailureSpec::Stopped { .. }) => {
                self.is_law_silent = true;
            }
            BreakageSpec::Controller(_) => self.left_out.push("missed or late samples"),
            BreakageSpec::Shaft { .. } => self.left_out.push("a shaft"),
            BreakageSpec::WeightShift { .. } => self.left_out.push("a shifted weight"),
            BreakageSpec::Flooded(_) => self.left_out.push("flood water"),
        }
    }

    /// The worse of two states of one surface stays.
    fn leave(&mut self, i: usize, left: Left) {
        let rank = |l: Left| l as u8;
        match self.surfaces.iter_mut().find(|s| s.0 == i) {
            Some(s) if rank(s.1) < rank(left) => s.1 = left,
            Some(_) => {}
            None => self.surfaces.push((i, left)),
        }
    }

    fn sensor(
        &mut self,
        name: &SensorNameSpec,
        failure: &SensorFailureSpec,
        index: &impl Fn(&str) -> Option<usize>,
    ) {
        let factor = match failure {
            SensorFailureSpec::Frozen {} => 0.0,
            SensorFailureSpec::DroppedOut { lost_frac, .. } if *lost_frac >= 1.0 => 0.0,
            SensorFailureSpec::Scaled { scale } => *scale,
            SensorFailureSpec::Reversed {} => -1.0,
            SensorFailureSpec::Bias { .. }
            | SensorFailureSpec::Drift { .. }
            | SensorFailureSpec::Noisy { .. } => {
                return self.left_out.push("a sensor's bias or noise");
            }
            SensorFailureSpec::DroppedOut { .. } | SensorFailureSpec::Late { .. } => {
                return self.left_out.push("missed or late readings");
            }
        };
        let all = match name {
            SensorNameSpec::RollRate => vec![Quantity::Rate(0)],
            SensorNameSpec::PitchRate => vec![Quantity::Rate(1)],
            SensorNameSpec::YawRate => vec![Quantity::Rate(2)],
            SensorNameSpec::Roll => vec![Quantity::Attitude(0)],
            SensorNameSpec::Pitch => vec![Quantity::Attitude(1)],
            SensorNameSpec::AccelerationX => vec![Quantity::Acceleration(0)],
            SensorNameSpec::AccelerationY => vec![Quantity::Acceleration(1)],
            SensorNameSpec::AccelerationZ => vec![Quantity::Acceleration(2)],
            SensorNameSpec::Speed => vec![Quantity::Speed],
            SensorNameSpec::Heading => vec![Quantity::Heading],
            SensorNameSpec::MotionUnit => (0..3)
                .flat_map(|k| [Quantity::Rate(k), Quantity::Acceleration(k)])
                .chain([Quantity::Attitude(0), Quantity::Attitude(1)])
                .collect(),
            SensorNameSpec::Height { height_sensor } => {
                vec![Quantity::Height(*height_sensor as usize)]
            }
            SensorNameSpec::SurfaceAngle { surface } => {
                index(surface).map(Quantity::Surface).into_iter().collect()
            }
        };
        self.readings.extend(all.into_iter().map(|q| (q, factor)));
    }

    /// The craft with this fault, about the trim of the sound one; its law is told nothing.
    #[must_use]
    pub fn craft(&self, craft: &LoopCraft) -> LoopCraft {
        let mut out = craft.clone();
        out.reading_factors.extend(self.readings.iter().copied());
        if self.surfaces.is_empty() {
            return out;
        }
        let dead: Vec<usize> = self.surfaces.iter().map(|s| s.0).collect();
        if self.surfaces.iter().any(|s| s.1 != Left::Held) {
            let plant = self.plant(&craft.plant);
            let drag = plant.quadratic_drag.then_some(&craft.drag_slope);
            out.linear = assemble(&plant, &craft.trim.x, drag);
            out.plant = Arc::new(plant);
        }
        for i in &dead {
            out.linear.b_command.column_mut(*i).fill(0.0);
        }
        out.keeper = craft.keeper.without(&dead);
        out.kept = kept_states(&out.linear, &out.keeper);
        out
    }

    fn plant(&self, plant: &Plant) -> Plant {
        let mut damage = Damage::none(plant.surfaces.len());
        for (i, left) in &self.surfaces {
            damage.lost[*i] = *left == Left::Nothing;
        }
        let mut out = plant.damaged(&damage);
        for (i, left) in &self.surfaces {
            if *left == Left::Trailing {
                let s = &mut out.surfaces[*i];
                let moment = |a: f64, d: f64| s.hinge_moment_nm(1.0, a, d);
                let by_alpha = moment(PROBE_RAD, 0.0) - moment(-PROBE_RAD, 0.0);
                let by_delta = moment(0.0, PROBE_RAD) - moment(0.0, -PROBE_RAD);
                // without a balance it lies at a stop, as if jammed
                if by_delta < 0.0 {
                    s.slope_incidence -= s.slope_deflection * by_alpha / by_delta;
                }
                s.slope_deflection = 0.0;
            }
        }
        out.finish()
    }

    /// The law less its channels to surfaces that no longer answer.
    #[must_use]
    pub fn law(&self, law: &LinearLaw) -> LinearLaw {
        if self.is_law_silent {
            return LinearLaw::none(law.sample_period_s);
        }
        let gone = |c: &usize| self.surfaces.iter().any(|s| s.0 == *c);
        let rows: Vec<usize> = (0..law.channels.len())
            .filter(|k| !gone(&law.channels[*k]))
            .collect();
        let select = |m: &DMatrix<f64>| m.select_rows(&rows);
        LinearLaw {
            channels: rows.iter().map(|k| law.channels[*k]).collect(),
            c: select(&law.c),
            d: select(&law.d),
            ..law.clone()
        }
    }
}

/// What the linear loop says.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct LinearVerdict {
    /// No motion but the speed itself grows.
    pub is_stable: bool,
    /// Real and imaginary part of the least stable pole when it grows, 1/s.
    pub growing_1_s: Option<[f64; 2]>,
    /// The motion that grows.
    pub motion: Option<String>,
    /// Disk margin of all fins at once; none where unstable or where the law moves nothing.
    pub disk: Option<f64>,
    /// Least factor above one by which a gain at a fin or demand may grow; none as before, or where nothing limits it.
    pub gain_up: Option<f64>,
    /// Least factor by which such a gain may be divided; none likewise.
    pub gain_down: Option<f64>,
    /// Least phase margin there, deg; none likewise.
    pub phase_deg: Option<f64>,
    /// Least delay margin there, s; none likewise.
    pub delay_s: Option<f64>,
}

impl LinearVerdict {
    fn stable(s: Option<&Summary>) -> Self {
        let of = |w: fn(&Summary) -> f64| s.map(w).filter(|v| v.is_finite());
        LinearVerdict {
            is_stable: true,
            growing_1_s: None,
            motion: None,
            disk: of(|s| s.disk.value),
            gain_up: of(|s| s.gain_up.value),
            gain_down: of(|s| s.gain_down.value),
            phase_deg: of(|s| to_deg(s.phase_rad.value)),
            delay_s: of(|s| s.delay_s.value),
        }
    }

    fn unstable(pole: Complex64, motion: Option<&str>) -> Self {
        LinearVerdict {
            is_stable: false,
            growing_1_s: Some([pole.re, pole.im.abs()]),
            motion: motion.map(str::to_owned),
            ..LinearVerdict::stable(None)
        }
    }
}

/// Judges craft and law, at held speed where the speed alone runs away.
///
/// # Errors
/// Poles that are not found; a law that does not fit.
pub fn verdict(craft: &LoopCraft, law: &LinearLaw) -> Result<LinearVerdict> {
    if law.channels.is_empty() || law.signals.is_empty() {
        let law = LinearLaw::none(law.sample_period_s);
        let first = poles(&at_held_speed(craft), &law)?.first().copied();
        return Ok(match first.filter(|p| p.re > NEUTRAL_1_S) {
            Some(pole) => LinearVerdict::unstable(pole, None),
            None => LinearVerdict::stable(None),
        });
    }
    Ok(match apart(craft, law)?.0 {
        Judged::Stable(s) => LinearVerdict::stable(Some(&s)),
        Judged::Unstable(pole, motion) => LinearVerdict::unstable(pole, Some(motion)),
    })
}
