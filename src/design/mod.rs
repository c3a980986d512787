//! From weights and models to laws. The only room that sees both the linear model and the laws.

pub mod craft;
mod law;
pub mod lqr;
pub mod model;

pub use law::{law, solve};
