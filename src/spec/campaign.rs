//! The campaign file, field by field (`ridewright.campaign/1`): a grid of craft, loadings, speeds, headings,
//! seas, faults and laws, each cell by many random draws.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::craft::MassSpec;
use super::scenario::{CourseSpec, Integrator, PhysicsSpec};

/// A campaign: every combination of the lists, each over the same random draws.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CampaignSpec {
    /// Always `ridewright.campaign/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers.
    #[serde(default)]
    pub note: String,
    /// Craft and their loadings.
    #[schemars(length(min = 1))]
    pub crafts: Vec<CampaignCraftSpec>,
    /// Speeds, kn.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 80.0)))]
    pub speeds_kn: Vec<f64>,
    /// Wave headings mu (where waves travel to, 180 head seas), deg.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 360.0)))]
    pub headings_deg: Vec<f64>,
    /// Sea files, relative to this file; may be left away beside a scatter diagram.
    #[serde(default)]
    #[schemars(inner(length(min = 1)))]
    pub seas: Vec<String>,
    /// Scatter file, relative to this file: every class that occurs is a sea of its own, by the class's middle.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub scatter: Option<String>,
    /// Controller files, relative to this file; the first is the baseline of all differences.
    #[schemars(length(min = 1), inner(length(min = 1)))]
    pub laws: Vec<String>,
    /// Fault files, relative to this file: what breaks in every run of a place.
    #[serde(default)]
    #[schemars(inner(length(min = 1)))]
    pub faults: Vec<String>,
    /// Beside faults, also places where nothing breaks.
    #[serde(default = "yes")]
    pub healthy: bool,
    /// Seed of everything random: the same seed gives the same campaign.
    #[serde(default = "one")]
    #[schemars(range(min = 0, max = 4_294_967_295_u64))]
    pub seed: u64,
    /// How many draws each cell gets.
    pub draws: DrawsSpec,
    /// What is not known exactly and drawn anew with each draw, the same for all laws.
    #[serde(default)]
    pub uncertain: Vec<UncertainSpec>,
    /// Columns of the rows that tables and pictures tell of, by name; the program's own choice when empty.
    #[serde(default)]
    #[schemars(inner(length(min = 1)))]
    pub report: Vec<String>,
    /// Length of the judged record, s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub duration_s: f64,
    /// Run-in before it, left out of the statistics, s.
    #[serde(default = "run_in")]
    pub run_in_s: f64,
    /// Integration step, s.
    #[serde(default = "step")]
    #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0))]
    pub step_s: f64,
    /// Interval of the records that are judged, s.
    #[serde(default = "record")]
    #[schemars(range(max = 60.0), extend("exclusiveMinimum" = 0.0))]
    pub record_s: f64,
    /// Integrator.
    #[serde(default = "many_seas")]
    pub integrator: Integrator,
    /// How heading and speed are kept.
    #[serde(default)]
    pub course: CourseSpec,
    /// Switches of the physics.
    #[serde(default)]
    pub physics: PhysicsSpec,
}

/// A craft and how it may be loaded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CampaignCraftSpec {
    /// Craft file, relative to the campaign file.
    #[schemars(length(min = 1))]
    pub craft: String,
    /// Loadings; that of the craft file alone when empty. The crew knows the loading: laws are designed on it.
    #[serde(default)]
    pub loadings: Vec<LoadingSpec>,
}

/// A loading: what it puts in place of the craft file's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadingSpec {
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Mass properties; those of the craft file when absent.
    #[serde(default)]
    pub mass: Option<MassSpec>,
    /// Waterline above the baseline at this loading, m; that of the craft file when absent.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub design_waterline_m: Option<f64>,
}

/// How many draws.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum DrawsSpec {
    /// This many in every cell.
    Fixed {
        /// Draws.
        #[schemars(range(min = 1, max = 1_000_000))]
        count: usize,
    },
    /// Until an interval is narrow enough: looked at after `least` draws and whenever they have doubled.
    Until {
        /// The column whose mean is wanted, by name.
        #[schemars(length(min = 1))]
        quantity: String,
        /// Half width of its interval at which a place is done, as a share of the mean.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        half_width_frac: f64,
        /// Draws before the first look.
        #[serde(default = "sixteen")]
        #[schemars(range(min = 4, max = 1_000_000))]
        least: usize,
        /// Draws at most; `least` doubled a whole number of times.
        #[schemars(range(min = 4, max = 1_000_000))]
        most: usize,
    },
}

