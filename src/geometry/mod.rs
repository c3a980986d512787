//! The craft's shape and weight, built once from the craft file.
//!
//! [`craft::Craft::build`] turns a file's craft into hulls, struts, hydrostatics and mass;
//! [`contour`] cuts sections for the sectional flow, and [`restoring`]
//! carries the hydrostatics beyond the linear range.

pub mod balance;
pub mod contour;
pub mod craft;
mod craft_checks;
pub mod curves;
pub mod hull;
pub mod hydrostatics;
pub mod integrate;
pub mod mass;
pub mod outline;
pub mod restoring;
mod restoring_tables;
pub mod strut;

#[cfg(test)]
pub(crate) mod tests;
