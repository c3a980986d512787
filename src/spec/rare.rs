//! The rare-event file, field by field (`ridewright.rare/1`): how likely a craft under a law meets events that
//! ordinary campaigns are too short to count.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scenario::{CourseSpec, PhysicsSpec};

/// Rare events of one craft, law, sea, speed and heading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RareSpec {
    /// Always `ridewright.rare/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers.
    #[serde(default)]
    pub note: String,
    /// Craft file, relative to this file.
    #[schemars(length(min = 1))]
    pub craft: String,
    /// Sea file, relative to this file.
    #[schemars(length(min = 1))]
    pub sea: String,
    /// Controller file, relative to this file.
    #[schemars(length(min = 1))]
    pub law: String,
    /// Fault file, relative to this file: what breaks in every run.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub fault: Option<String>,
    /// Speed, kn.
    #[schemars(range(min = 0.0, max = 80.0))]
    pub speed_kn: f64,
    /// Wave heading mu (where waves travel to, 180 head seas), deg.
    #[schemars(range(min = 0.0, max = 360.0))]
    pub heading_deg: f64,
    /// Events, each searched for by itself.
    #[schemars(length(min = 1, max = 20))]
    pub events: Vec<RareEventSpec>,
    /// Seed of everything random: the same seed gives the same result.
    #[serde(default = "one")]
    #[schemars(range(min = 0, max = 4_294_967_295_u64))]
    pub seed: u64,
    /// How the events are searched for.
    #[serde(default)]
    pub search: SearchSpec,
    /// Plain runs beside the search, to compare with; 0 for none.
    #[serde(default)]
    #[schemars(range(min = 0, max = 10_000_000))]
    pub plain_runs: usize,
    /// Length of the judged record, in which the event happens at least once or not, s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub duration_s: f64,
    /// Run-in before it, s. Events in it do not count, but a run that leaves the model's range there does.
    #[serde(default = "run_in")]
    pub run_in_s: f64,
    /// Integration step, s.
    #[serde(default = "step")]
    #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0))]
    pub step_s: f64,
    /// Interval at which motions are looked at, s.
    #[serde(default = "record")]
    #[schemars(range(max = 60.0), extend("exclusiveMinimum" = 0.0))]
    pub record_s: f64,
    /// How heading and speed are kept.
    #[serde(default)]
    pub course: CourseSpec,
    /// Switches of the physics.
    #[serde(default)]
    pub physics: PhysicsSpec,
}

/// An event. A run that ends early because a motion left the range in which the model holds counts as any of
/// them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum RareEventSpec {
    /// The underside of the cross-structure meets the water.
    CrossStructureContact {
        /// Depth that counts, m.
        #[serde(default)]
        #[schemars(range(min = 0.0, max = 20.0))]
        deeper_than_m: f64,
    },
    /// Roll off the upright.
    Roll {
        /// Angle to either side that counts, deg.
        #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
        beyond_deg: f64,
    },
    /// Pitch off trim.
    Pitch {
        /// Angle up or down that counts, deg.
        #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
        beyond_deg: f64,
    },
    /// Heave of O off trim.
    Heave {
        /// Rise or fall that counts, m.
        #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
        beyond_m: f64,
    },
    /// Vertical acceleration at a point.
    VerticalAcceleration {
        /// Point of the craft file.
        #[schemars(length(min = 1))]
        point: String,
        /// Acceleration up or down that counts, m/s2.
        #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
        beyond_m_s2: f64,
    },
    /// Heave, roll or pitch leaves the range in which the model holds: the law has lost the craft.
    LossOfControl {},
}

/// How events are searched for: subset simulation. A pilot fixes the levels, the repetitions count.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SearchSpec {
    /// Runs a level.
    #[schemars(range(min = 20, max = 1_000_000))]
    pub runs_per_level: usize,
    /// One in how many runs of the pilot reaches the next level; the length of a chain.
    #[schemars(range(min = 2, max = 100))]
    pub one_in: usize,
    /// Levels at most: with one run in ten, five levels reach down to a probability of about 1e-5.
    #[schemars(range(min = 1, max = 30))]
    pub levels: usize,
    /// Repetitions, from whose scatter intervals are told.
    #[schemars(range(min = 4, max = 1000))]
    pub repetitions: usize,
}

impl Default for SearchSpec {
    fn default() -> Self {
        SearchSpec {
            runs_per_level: 500,
            one_in: 10,
            levels: 6,
            repetitions: 10,
        }
    }
}

fn one() -> u64 {
    1
}

fn run_in() -> f64 {
    30.0
}

fn step() -> f64 {
    0.05
}

fn record() -> f64 {
    0.1
}
