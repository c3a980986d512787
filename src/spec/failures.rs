//! The failures file, field by field (`ridewright.failures/1`): which faults of a craft to try one by one, and the
//! limits that tell how severe each is.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fault::{BreakageSpec, SensorFailureSpec, StopSpec, SurfaceFailureSpec};

/// A matrix of failures: every fault with every law, speed and heading of a scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FailuresSpec {
    /// Always `ridewright.failures/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these faults and limits.
    #[serde(default)]
    pub note: String,
    /// Scenario file, relative to this file: craft, sea, laws, speeds, headings, seeds, durations; nothing may break in it.
    #[schemars(length(min = 1))]
    pub scenario: String,
    /// When the fault starts: a random second between these two, counted from the start of the run, run-in
    /// included; drawn for each seed, alike for all faults and laws. Leave minutes after it: time to slow down, 30 s for
    /// the transient there, and a stretch to judge.
    pub breaks_within_s: [f64; 2],
    /// How every moving surface fails, one at a time; jammed where it is, at either stop, trailing, lost when absent.
    #[serde(default = "surface_failures")]
    pub surfaces: Vec<SurfaceFailureSpec>,
    /// How every sensor fails, one at a time; frozen when absent.
    #[serde(default = "sensor_failures")]
    pub sensors: Vec<SensorFailureSpec>,
    /// Each hydraulic supply is lost, one at a time.
    #[serde(default = "yes")]
    pub supplies: bool,
    /// Pairs and other faults at once, each a row of its own.
    #[serde(default)]
    pub together: Vec<TogetherSpec>,
    /// Limits that tell how severe a fault is.
    #[serde(default)]
    pub limits: FailureLimitsSpec,
    /// Least speed looked at in the search of the speed to come down to, kn.
    #[serde(default = "least_speed")]
    #[schemars(range(min = 1.0, max = 80.0))]
    pub least_speed_kn: f64,
    /// Step of that search, kn.
    #[serde(default = "speed_step")]
    #[schemars(range(min = 0.1, max = 10.0))]
    pub speed_step_kn: f64,
    /// Time from the fault to the order to slow down, s.
    #[serde(default = "reaction")]
    #[schemars(range(min = 0.0, max = 600.0))]
    pub reaction_s: f64,
}

/// Faults that start together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TogetherSpec {
    /// Name of the row.
    #[schemars(length(min = 1))]
    pub name: String,
    /// What breaks.
    #[schemars(length(min = 1, max = 100))]
    pub faults: Vec<BreakageSpec>,
}

/// Limits of one row. The program's own values are common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct FailureLimitsSpec {
    /// Largest roll at any instant, either way, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub roll_deg: f64,
    /// Largest pitch at any instant, either way, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub pitch_deg: f64,
    /// Largest vertical acceleration at any named point at any instant, m/s2.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub vertical_m_s2: f64,
    /// Largest roll RMS of the loop with the fault, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub roll_rms_deg: f64,
    /// Largest pitch RMS of the loop with the fault, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub pitch_rms_deg: f64,
    /// Largest vertical acceleration RMS at any named point, m/s2.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub vertical_rms_m_s2: f64,
    /// Most contacts of the cross-structure with the fault, an hour.
    #[schemars(range(min = 0.0, max = 10000.0))]
    pub contacts_per_h: f64,
    /// Least disk margin of all fins that are left.
    #[schemars(range(min = 0.0, max = 2.0))]
    pub disk_margin: f64,
    /// Growth of an RMS against the sound craft from which the ride counts as worse.
    pub worse_frac: f64,
}

impl Default for FailureLimitsSpec {
    fn default() -> Self {
        FailureLimitsSpec {
            roll_deg: 12.0,
            pitch_deg: 8.0,
            vertical_m_s2: 5.0,
            roll_rms_deg: 4.0,
            pitch_rms_deg: 3.0,
            vertical_rms_m_s2: 1.5,
            contacts_per_h: 20.0,
            disk_margin: 0.3,
            worse_frac: 0.1,
        }
    }
}

fn surface_failures() -> Vec<SurfaceFailureSpec> {
    vec![
        SurfaceFailureSpec::Jammed {},
        SurfaceFailureSpec::HardOver {
            stop: StopSpec::Max,
        },
        SurfaceFailureSpec::HardOver {
            stop: StopSpec::Min,
        },
        SurfaceFailureSpec::Trailing {},
        SurfaceFailureSpec::Lost {},
    ]
}

fn sensor_failures() -> Vec<SensorFailureSpec> {
    vec![SensorFailureSpec::Frozen {}]
}

fn yes() -> bool {
    true
}

fn least_speed() -> f64 {
    5.0
}

fn speed_step() -> f64 {
    1.0
}

fn reaction() -> f64 {
    10.0
}
