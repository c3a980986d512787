//! Pictures of results: plain data in, [`chart::Figure`]s out.
//!
//! Nothing here computes physics, starts a run or reads a file; [`chart::Figure::write`] writes
//! PNG and SVG.

pub mod bars;
pub mod chart;
pub mod comparison;
pub mod craft_views;
pub mod curves;