/// Something that is not known exactly.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct UncertainSpec {
    /// What.
    pub of: UncertainOf,
    /// How it is distributed.
    pub by: DistributionSpec,
}

/// What may be uncertain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum UncertainOf {
    /// Factor on the damping of hulls and struts: radiated waves, body lift, cross-flow drag.
    Damping,
    /// Factor on the force of all surfaces but rudders.
    Fins,
    /// Factor on the hydrostatic stiffness in roll, as GM_T.
    RollStiffness,
    /// Factor on the hydrostatic stiffness in pitch, as GM_L.
    PitchStiffness,
    /// Factor on the mass, the centre of gravity where it is; the craft sinks or rises by itself.
    Mass,
    /// How much higher the centre of gravity lies, m.
    WeightUpM,
    /// How much further forward the centre of gravity lies, m.
    WeightForwardM,
    /// Factor on the noise of all sensors.
    SensorNoise,
    /// Factor on the scale of the biases of all sensors.
    SensorBias,
    /// Factor on the delays of all sensors.
    SensorDelay,
}

/// A distribution.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum DistributionSpec {
    /// Normal.
    Normal {
        /// Mean.
        #[schemars(range(min = -1e6, max = 1e6))]
        mean: f64,
        /// Standard deviation.
        #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0.0))]
        standard_deviation: f64,
    },
    /// The logarithm is normal.
    Lognormal {
        /// Median.
        #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0.0))]
        median: f64,
        /// Standard deviation of the natural logarithm.
        #[schemars(range(max = 2.0), extend("exclusiveMinimum" = 0.0))]
        log_standard_deviation: f64,
    },
    /// Even between two ends.
    Uniform {
        /// Least value.
        #[schemars(range(min = -1e6, max = 1e6))]
        low: f64,
        /// Greatest value.
        #[schemars(range(min = -1e6, max = 1e6))]
        high: f64,
    },
    /// Rises to the most likely value and falls to the end, both in a straight line.
    Triangular {
        /// Least value.
        #[schemars(range(min = -1e6, max = 1e6))]
        low: f64,
        /// Most likely value.
        #[schemars(range(min = -1e6, max = 1e6))]
        mode: f64,
        /// Greatest value.
        #[schemars(range(min = -1e6, max = 1e6))]
        high: f64,
    },
}

impl UncertainOf {
    /// Name of its column, with its unit where it has one.
    pub fn name(self) -> &'static str {
        match self {
            UncertainOf::Damping => "damping_factor",
            UncertainOf::Fins => "fins_factor",
            UncertainOf::RollStiffness => "roll_stiffness_factor",
            UncertainOf::PitchStiffness => "pitch_stiffness_factor",
            UncertainOf::Mass => "mass_factor",
            UncertainOf::WeightUpM => "weight_up_m",
            UncertainOf::WeightForwardM => "weight_forward_m",
            UncertainOf::SensorNoise => "sensor_noise_factor",
            UncertainOf::SensorBias => "sensor_bias_factor",
            UncertainOf::SensorDelay => "sensor_delay_factor",
        }
    }

    /// A factor, which must stay positive; else a shift.
    pub fn is_factor(self) -> bool {
        !matches!(self, UncertainOf::WeightUpM | UncertainOf::WeightForwardM)
    }
}

impl DrawsSpec {
    /// Draws at most.
    pub fn most(&self) -> usize {
        match self {
            DrawsSpec::Fixed { count } => *count,
            DrawsSpec::Until { most, .. } => *most,
        }
    }
}

fn yes() -> bool {
    true
}

fn one() -> u64 {
    1
}

fn sixteen() -> usize {
    16
}

fn run_in() -> f64 {
    120.0
}

fn step() -> f64 {
    0.1
}

fn many_seas() -> Integrator {
    Integrator::PredictorCorrector
}

fn record() -> f64 {
    0.1
}
