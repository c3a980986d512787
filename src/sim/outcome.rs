//! How a run ended.
//!
//! A half-finished record is never handed over as a whole one: the [`Outcome`] travels with it.

use std::fmt;

use crate::error::Error;

/// Which motion left the range in which the model holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Excursion {
    /// O rose until the lower hulls or the struts' lower ends emerge.
    HeaveUp,
    /// O sank until the cross-structure is under.
    HeaveDown,
    /// Roll.
    Roll,
    /// Pitch.
    Pitch,
}

impl Excursion {
    /// The trade's word and the unit of value and limit as printed.
    pub fn name(self) -> &'static str {
        match self {
            Excursion::HeaveUp => "heave up",
            Excursion::HeaveDown => "heave down",
            Excursion::Roll => "roll",
            Excursion::Pitch => "pitch",
        }
    }

    fn is_angle(self) -> bool {
        matches!(self, Excursion::Roll | Excursion::Pitch)
    }
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// The whole duration was simulated.
    Completed,
    /// A number was no longer finite.
    Diverged {
        /// When, s from the start of the run.
        t_s: f64,
        /// Which state.
        what: String,
        /// The last finite state.
        state: Vec<f64>,
    },
    /// The motion left the range in which the model holds.
    OutOfRange {
        /// When, s from the start of the run.
        t_s: f64,
        /// Which motion.
        what: Excursion,
        /// Its value, m or rad.
        value: f64,
        /// Its limit, m or rad.
        limit: f64,
        /// The state then.
        state: Vec<f64>,
    },
    /// The controller gave up or broke its contract.
    ControllerFailed {
        /// When, s from the start of the run.
        t_s: f64,
        /// What it said.
        error: Error,
    },
    /// The reference integrator gave up.
    IntegratorFailed {
        /// When, s from the start of the run.
        t_s: f64,
        /// What it said.
        error: Error,
        /// The state then.
        state: Vec<f64>,
    },
    /// An observer asked to stop.
    Stopped {
        /// When, s from the start of the run.
        t_s: f64,
    },
}

impl Outcome {
    /// True when the whole duration was simulated.
    pub fn is_completed(&self) -> bool {
        matches!(self, Outcome::Completed)
    }

    /// When the run ended early, s from its start; none for a completed one.
    pub fn ended_s(&self) -> Option<f64> {
        match self {
            Outcome::Completed => None,
            Outcome::Diverged { t_s, .. }
            | Outcome::OutOfRange { t_s, .. }
            | Outcome::ControllerFailed { t_s, .. }
            | Outcome::IntegratorFailed { t_s, .. }
            | Outcome::Stopped { t_s } => Some(*t_s),
        }
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Outcome::Completed => write!(f, "completed"),
            Outcome::Diverged { t_s, what, .. } => {
                write!(f, "motion diverged at t = {t_s:.2} s: {what} is not finite")
            }
            Outcome::OutOfRange {
                t_s,
                what,
                value,
                limit,
                ..
            } => {
                let (scale, unit) = if what.is_angle() {
                    (crate::units::to_deg(1.0), "deg")
                } else {
                    (1.0, "m")
                };
                write!(
                    f,
                    "motion left the valid range at t = {t_s:.2} s: {} {:.2} {unit}, limit {:.2} {unit}",
                    what.name(),
                    value * scale,
                    limit * scale
                )
            }
            Outcome::ControllerFailed { t_s, error } => {
                write!(f, "controller failed at t = {t_s:.2} s: {error}")
            }
            Outcome::IntegratorFailed { t_s, error, .. } => {
                write!(f, "integrator failed at t = {t_s:.2} s: {error}")
            }
            Outcome::Stopped { t_s } => write!(f, "stopped by the observer at t = {t_s:.2} s"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn says_when_what_and_limit() {
        let o = Outcome::OutOfRange {
            t_s: 212.4,
            what: Excursion::Pitch,
            value: -0.8,
            limit: std::f64::consts::FRAC_PI_4,
            state: vec![],
        };
        assert_eq!(
            o.to_string(),
            "motion left the valid range at t = 212.40 s: pitch -45.84 deg, limit 45.00 deg"
        );
        assert!(!o.is_completed() && o.ended_s().is_some());
        assert!(Outcome::Completed.ended_s().is_none());
    }
}
