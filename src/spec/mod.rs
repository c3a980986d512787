//! What the files say, and nothing more.
//!
//! Kinds of file, each JSON with a `format` key that names kind and version: [`craft`], [`sea`],
//! [`controller`], [`criteria`], [`fault`], [`scatter`], [`scenario`], [`tuning`], [`campaign`],
//! [`failures`], [`rare`]. [`load`] reads them and tells every fault at
//! once with its place; [`validate`] holds the checks that need more than one key; the allowed
//! range of a single number stands beside its field and goes into the JSON Schemas of [`schema`].

pub mod campaign;
pub mod controller;
pub mod craft;
pub mod criteria;
mod equipment;
pub mod failures;
pub mod fault;
pub mod fields;
mod hint;
#[cfg(test)]
mod hostile_tests;
pub mod key_path;
pub mod load;
pub mod orders;
pub mod outline;
pub mod rare;
pub mod resolve;
pub mod scatter;
pub mod scenario;
pub mod schema;
pub mod sea;
mod shape;
pub mod source;
pub mod suffix;
mod syntax;
pub mod tuning;
pub mod validate;

pub use hint::{closest, number};
pub use source::{Source, locate};
