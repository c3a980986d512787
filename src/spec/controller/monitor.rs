//! The monitor of a controller file: what it may cost in false alarms, and what it does about a fault.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A monitor around the law: finds surfaces and sensors that fail, and works around them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct MonitorSpec {
    /// False alarms an hour that the thresholds are set for, all tests together, under Gaussian noise
    /// of the size the craft file states; what comes of it in waves is measured by
    /// `ridewright detection`.
    #[schemars(range(min = 1e-6, max = 1.0))]
    pub false_alarms_per_h: f64,
    /// Time for which a surface is watched after its alarm before its fault is named, s.
    #[schemars(range(min = 0.5, max = 30.0))]
    pub decide_s: f64,
    /// Time over which the command of a failed surface goes to the angle it stands at, and its load to the others, s.
    #[schemars(range(max = 60.0), extend("exclusiveMinimum" = 0.0))]
    pub fade_s: f64,
    /// It works around what it finds: the steady load of a surface that stands off its trim is carried by the others, a
    /// lost sensor is replaced by what remains. Otherwise it only tells. What it buys: `ridewright detection`.
    pub recovers: bool,
    /// With fewer lifting surfaces than this left, or neither attitude nor rates, all surfaces go to trim.
    #[schemars(range(min = 1, max = 12))]
    pub least_surfaces: u32,
    /// Speeds to come down to, told to a human; the lowest of the rows that hold.
    pub advice: Vec<AdviceSpec>,
}

/// A speed to come down to after losses.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AdviceSpec {
    /// Holds when at least this many forward surfaces are lost.
    #[serde(default)]
    #[schemars(range(max = 12))]
    pub forward_lost: u32,
    /// And at least this many aft surfaces.
    #[serde(default)]
    #[schemars(range(max = 12))]
    pub aft_lost: u32,
    /// The speed, kn.
    pub slow_to_kn: f64,
}

impl Default for MonitorSpec {
    fn default() -> Self {
        MonitorSpec {
            false_alarms_per_h: 1e-3,
            decide_s: 1.5,
            fade_s: 1.0,
            recovers: false,
            least_surfaces: 2,
            advice: Vec::new(),
        }
    }
}
