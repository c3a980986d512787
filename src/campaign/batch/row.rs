//! One row: what is kept of a case.

use serde::{Deserialize, Serialize};

use crate::sim::outcome::Outcome;

/// How a case ended, as one word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// The whole duration was simulated.
    Completed,
    /// A number was no longer finite.
    Diverged,
    /// The motion left the range in which the model holds.
    OutOfRange,
    /// The law gave up or broke its contract.
    ControllerFailed,
    /// The integrator gave up.
    IntegratorFailed,
    /// Somebody stopped it.
    Stopped,
    /// It could not be set up.
    NotSetUp,
    /// The program failed in it: a defect, please report it.
    ProgramFailed,
}

impl Ending {
    /// Of a run.
    pub fn of(outcome: &Outcome) -> Self {
        match outcome {
            Outcome::Completed => Ending::Completed,
            Outcome::Diverged { .. } => Ending::Diverged,
            Outcome::OutOfRange { .. } => Ending::OutOfRange,
            Outcome::ControllerFailed { .. } => Ending::ControllerFailed,
            Outcome::IntegratorFailed { .. } => Ending::IntegratorFailed,
            Outcome::Stopped { .. } => Ending::Stopped,
        }
    }

    /// In words for tables; as the word in files.
    pub fn words(self) -> &'static str {
        match self {
            Ending::Completed => "completed",
            Ending::Diverged => "diverged",
            Ending::OutOfRange => "out of range",
            Ending::ControllerFailed => "controller failed",
            Ending::IntegratorFailed => "integrator failed",
            Ending::Stopped => "stopped",
            Ending::NotSetUp => "not set up",
            Ending::ProgramFailed => "program failed",
        }
    }
}

/// What is kept of a case. Nothing in it depends on when, where or beside what it ran.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Number of the case.
    pub case: usize,
    /// How it ended.
    pub outcome: Ending,
    /// What was said when it did not complete.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub said: Option<String>,
    /// When it ended early, s from its start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended_s: Option<f64>,
    /// It stayed where the model holds.
    pub in_validity: bool,
    /// What may spoil it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// What was uncertain, in the order of the store's head.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub drawn: Vec<f64>,
    /// The numbers, in the order of the store's head; empty when the run ended before it could be judged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub numbers: Vec<Option<f64>>,
}

impl Row {
    /// Number of column `at`; none where there is none.
    pub fn number(&self, at: usize) -> Option<f64> {
        self.numbers.get(at).copied().flatten()
    }

    /// The same when the run completed: what statistics are made of.
    pub fn completed_number(&self, at: usize) -> Option<f64> {
        (self.outcome == Ending::Completed)
            .then(|| self.number(at))
            .flatten()
    }
}
