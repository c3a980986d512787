//! The worst margins over crafts that differ from the file, and what makes them.
//!
//! # Equation
//! ```text
//! worst of q = min (or max) of q over nominal, corners and draws; an unstable one is worse than all
//! ```
//!
//! # Symbols
//! q a margin at the fins and at the demands of heave, pitch and roll, one loop at a time and all together.
//!
//! # Valid when
//! As [`crate::closed_loop::uncertainty`]. Corners bound what is monotonic in the factors, draws show
//! whether the inside is worse.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `the_worst_of_a_survey_is_one_of_it`

use num_complex::Complex64;
use serde::Serialize;

use super::analyse::{CutMargins, LoopMargins};
use super::craft::{CraftLoop, CraftMargins};
use super::loops::NEUTRAL_1_S;
use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::uncertainty::{Factors, survey};
use crate::control::linear::LinearLaw;
use crate::error::Result;

/// The least of the margins of a craft with its law. Infinite where nothing crosses.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Least factor above one.
    pub gain_up: Worst,
    /// Inverse of the greatest factor below one: by how much the gain may be divided.
    pub gain_down: Worst,
    /// Least phase either way, rad.
    pub phase_rad: Worst,
    /// Least delay, s.
    pub delay_s: Worst,
    /// Disk margin of all fins at once.
    pub disk: Worst,
    /// Inverse of the peak of the largest singular value of S at the fins.
    pub inverse_ms: Worst,
    /// Least damping ratio among the oscillations of the craft; those of memory and filters are their own.
    pub damping_ratio: Worst,
}

/// A number with where it was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Worst {
    /// The less, the worse.
    pub value: f64,
    /// Frequency, rad/s; none without a crossing.
    pub omega_rad_s: Option<f64>,
    /// The loop.
    pub at: String,
}

impl Worst {
    fn none() -> Self {
        Worst {
            value: f64::INFINITY,
            omega_rad_s: None,
            at: String::new(),
        }
    }

    fn meet(&mut self, value: f64, omega_rad_s: f64, at: &str) {
        if value < self.value {
            *self = Worst {
                value,
                omega_rad_s: Some(omega_rad_s),
                at: at.to_owned(),
            };
        }
    }
}

impl Summary {
    /// Of all margins of a craft at fins and demands.
    pub fn of(m: &CraftMargins, open: &CraftLoop) -> Self {
        Self::of_loops(&m.fins, &m.modes, open)
    }

    /// Of loops at fins and at demands.
    pub fn of_loops(fins: &LoopMargins, modes: &LoopMargins, open: &CraftLoop) -> Self {
        let mut out = Summary {
            gain_up: Worst::none(),
            gain_down: Worst::none(),
            phase_rad: Worst::none(),
            delay_s: Worst::none(),
            disk: Worst::none(),
            inverse_ms: Worst::none(),
            damping_ratio: Worst::none(),
        };
        for cut in fins.cuts().chain(&modes.one) {
            out.meet(cut);
        }
        out.disk
            .meet(fins.disk.alpha, fins.disk.omega_rad_s, "all fins");
        out.inverse_ms
            .meet(1.0 / fins.ms.value, fins.ms.omega_rad_s, "all fins");
        for pole in open.slow_poles().into_iter().filter(|p| p.im > NEUTRAL_1_S) {
            if let Some(motion) = open.motion(pole) {
                let ratio = -pole.re / pole.norm();
                out.damping_ratio.meet(ratio, pole.norm(), motion.name());
            }
        }
        out
    }

    fn meet(&mut self, cut: &CutMargins) {
        let c = &cut.classic;
        if let Some(g) = c.gain_up {
            self.gain_up.meet(g.value, g.omega_rad_s, &cut.name);
        }
        if let Some(g) = c.gain_down {
            self.gain_down.meet(1.0 / g.value, g.omega_rad_s, &cut.name);
        }
        if let Some(p) = c.phase_rad() {
            self.phase_rad.meet(p.value, p.omega_rad_s, &cut.name);
        }
        if let Some(d) = c.delay_s {
            self.delay_s.meet(d.value, d.omega_rad_s, &cut.name);
        }
    }

    /// All numbers, in the order of the fields.
    pub fn all(&self) -> [&Worst; 7] {
        [
            &self.gain_up,
            &self.gain_down,
            &self.phase_rad,
            &self.delay_s,
            &self.disk,
            &self.inverse_ms,
            &self.damping_ratio,
        ]
    }
}

/// What came of one craft.
#[derive(Clone, Debug, PartialEq)]
pub enum Judged {
    /// Stable.
    Stable(Box<Summary>),
    /// The loop is unstable by a pole (1/s) of a motion.
    Unstable(Complex64, &'static str),
}

/// Margins at fins and demands in short; an unstable loop is an answer, not an error.
///
/// # Errors
/// A law that does not fit, poles that are not found.
pub fn judge(craft: &LoopCraft, law: &LinearLaw) -> Result<Judged> {
    let open = CraftLoop::new(craft, law)?;
    if open.require_stable().is_err() {
        let worst = open
            .closed_poles
            .iter()
            .max_by(|a, b| a.re.total_cmp(&b.re))
            .copied()
            .unwrap_or_default();
        return Ok(Judged::Unstable(worst, open.motion_words(worst)));
    }
    let (fins, modes) = open.fins_and_modes()?;
    let summary = Summary::of_loops(&fins, &modes, &open);
    Ok(Judged::Stable(Box::new(summary)))
}

/// One craft of a survey.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// Its factors.
    pub factors: Factors,
    /// What came of it.
    pub judged: Judged,
}

/// Judges all crafts, in their order.
///
/// # Errors
/// The first that cannot be judged.
pub fn trials(craft: &LoopCraft, law: &LinearLaw, all: &[Factors]) -> Result<Vec<Trial>> {
    survey(craft, all, |c| judge(c, law))
        .into_iter()
        .zip(all)
        .map(|(judged, factors)| {
            judged.map(|judged| Trial {
                factors: *factors,
                judged,
            })
        })
        .collect()
}

/// The worst of each number of a [`Summary`] and the craft that has it.
pub type WorstOfAll = [(Worst, Factors); 7];

/// The worst of every number, with the trial that gave it; unstable trials apart.
pub fn worst(all: &[Trial]) -> (Option<WorstOfAll>, Vec<&Trial>) {
    let unstable = all
        .iter()
        .filter(|t| matches!(t.judged, Judged::Unstable(..)))
        .collect();
    let stable: Vec<(&Summary, Factors)> = all
        .iter()
        .filter_map(|t| match &t.judged {
            Judged::Stable(s) => Some((s.as_ref(), t.factors)),
            Judged::Unstable(..) => None,
        })
        .collect();
    let Some(first) = stable.first() else {
        return (None, unstable);
    };
    let mut out = first.0.all().map(|w| (w.clone(), first.1));
    for (s, factors) in &stable[1..] {
        for (kept, new) in out.iter_mut().zip(s.all()) {
            if new.value < kept.0.value {
                *kept = (new.clone(), *factors);
            }
        }
    }
    (Some(out), unstable)
}
