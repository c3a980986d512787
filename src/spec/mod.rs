//! What the files say, and nothing more.

pub mod controller;
pub mod craft;
pub mod criteria;
pub mod fault;
pub mod load;
pub mod scenario;
pub mod schema;
pub mod sea;
pub mod validate;
