//! Waves, wind and current.
//!
//! A sea file names spectra and directions; [`realise`] turns it into wave components
//!
//! ```text
//! zeta(x, y, t) = sum_i a_i cos(omega_e,i t - k_i (x cos mu_i + y sin mu_i) + phase_i)
//! ```
//!
//! in axes that move with the craft's mean speed and course ([`crate::frames`]).

pub mod encounter;
pub mod kinematics;
pub mod realisation;
pub mod spacing;
pub mod spectrum;
pub mod spreading;
pub mod states;
pub mod wind;

pub use realisation::{Component, Focus, Realisation, realise, realise_focused};
pub use spacing::SpacingAdvice;
pub use spectrum::Spectrum;
