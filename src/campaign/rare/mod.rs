//! Rare events: probabilities too small to be counted in ordinary campaigns.

pub mod subset;
