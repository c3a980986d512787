//! The fault file, field by field (`ridewright.fault/1`): what breaks on the craft, and when.
//!
//! A file is a timeline of events; an event is a start, how long it lasts, and a fault. Any number
//! may overlap.
//!
//! # When two act at once
//! - A surface's place (jammed, jammed at an angle, hard over, trailing, oscillating): the one that
//!   started last wins; when it ends, the one before it that still lasts takes over. At one instant
//!   the later in the list counts as the later start.
//! - `lost` goes with any of them: the servo may jam, the blade is gone.
//! - Rates of one surface multiply (slow, supply); the widest backlash counts.
//! - One sensor: delay, then scale and swapped sign (they multiply), then bias and drift (they
//!   add), then noise (variances add); frozen wins over those, dropped out over frozen.
//! - Controller: stopped wins over skipped samples; delays add. Shafts: shares multiply. Weights
//!   and water add.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A fault file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaultSpec {
    /// Always `ridewright.fault/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// What breaks and why it is worth a run.
    #[serde(default)]
    pub note: String,
    /// What breaks when; in any order, overlapping at will.
    #[schemars(length(min = 1, max = 1000))]
    pub events: Vec<FaultEventSpec>,
}

/// A fault and its time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaultEventSpec {
    /// When it starts.
    pub start: StartSpec,
    /// How long it lasts, s; to the end of the run when absent.
    #[serde(default)]
    #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0.0))]
    pub lasts_s: Option<f64>,
    /// What breaks.
    pub fault: BreakageSpec,
}

/// When a fault starts; times count from the start of the run, run-in included, and take effect at
/// the first integration step at or after them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum StartSpec {
    /// At this second.
    AtS(f64),
    /// At a random second between these two, drawn anew for every seed, so that the phase of the
    /// sea is sampled; alike for all laws of one seed.
    WithinS([f64; 2]),
}

/// What breaks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum BreakageSpec {
    /// A surface or its servo.
    Surface {
        /// Name of the surface in the craft file; it must turn.
        #[schemars(length(min = 1))]
        name: String,
        /// How it fails.
        failure: SurfaceFailureSpec,
    },
    /// A hydraulic supply; a servo without any stays where it is (locked by its valves).
    Supply {
        /// Name of the supply in the craft file; every servo of the craft when absent.
        #[serde(default)]
        name: Option<String>,
        /// Share of its flow that is left; 0 is lost.
        #[serde(default)]
        left_frac: f64,
    },
    /// A sensor, as the law and the keepers of course and speed read it.
    Sensor {
        /// Which.
        name: SensorNameSpec,
        /// How it fails.
        failure: SensorFailureSpec,
    },
    /// The controller that runs the law; the keepers of course and speed go on.
    Controller(ControllerFailureSpec),
    /// A shaft trips: the thrust asked of it is cut; what its propeller drags is left out.
    Shaft {
        /// Name of the propulsor in the craft file.
        #[schemars(length(min = 1))]
        name: String,
        /// Share of the thrust asked that is left; 0 is tripped.
        #[serde(default)]
        left_frac: f64,
    },
    /// A weight goes from one place to another at once; the craft is not trimmed anew.
    WeightShift {
        /// The weight, kg.
        #[schemars(range(max = 1e7), extend("exclusiveMinimum" = 0.0))]
        mass_kg: f64,
        /// Where it was.
        from: PlaceSpec,
        /// Where it is now.
        to: PlaceSpec,
    },
    /// A compartment takes in water, with a free surface while it is not full; weight and free
    /// surface act, its inertia is left out; the craft is not trimmed anew.
    Flooded(FloodedSpec),
}

/// How a surface fails.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SurfaceFailureSpec {
    /// Stays where it is.
    Jammed {},
    /// Runs to an angle at its full rate and stays there.
    JammedAt {
        /// The angle, within its stops, deg.
        #[schemars(range(min = -90.0, max = 90.0))]
        angle_deg: f64,
    },
    /// Runs to a stop at its full rate and stays there.
    HardOver {
        /// Which stop.
        stop: StopSpec,
    },
    /// Trails freely: floats where the water's hinge moment is zero, or at the stop it is driven to.
    Trailing {},
    /// Its rate is limited to a share of the greatest.
    Slow {
        /// The share.
        rate_frac: f64,
    },
    /// Swings about where it was, as far as rate and stops allow.
    Oscillating {
        /// Amplitude, deg.
        #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
        amplitude_deg: f64,
        /// Frequency, Hz.
        #[schemars(range(max = 10.0), extend("exclusiveMinimum" = 0.0))]
        frequency_hz: f64,
    },
    /// Its backlash has grown.
    Backlash {
        /// Backlash now, full width, deg.
        #[schemars(range(min = 0.0, max = 45.0))]
        backlash_deg: f64,
    },
    /// The blade is gone: no force and no wake; its added mass, which is small, stays.
    Lost {},
}

