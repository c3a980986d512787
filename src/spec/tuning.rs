//! The tuning file, field by field (`ridewright.tuning/1`): which ride to improve, in which seas,
//! within which limits, by which gains.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::scenario::{CourseSpec, PhysicsSpec};

/// A tuning: a craft, a controller file to begin with, and what better means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TuningSpec {
    /// Always `ridewright.tuning/1`.
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
    /// Craft files of other loadings of the same craft, relative to this file. A search of its own is made for each and
    /// for `craft`, in the same cases; the law found has their gains under `loadings`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 20))]
    pub loadings: Vec<String>,
    /// Controller file to begin with, relative to this file.
    #[schemars(length(min = 1))]
    pub controller: String,
    /// Name of the law found; that of the controller with "tuned" when absent.
    #[serde(default)]
    pub result: Option<String>,
    /// Seas, speeds and headings in which the law is judged.
    #[schemars(length(min = 1))]
    pub cases: Vec<TuningCaseSpec>,
    /// What is made small.
    pub objective: ObjectiveSpec,
    /// What must be kept.
    #[serde(default)]
    pub limits: TuningLimitsSpec,
    /// The numbers of the controller file that may change.
    #[schemars(length(min = 1))]
    pub free: Vec<FreeSpec>,
    /// How long and from which seed to search.
    #[serde(default)]
    pub search: SearchSpec,
    /// The front of ride against fin work; none when absent.
    #[serde(default)]
    pub front: Option<FrontSpec>,
    /// Simulation of what was found; none when absent.
    #[serde(default)]
    pub confirm: Option<ConfirmSpec>,
    /// How heading and speed are kept.
    #[serde(default)]
    pub course: CourseSpec,
    /// Switches of the physics.
    #[serde(default)]
    pub physics: PhysicsSpec,
}

/// One sea at several speeds and headings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TuningCaseSpec {
    /// Sea file, relative to the tuning file.
    #[schemars(length(min = 1))]
    pub sea: String,
    /// Speeds, kn.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 80.0)))]
    pub speeds_kn: Vec<f64>,
    /// Wave headings mu (where waves travel to, 180 head seas), deg.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 360.0)))]
    pub headings_deg: Vec<f64>,
    /// Weight of each of these cases in the mean, shared by its headings.
    #[serde(default = "one")]
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0))]
    pub weight: f64,
}

/// What is made small: ride numbers, each divided by the value that is just acceptable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ObjectiveSpec {
    /// The ride numbers.
    #[schemars(length(min = 1))]
    pub terms: Vec<TermSpec>,
    /// How the terms of one case become one number.
    #[serde(default)]
    pub of_terms: OfTerms,
    /// How the cases become one number.
    #[serde(default)]
    pub robust: Robust,
}

/// How the terms of one case become one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum OfTerms {
    /// The weighted mean.
    #[default]
    Sum,
    /// The worst term.
    Worst,
}

/// How cases become one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Robust {
    /// The weighted mean of all cases.
    #[default]
    Mean,
    /// The worst case.
    Worst,
}

/// A ride number with the value that is just acceptable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TermSpec {
    /// The number.
    pub of: RideNumberSpec,
    /// Weight beside the other terms.
    #[serde(default = "one")]
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0))]
    pub weight: f64,
}

/// A ride number and its just acceptable value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum RideNumberSpec {
    /// RMS of heave.
    Heave {
        /// Just acceptable, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_m: f64,
    },
    /// RMS of pitch.
    Pitch {
        /// Just acceptable, deg.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_deg: f64,
    },
    /// RMS of roll.
    Roll {
        /// Just acceptable, deg.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_deg: f64,
    },
    /// RMS of the vertical acceleration at a named point of the craft.
    VerticalAcceleration {
        /// Name of the point.
        #[schemars(length(min = 1))]
        point: String,
        /// Just acceptable, m/s2.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_m_s2: f64,
    },
    /// RMS of the lateral acceleration felt at a named point of the craft.
    LateralAcceleration {
        /// Name of the point.
        #[schemars(length(min = 1))]
        point: String,
        /// Just acceptable, m/s2.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_m_s2: f64,
    },
    /// RMS of the vertical acceleration at a named point, weighted by Wk of ISO 2631-1.
    WeightedVertical {
        /// Name of the point.
        #[schemars(length(min = 1))]
        point: String,
        /// Just acceptable, m/s2.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_m_s2: f64,
    },
    /// Motion sickness incidence at a named point after two hours (McCauley et al. 1976).
    Sickness {
        /// Name of the point.
        #[schemars(length(min = 1))]
        point: String,
        /// Just acceptable, per cent of people.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        acceptable_percent: f64,
    },
}

