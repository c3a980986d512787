//! Simulation of one case.

pub mod case;
pub mod checks;
pub mod lanes;
pub mod outcome;
pub mod record;
pub mod run;
pub mod waves;
