//! Gains by search: parameters, objective, search, front, confirmation.
//!
//! ```text
//! tuning file -> space of free parameters -> judge (craft and law in one circle, no simulation)
//!             -> global draws -> evolution -> pattern search -> front -> confirmation by simulation
//! ```
//! The search knows nothing of craft: it asks a [`Judge`] and ranks [`Score`]s. Everything that was
//! judged goes through a [`store::Journal`], so that a search that was stopped goes on where it was.
//! Results do not depend on the number of threads.

pub mod cma;
pub mod compass;
pub mod confirm;
pub mod front;
pub mod judge;
pub mod layout;
pub mod least;
pub mod loadings;
pub mod objective;
pub mod rig;
pub mod score;
pub mod search;
pub mod space;
pub mod store;
pub mod sweep;
pub mod tune;

pub use score::{Judge, Score};
