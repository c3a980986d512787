//! From weights and models to laws. The only room that sees both the linear model and the laws.

pub mod between;
pub mod craft;
mod law;
pub mod lqr;
pub mod model;
pub mod sea;

pub use law::{law, prepare, solve};
