//! Campaigns: thousands of cases on all cores, kept on disk, told with intervals.
//!
//! ```text
//! campaign file -> rig (models, trims, laws, draws)        grid: number of every case
//!               -> execute (threads, stopping rule) -> store (one line a case, safe against a kill)
//!               -> merge (shards) -> summary (over draws, paired between laws) -> export (CSV, Parquet)
//! ```
//! Nothing that a row holds depends on threads, order, stops or shards.

pub mod columns;
pub mod draw;
pub mod execute;
pub mod export;
pub mod extremes;
pub mod grid;
pub mod head;
pub mod inputs;
pub mod means;
pub mod merge;
pub mod rig;
pub mod row;
pub mod stop;
pub mod store;
pub mod summary;
