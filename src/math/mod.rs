//! Numerics that no crate gives in the form needed.

pub mod eigen;
pub mod expint;
pub mod hash;
pub mod lanes;
pub mod lyapunov;
pub mod ode;
pub mod riccati;
pub mod rng;
pub mod servo;
pub mod spectral;
pub mod stats;
pub mod zoh;
