//! What a monitor found, to be read by a machine; the words for a human are made from it.

use serde::Serialize;

use crate::spec::fault::SensorNameSpec;

/// What failed.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Target {
    /// A surface or its servo, by name.
    Surface(String),
    /// A sensor, as fault files name them.
    Sensor(SensorNameSpec),
}

/// How it failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A surface stands still, whatever is asked.
    Stuck,
    /// A surface follows too slowly.
    Slow,
    /// A surface moves, but not as asked.
    Erratic,
    /// A sensor repeats itself.
    Frozen,
    /// A sensor jumps as what it measures cannot.
    Jumps,
    /// A sensor scatters far more than stated.
    Noisy,
    /// A sensor tells that it is not valid.
    DroppedOut,
    /// A sensor reads what cannot be.
    OutOfRange,
    /// A sensor does not agree with the others.
    Disagrees,
}

impl Kind {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Kind::Stuck => "stuck",
            Kind::Slow => "slow",
            Kind::Erratic => "does not follow",
            Kind::Frozen => "frozen",
            Kind::Jumps => "jumps",
            Kind::Noisy => "noisy",
            Kind::DroppedOut => "dropped out",
            Kind::OutOfRange => "out of range",
            Kind::Disagrees => "disagrees with the others",
        }
    }
}

/// A finding.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// When it was told, s from the start of the run.
    pub t_s: f64,
    /// When the alarm behind it was raised, s; a surface is then watched for a while before it is named.
    pub alarm_s: f64,
    /// What failed.
    pub target: Target,
    /// How.
    pub kind: Kind,
}

impl Target {
    /// The words.
    pub fn words(&self) -> String {
        match self {
            Target::Surface(name) => name.clone(),
            Target::Sensor(s) => sensor_words(s),
        }
    }
}

fn sensor_words(s: &SensorNameSpec) -> String {
    match s {
        SensorNameSpec::RollRate => "roll rate sensor".into(),
        SensorNameSpec::PitchRate => "pitch rate sensor".into(),
        SensorNameSpec::YawRate => "yaw rate sensor".into(),
        SensorNameSpec::Roll => "roll sensor".into(),
        SensorNameSpec::Pitch => "pitch sensor".into(),
        SensorNameSpec::AccelerationX => "accelerometer along x".into(),
        SensorNameSpec::AccelerationY => "accelerometer along y".into(),
        SensorNameSpec::AccelerationZ => "accelerometer along z".into(),
        SensorNameSpec::Speed => "log".into(),
        SensorNameSpec::Heading => "heading sensor".into(),
        SensorNameSpec::MotionUnit => "motion unit".into(),
        SensorNameSpec::Height { height_sensor } => format!("height sensor {height_sensor}"),
        SensorNameSpec::SurfaceAngle { surface } => format!("angle sensor of {surface}"),
    }
}
