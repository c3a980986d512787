//! Rare events: probabilities too small to be counted in ordinary campaigns.
//!
//! ```text
//! rare file -> event (craft, trim, law, sea as standard normals) -> response of a run
//!           -> subset (levels of conditional chains, repeated)   -> study (beside plain runs) -> curves
//! ```
//! Every response goes into a journal before it is used, so a stop loses nothing: the method is run again
//! from its streams and meets the responses that are there already.

pub mod subset;
