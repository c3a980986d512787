//! Many cases: a scenario's laws, speeds, headings and seeds, run and judged side by side.
//!
//! ```text
//! scenario -> stage (craft model, plants and trim per speed, laws) -> cases -> runs (threads)
//!          -> ride reports -> pooled over seeds -> beside the baseline
//! ```
//! The only room with threads beside the tables of `hydro`. Results stand in the order of the
//! scenario and do not depend on the number of threads.

pub mod agreement;
pub mod batch;
pub mod compare;
pub mod criteria;
pub mod design;
pub mod detection;
pub mod failures;
pub mod judge;
pub mod lines;
pub mod operability;
pub mod prediction;
pub mod rare;
pub mod signs;
pub mod stage;

use rayon::prelude::*;

use crate::error::Result;

/// All results in the order of the jobs, or the first error in that order: the same for any number of threads.
fn in_order<T: Send>(jobs: impl ParallelIterator<Item = Result<T>>) -> Result<Vec<T>> {
    jobs.collect::<Vec<Result<T>>>().into_iter().collect()
}
