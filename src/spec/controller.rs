//! The controller file, field by field (`ridewright.controller/1`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

mod lqr;
mod modes;
mod monitor;
mod pid;
mod provenance;
mod schedule;

pub use lqr::{LqrAcceptable, LqrAcceptablePoint, LqrSea, LqrSpec};
pub use modes::{CalibrationSpec, ModeSpec, ModesSpec, SpeedWatchSpec, TripMode, TripsSpec};
pub use monitor::{AdviceSpec, MonitorSpec};
pub use pid::{
    AngleGains, FeedForwardSpec, FilterKind, FilterSpec, FilteredMode, FollowingMode,
    FollowingSpec, HeaveGains, PidSpec, PrioritySpec, SetPointSpec,
};
pub use provenance::ProvenanceSpec;
pub use schedule::{LoadingSchedule, ScheduleRow, gain_in_row};

/// A control law as data.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ControllerSpec {
    /// Always `ridewright.controller/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers; where they come from.
    #[serde(default)]
    pub note: String,
    /// Names of the surfaces the law drives; all movable forward and aft surfaces when empty.
    #[serde(default)]
    pub channels: Vec<String>,
    /// The law.
    pub law: LawSpec,
    /// Where the numbers come from, when a program wrote the file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<ProvenanceSpec>,
    /// Modes, trips and speed watch around the law; a law without them is always engaged.
    #[serde(default)]
    pub modes: Option<ModesSpec>,
    /// A monitor around law, modes and calibration; nothing is watched without it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub monitor: Option<MonitorSpec>,
    /// From fin angles to servo angles; as they are for surfaces that are not listed.
    #[serde(default)]
    pub calibration: Vec<CalibrationSpec>,
}

impl ControllerSpec {
    /// True for a law whose gains go with the displacement it is told.
    pub fn follows_loading(&self) -> bool {
        matches!(&self.law, LawSpec::Pid(p) if !p.loadings.is_empty())
    }
}

/// The law.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
#[allow(clippy::large_enum_variant)] // one of it per file
pub enum LawSpec {
    /// Every surface held at its trim angle: the baseline of every comparison.
    Fixed {},
    /// Modal PID with allocation to the surfaces.
    Pid(PidSpec),
    /// Linear-quadratic state feedback with an observer.
    Lqr(LqrSpec),
    /// A program that talks JSON Lines over its standard streams.
    External(ExternalSpec),
}

/// A program of the user's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ExternalSpec {
    /// Program and arguments; a relative path is taken from the controller file's folder.
    #[schemars(length(min = 1))]
    pub command: Vec<String>,
    /// Time within which an answer must come, s of real time.
    #[serde(default = "reply")]
    #[schemars(range(max = 60.0), extend("exclusiveMinimum" = 0.0))]
    pub reply_within_s: f64,
    /// Free parameters handed to the program on reset.
    #[serde(default)]
    pub parameters: std::collections::BTreeMap<String, f64>,
}

fn reply() -> f64 {
    0.5
}
