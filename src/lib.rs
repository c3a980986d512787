//! Motion control of small-waterplane-area twin-hull craft, from a craft file to a judged ride.
//!
//! The rooms stand on floors; a room uses rooms on lower floors only (see `DEVELOPERS.md`):
//! ground ([`frames`], [`units`], [`error`], [`caution`], [`math`]), paper ([`spec`]), craft and sea
//! ([`geometry`], [`sea`]), water forces ([`hydro`]), motion ([`dynamics`]), linear model
//! ([`linear`]), control ([`control`], [`design`]), simulation ([`sim`]), judgement
//! ([`metrics`]), pictures ([`report`]), door ([`cli`]).
//!
//! Axes, origins and signs are stated once, in [`frames`].

pub mod campaign;
pub mod caution;
pub mod cli;
pub mod control;
pub mod design;
pub mod dynamics;
pub mod error;
pub mod frames;
pub mod geometry;
pub mod hydro;
pub mod linear;
pub mod math;
pub mod metrics;
pub mod report;
pub mod sea;
pub mod sim;
pub mod spec;
pub mod units;
