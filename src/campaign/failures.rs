//! The failure matrix: every fault of a list with every law, speed and heading of a scenario, in every sea.
//!
//! ```text
//! row = fault x law x sea x speed x heading
//! linear      stable with the fault? margins left
//! simulated   over seeds: peaks before and after, contacts, time to settle, ride after, time to a limit
//! search      the speed to come down to: linear loop, then slowing down simulated; time to get there against the limit
//! severity    from all, by stated limits; open where intervals leave several classes; rows ranked by it
//! seeds       as many again, twice as many, ... while the class is open, up to the most that the file allows
//! ```
//! The first fault of the list is none at all: what the sound craft does on the same seas.

mod descent;
mod doubt;
pub mod journal;
mod list;
mod looks;
mod measure;
mod place;
mod row;
mod settle;
mod severity;
mod spread;
mod trial;

use serde::Serialize;

pub use descent::{ComeDown, Descent, Known};
pub use doubt::Next;
pub use journal::Journal;
pub use list::{Trouble, troubles};
pub use looks::Looks;
pub use measure::{LimitPassed, Nearest, Peaks, RunMeasure};
pub use row::{Found, Row, Spot};
pub use settle::Settling;
pub use severity::Severity;
pub use spread::{SlowDown, Spread};
pub use trial::SlowRun;

use self::place::{Ladder, Place};
use super::stage::Stage;
use crate::error::Result;
use crate::spec::failures::{FailureLimitsSpec, FailuresSpec};
use crate::spec::load::Loaded;
use crate::spec::sea::SeaSpec;

/// Everything found.
#[derive(Clone, Debug, Serialize)]
pub struct Matrix {
    /// Name of the craft.
    pub craft: String,
    /// Names of the seas.
    pub seas: Vec<String>,
    /// Laws in the scenario's order.
    pub laws: Vec<String>,
    /// Faults in the order of the list; the first is none.
    pub faults: Vec<String>,
    /// Limits used.
    pub limits: FailureLimitsSpec,
    /// Seeds, and after how many of them rows are looked at.
    pub looks: Looks,
    /// Level of every interval: 0.95 for all looks together.
    pub level: f64,
    /// Rows, most severe first.
    pub rows: Vec<Row>,
}

/// The stage in each of these seas.
pub fn in_seas(stage: &Stage, seas: &[Loaded<SeaSpec>]) -> Vec<Stage> {
    let of = |sea: &Loaded<SeaSpec>| {
        let mut out = stage.clone();
        out.sea.clone_from(&sea.spec);
        sea.source.folder().clone_into(&mut out.sea_folder);
        out
    };
    seas.iter().map(of).collect()
}

/// Steps of work that [`matrix`] will tell.
pub fn count(stages: &[Stage], spec: &FailuresSpec) -> usize {
    let of = |stage: &Stage| {
        let s = &stage.scenario;
        troubles(spec, stage).len() * stage.laws.len() * s.speeds_kn.len() * s.headings_deg.len()
    };
    stages.iter().map(of).sum()
}

/// Runs and judges one scenario in several seas; `done` is called after every row, from any thread; rows that the journal
/// has are not run again.
///
/// # Errors
/// A craft without trim; a case that cannot be set up; a journal that cannot be written. Runs that end early are
/// results.
pub fn matrix(
    stages: &[Stage],
    spec: &FailuresSpec,
    looks: &Looks,
    journal: Option<&Journal>,
    done: &(dyn Fn() + Sync),
) -> Result<Matrix> {
    let Some(first) = stages.first() else {
        let told = "there is no sea to try the faults in";
        return Err(crate::error::Error::new(told));
    };
    let troubles = troubles(spec, first);
    let mut rows = Vec::new();
    for (k, speed) in first.speeds.iter().enumerate() {
        let ladder = Ladder::new(first, speed, spec)?;
        for stage in stages {
            let place = Place {
                stage,
                speed: &stage.speeds[k],
                spec,
                looks,
                journal,
                ladder: &ladder,
            };
            rows.extend(place.rows(&troubles, done)?);
        }
    }
    severity::rank(&mut rows, spec.speed_step_kn);
    Ok(Matrix {
        craft: first.model.craft.spec.name.clone(),
        seas: stages.iter().map(|s| s.sea.name.clone()).collect(),
        laws: first.laws.iter().map(|l| l.spec.name.clone()).collect(),
        faults: troubles.into_iter().map(|t| t.name).collect(),
        limits: spec.limits,
        level: looks.level(),
        looks: looks.clone(),
        rows,
    })
}
