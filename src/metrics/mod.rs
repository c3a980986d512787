//! Judgement of records: plain slices and a sample interval in, numbers with intervals out.
//!
//! Nothing here knows a simulator: a measured record is judged by the same code.

pub mod compare;
pub mod criteria;
pub mod effort;
pub mod forecast;
pub mod interruptions;
pub mod motion;
pub mod outcrossing;
pub mod pool;
pub mod ride;
pub mod sickness;
pub mod slices;
pub mod weighting;

pub use compare::Change;
pub use forecast::{ForecastInput, RideForecast, forecast};
pub use ride::{RideInput, RideReport, judge};
