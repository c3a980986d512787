//! Rare events: probabilities too small to be counted in ordinary campaigns.
//!
//! ```text
//! rare-event file -> study (craft, trim, law, the sea as standard normals) -> a run -> event (its response)
//!                 -> subset (levels of conditional chains, repeated) -> told (beside plain runs, curves)
//! ```
//! Every response goes into a [`journal`] before it is used, so a stop loses nothing: the method goes its way
//! again from its streams and meets the responses that are there already.

pub mod event;
pub mod journal;
pub mod study;
pub mod subset;
pub mod told;