/// A stop of a surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StopSpec {
    /// The least deflection, `min_deg`.
    Min,
    /// The greatest deflection, `max_deg`.
    Max,
}

/// A sensor of the craft.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SensorNameSpec {
    /// Roll rate p, deg/s.
    RollRate,
    /// Pitch rate q, deg/s.
    PitchRate,
    /// Yaw rate r, deg/s.
    YawRate,
    /// Roll, deg.
    Roll,
    /// Pitch, deg.
    Pitch,
    /// Acceleration of the motion unit along x, m/s2; 0 at rest and upright, as the next two.
    AccelerationX,
    /// Acceleration of the motion unit along y, m/s2.
    AccelerationY,
    /// Acceleration of the motion unit along z, m/s2.
    AccelerationZ,
    /// Speed through water, kn.
    Speed,
    /// Heading, deg.
    Heading,
    /// All eight signals of the motion unit together: rates, roll, pitch, accelerations.
    MotionUnit,
    /// A height sensor, m.
    Height {
        /// Its place in the craft's list, from 0.
        #[schemars(range(min = 0, max = 1000))]
        height_sensor: u32,
    },
    /// The measured angle of a surface, deg.
    SurfaceAngle {
        /// Name of the surface in the craft file.
        #[schemars(length(min = 1))]
        surface: String,
    },
}

/// How a sensor fails; numbers are in the unit of the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SensorFailureSpec {
    /// Reads too much by a constant.
    Bias {
        /// The constant, in the unit of the sensor.
        #[schemars(range(min = -1000.0, max = 1000.0))]
        bias: f64,
    },
    /// Reads more and more (or less and less), from zero at the start.
    Drift {
        /// Growth per minute, in the unit of the sensor.
        #[schemars(range(min = -1000.0, max = 1000.0))]
        drift_per_min: f64,
    },
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
        /// The sensor tells that the sample is not valid (for a rate of the three, for roll or
        /// pitch, for an acceleration of the three: of its group).
        #[serde(default = "yes")]
        is_flagged: bool,
    },
    /// White noise beyond its own.
    Noisy {
        /// Standard deviation of a sample, in the unit of the sensor.
        #[schemars(range(min = 0.0, max = 1000.0))]
        noise: f64,
    },
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

/// What a lost sample of a sensor reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LostReadingSpec {
    /// The last good reading.
    #[default]
    Last,
    /// Zero in the unit of the sensor.
    Zero,
}

/// How the controller fails.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum ControllerFailureSpec {
    /// It misses samples: the law is not asked, its outputs hold.
    Skips {
        /// Share of the samples that are missed, at random.
        lost_frac: f64,
    },
    /// Its outputs come late, beyond the servos' own delay.
    Late {
        /// How much, rounded to whole integration steps, s.
        #[schemars(range(min = 0.0, max = 60.0))]
        delay_s: f64,
    },
    /// It stops; when the fault ends it goes on with the memory it had.
    Stopped {
        /// What its outputs do.
        outputs: OutputsSpec,
    },
}

/// What the outputs of a stopped controller do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutputsSpec {
    /// Stay as they are.
    Hold,
    /// Go to neutral: no deflection of any surface but the rudders.
    Neutral,
}

/// A place on the craft.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlaceSpec {
    /// Forward of midships, m.
    pub x_m: f64,
    /// To starboard, m.
    #[serde(default)]
    pub y_m: f64,
    /// Above the baseline, m.
    pub height_m: f64,
}

/// A rectangular compartment with water in it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FloodedSpec {
    /// Length along x, m.
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0))]
    pub length_m: f64,
    /// Breadth along y, m.
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0))]
    pub breadth_m: f64,
    /// Height, m.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub depth_m: f64,
    /// Centre of its floor: forward of midships, m.
    pub x_m: f64,
    /// Centre of its floor: to starboard, m.
    #[serde(default)]
    pub y_m: f64,
    /// Its floor above the baseline, m.
    pub floor_height_m: f64,
    /// Share of it that fills.
    pub fill_frac: f64,
    /// Share of a filled part that is water, the rest being machinery and stores.
    #[serde(default = "one")]
    pub permeability_frac: f64,
    /// How long it takes to fill, evenly, s; 0 at once.
    #[serde(default = "fills_in")]
    #[schemars(range(min = 0.0, max = 1e5))]
    pub fills_in_s: f64,
}

fn one() -> f64 {
    1.0
}

fn yes() -> bool {
    true
}

fn fills_in() -> f64 {
    60.0
}
