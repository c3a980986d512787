//! Simulation of one case: sea, craft, sensors and law in time.
//!
//! ```text
//! each step   k1 of the craft at t  ->  (sample)  truth, sensors, course hold, law, delayed commands
//!             ->  (record)  ->  waves at t + h/2 and t + h  ->  the step  ->  checks
//! ```
//! A [`case::Case`] holds everything resolved; [`run::run`] is pure and single-threaded: same case,
//! same law, same bytes.

pub mod bake;
pub mod case;
pub mod checks;
mod columns;
pub mod contact;
pub mod craft;
pub mod faults;
mod held;
pub mod observer;
pub mod orders;
pub mod outcome;
mod plant;
pub mod ramp;
pub mod record;
pub mod run;
mod sensing;
pub mod setup;
#[cfg(test)]
pub(crate) mod toy;
pub mod truth;
pub mod waves;
pub mod wind;
