//! From weights and models to laws.

pub mod lqr;
