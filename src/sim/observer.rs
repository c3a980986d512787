//! Watching a run: the library itself never prints.

use std::ops::ControlFlow;

use super::truth::Truth;

/// What an observer sees.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    /// Index of the step.
    pub step: u64,
    /// Steps of the whole run.
    pub steps: u64,
    /// The true motion.
    pub truth: &'a Truth,
    /// The state.
    pub state: &'a [f64],
    /// Commands in force, rad.
    pub command_rad: &'a [f64],
}

/// Progress line, live plot or test probe.
pub trait Observer {
    /// Every how many steps [`Observer::see`] is called; at least 1.
    fn every_n(&self) -> u64 {
        1
    }

    /// Called before the step; `Break` stops the run.
    fn see(&mut self, view: &View) -> ControlFlow<()>;
}
