//! Judgement of records.

pub mod criteria;
pub mod effort;
pub mod interruptions;
pub mod motion;
pub mod ride;
pub mod sickness;
pub mod weighting;