/// What must be kept, at every speed and in every case; what is absent is not asked for.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct TuningLimitsSpec {
    /// Least factor by which all gains may grow together, dB.
    pub least_gain_increase_db: Option<f64>,
    /// Least factor by which all gains may shrink together, dB.
    pub least_gain_decrease_db: Option<f64>,
    /// Least phase lag that all fins may have more, deg.
    #[schemars(range(min = 0.0, max = 180.0))]
    pub least_phase_deg: Option<f64>,
    /// Least delay that all fins may have more, s.
    pub least_delay_s: Option<f64>,
    /// Least disk margin: all fins at once, gain and phase together.
    #[schemars(range(min = 0.0, max = 2.0))]
    pub least_disk: Option<f64>,
    /// Least damping of the oscillations of the closed loop, as a share of critical damping.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub least_damping_ratio: Option<f64>,
    /// Share of the greatest values below that the search leaves free, because simulation finds a little more
    /// than the spectral method; 0.1 when absent.
    #[schemars(range(min = 0.0, max = 0.9))]
    pub reserve_frac: Option<f64>,
    /// Greatest RMS angle of a fin about trim, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub most_fin_rms_deg: Option<f64>,
    /// Greatest RMS rate of a fin, deg/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub most_fin_rate_rms_deg_s: Option<f64>,
    /// Greatest share of the time that a fin spends at its limits.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub most_at_limits_frac: Option<f64>,
    /// Greatest number of contacts of the cross-structure's underside with the water, per hour.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub most_contacts_per_h: Option<f64>,
}

/// A number of the controller file that may change.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FreeSpec {
    /// Path of the key in the controller file, `law.pid.pitch.rate_deg_s_per_deg`.
    #[schemars(length(min = 1))]
    pub key: String,
    /// Least value, in the unit of the key.
    #[schemars(range(min = -1e9, max = 1e9))]
    pub low: f64,
    /// Greatest value, in the unit of the key.
    #[schemars(range(min = -1e9, max = 1e9))]
    pub high: f64,
    /// How the range is searched.
    #[serde(default)]
    pub scale: ScaleSpec,
    /// One value for each speed of the cases: the law gets a schedule.
    #[serde(default)]
    pub per_speed: bool,
}

/// How a range is searched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ScaleSpec {
    /// Evenly.
    #[default]
    Linear,
    /// Evenly in the logarithm: for weights and frequencies that span decades.
    Log,
}

/// How long and from which seed to search.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SearchSpec {
    /// Seed: the same seed gives the same answer.
    #[schemars(range(min = 0, max = 4_294_967_295_u64))]
    pub seed: u64,
    /// Laws judged over all cases at once.
    #[schemars(range(min = 10, max = 1_000_000))]
    pub evaluations: usize,
    /// Laws judged at each speed for the numbers that may change with it.
    #[schemars(range(min = 10, max = 1_000_000))]
    pub evaluations_per_speed: usize,
}

impl Default for SearchSpec {
    fn default() -> Self {
        SearchSpec {
            seed: 1,
            evaluations: 1000,
            evaluations_per_speed: 400,
        }
    }
}

/// The front of ride against fin work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct FrontSpec {
    /// Points, the winner and the least work among them.
    #[schemars(range(min = 2, max = 50))]
    pub points: usize,
    /// Laws judged for each point.
    #[schemars(range(min = 10, max = 100_000))]
    pub evaluations: usize,
}

impl Default for FrontSpec {
    fn default() -> Self {
        FrontSpec {
            points: 7,
            evaluations: 80,
        }
    }
}

/// Simulation of what was found, on seas that the search never saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConfirmSpec {
    /// Random seeds; each is one record of each sea, the same for all laws.
    #[serde(default = "seeds")]
    #[schemars(length(min = 2))]
    pub seeds: Vec<u64>,
    /// Length of the judged record, s.
    #[serde(default = "duration")]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub duration_s: f64,
    /// Run-in before it, s.
    #[serde(default = "run_in")]
    pub run_in_s: f64,
    /// Put the least that any law could reach beside every number.
    #[serde(default = "yes")]
    pub least_reachable: bool,
}

fn one() -> f64 {
    1.0
}

fn yes() -> bool {
    true
}

fn seeds() -> Vec<u64> {
    (901..=906).collect()
}

fn duration() -> f64 {
    1200.0
}

fn run_in() -> f64 {
    120.0
}
