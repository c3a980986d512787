//! Waves, wind and current.

pub mod kinematics;
pub mod realisation;
pub mod spectrum;
pub mod spreading;
pub mod wind;
