//! Pictures and tables of results.

pub mod bars;
pub mod chart;
pub mod craft_views;
pub mod curves;
