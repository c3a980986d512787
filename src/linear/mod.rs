//! The linear model.

pub mod assemble;
pub mod modes;
pub mod regular_wave;
pub mod resolvent;
pub mod response;
pub mod stability;
pub mod trim;
