//! The failures file, field by field (`ridewright.failures/1`): which faults of a craft to try one by one, and the
//! limits that tell how severe each is.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fault::{BreakageSpec, LostReadingSpec, StopSpec, SurfaceFailureSpec};

/// A matrix of failures: every fault with every law, speed and heading of a scenario, in every sea.
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
    /// Sea files, relative to this file, each of them met by every fault; the scenario's own sea when there are none.
    #[serde(default)]
    #[schemars(length(max = 100))]
    pub seas: Vec<String>,
    /// A row whose class the scenario's seeds leave open goes on with more; with those alone when absent.
    #[serde(default)]
    pub until_decided: Option<UntilDecidedSpec>,
    /// When the fault starts: a random second between these two, counted from the start of the run, run-in
    /// included; drawn for each seed, alike for all faults and laws. Leave minutes after it: time to slow down, 30 s for
    /// the transient there, and a stretch to judge.
    pub breaks_within_s: [f64; 2],
    /// How every moving surface fails, one at a time. When absent: jammed where it is and at 10 and -10 deg, at either
    /// stop, trailing, at a quarter of its rate, oscillating 5 deg at 0.5 Hz, backlash 2 deg, lost. An angle beyond a
    /// surface's stops is taken at the stop.
    #[serde(default = "surface_failures")]
    pub surfaces: Vec<SurfaceFailureSpec>,
    /// How every sensor fails, one at a time. When absent: bias, drift, frozen, dropped out, noisy, scaled by 0.5, 0.5 s
    /// late, sign swapped.
    #[serde(default = "sensor_failures")]
    pub sensors: Vec<SensorTrialSpec>,
    /// Sizes of bias, drift and noise, each kind of sensor with its own.
    #[serde(default)]
    pub sensor_sizes: SensorSizesSpec,
    /// The measured angle of every moving surface counts among the sensors.
    #[serde(default = "yes")]
    pub surface_angle_sensors: bool,
    /// How every hydraulic supply fails, one at a time, and all of them at once; lost and weak when absent.
    #[serde(default = "supply_failures")]
    pub supplies: Vec<SupplyTrialSpec>,
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

/// When a row has seeds enough.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct UntilDecidedSpec {
    /// Seeds at most: looks are taken after the scenario's seeds, twice as many, four times as many and so on, the last at
    /// this number; all intervals are widened for the looks. Seeds beyond the scenario's are the numbers after its greatest.
    #[schemars(range(min = 1, max = 10_000))]
    pub most: u32,
}

/// How a sensor fails in a matrix; bias, drift and noise have the size that `sensor_sizes` gives its kind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SensorTrialSpec {
    /// Reads too much by a constant.
    Bias {},
    /// Reads more and more, from zero at the start.
    Drift {},
    /// Repeats its last reading, and says nothing about it.
    Frozen {},
    /// Loses samples.
    DroppedOut {
        /// Share of the samples that are lost, at random.
        #[serde(default = "one")]
        lost_frac: f64,
        /// What a lost sample reads.
        #[serde(default)]
        reads: LostReadingSpec,
        /// The sensor tells that the sample is not valid.
        #[serde(default = "yes")]
        is_flagged: bool,
    },
    /// White noise beyond its own.
    Noisy {},
    /// Reads a multiple of what it should.
    Scaled {
        /// The factor.
        #[schemars(range(min = -100.0, max = 100.0))]
        scale: f64,
    },
    /// Reads late, beyond its own delay.
    Late {
        /// How much, rounded to whole samples, s.
        #[schemars(range(min = 0.0, max = 60.0))]
        delay_s: f64,
    },
    /// Reads with its sign swapped.
    Reversed {},
}

/// Sizes of what a kind of sensor can read wrong, in its unit. The program's own are of the size that units of common
/// make show when they fail in part: common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SensorSizeSpec {
    /// Constant error, in the unit of the sensor.
    #[schemars(range(min = -1000.0, max = 1000.0))]
    pub bias: f64,
    /// Growth of the error per minute, in the unit of the sensor.
    #[schemars(range(min = -1000.0, max = 1000.0))]
    pub drift_per_min: f64,
    /// Standard deviation of a sample, in the unit of the sensor.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub noise: f64,
}

/// The sizes for each kind of sensor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SensorSizesSpec {
    /// Rates of roll, pitch and yaw: deg/s.
    pub rate: SensorSizeSpec,
    /// Roll and pitch: deg.
    pub attitude: SensorSizeSpec,
    /// Accelerations: m/s2.
    pub acceleration: SensorSizeSpec,
    /// Speed: kn.
    pub speed: SensorSizeSpec,
    /// Heading: deg.
    pub heading: SensorSizeSpec,
    /// Heights: m.
    pub height: SensorSizeSpec,
    /// Measured angles of surfaces: deg.
    pub surface_angle: SensorSizeSpec,
}

impl Default for SensorSizesSpec {
    fn default() -> Self {
        let of = |bias, drift_per_min, noise| SensorSizeSpec {
            bias,
            drift_per_min,
            noise,
        };
        SensorSizesSpec {
            rate: of(2.0, 1.0, 2.0),
            attitude: of(3.0, 1.0, 1.0),
            acceleration: of(0.5, 0.3, 0.5),
            speed: of(3.0, 1.0, 1.0),
            heading: of(5.0, 2.0, 2.0),
            height: of(0.5, 0.3, 0.2),
            surface_angle: of(5.0, 2.0, 1.0),
        }
    }
}

/// How a hydraulic supply fails in a matrix.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SupplyTrialSpec {
    /// Gone: its servos stay where they are.
    Lost {},
    /// A part of its flow is left.
    Weak {
        /// The part.
        left_frac: f64,
    },
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
        SurfaceFailureSpec::JammedAt { angle_deg: 10.0 },
        SurfaceFailureSpec::JammedAt { angle_deg: -10.0 },
        SurfaceFailureSpec::HardOver {
            stop: StopSpec::Max,
        },
        SurfaceFailureSpec::HardOver {
            stop: StopSpec::Min,
        },
        SurfaceFailureSpec::Trailing {},
        SurfaceFailureSpec::Slow { rate_frac: 0.25 },
        SurfaceFailureSpec::Oscillating {
            amplitude_deg: 5.0,
            frequency_hz: 0.5,
        },
        SurfaceFailureSpec::Backlash { backlash_deg: 2.0 },
        SurfaceFailureSpec::Lost {},
    ]
}

fn sensor_failures() -> Vec<SensorTrialSpec> {
    vec![
        SensorTrialSpec::Bias {},
        SensorTrialSpec::Drift {},
        SensorTrialSpec::Frozen {},
        SensorTrialSpec::DroppedOut {
            lost_frac: 1.0,
            reads: LostReadingSpec::Last,
            is_flagged: true,
        },
        SensorTrialSpec::Noisy {},
        SensorTrialSpec::Scaled { scale: 0.5 },
        SensorTrialSpec::Late { delay_s: 0.5 },
        SensorTrialSpec::Reversed {},
    ]
}

fn supply_failures() -> Vec<SupplyTrialSpec> {
    vec![
        SupplyTrialSpec::Lost {},
        SupplyTrialSpec::Weak { left_frac: 0.3 },
    ]
}

fn one() -> f64 {
    1.0
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
