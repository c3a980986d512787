//! The craft's shape and weight, built once from the craft file.

pub mod contour;
pub mod craft;
pub mod hull;
pub mod hydrostatics;
pub mod mass;
pub mod restoring;
pub mod strut;
