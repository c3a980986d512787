//! Craft and law in one circle, about trim: spectra and ride, margins, bounds.

pub mod at_sea;
pub mod at_speed;
pub mod bound;
pub mod contour;
pub mod craft;
mod dense;
pub mod encounter;
pub mod evaluate;
pub mod fast_law;
pub mod faulted;
mod hessenberg;
pub mod keeper;
pub mod limits;
pub mod margins;
pub mod output;
mod pass;
pub mod play;
pub mod poles;
pub mod reading;
pub mod responses;
pub mod ride;
pub mod sampled;
pub mod schedule;
mod second_order;
mod settle;
mod torque;
pub mod trust;
pub mod uncertainty;

pub use at_sea::{AtSea, DragModel};
pub use at_speed::AtSpeed;
pub use contour::LawInLoop;
pub use craft::LoopCraft;
pub use encounter::{Fineness, WeightedWave};
pub use evaluate::{Evaluation, Options};
pub use output::Output;
pub use poles::poles;
pub use sampled::SampledCraft;

#[cfg(test)]
pub(crate) mod tests;
