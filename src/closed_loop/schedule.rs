//! A law over its whole range of speeds: frozen on a grid, ramped through, and in a steady turn.
//!
//! Stability at every speed says nothing of the way from one to the other, nor of a craft that heels in a
//! turn; so all three are looked at. [`mod@frozen`] judges the linear loop speed by speed, [`mod@surge`] says how fast
//! the craft can change its speed, [`mod@ramp`] drives the nonlinear simulator up and back at that rate, [`mod@turn`]
//! holds the rudders over and linearises about what comes of it.

pub mod frozen;
pub mod ramp;
pub mod surge;
pub mod turn;
mod watch;

pub use frozen::{FrozenPoint, WorstAt, crafts, frozen, grid};
pub use watch::{Course, Window};
