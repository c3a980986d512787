//! The criteria file, field by field (`ridewright.criteria/1`): limits of the ride with their
//! sources.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A set of criteria.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CriteriaSpec {
    /// Always `ridewright.criteria/1`.
    pub format: String,
    /// Name printed on every table.
    pub name: String,
    /// What the set is for and how far its numbers can be trusted.
    #[serde(default)]
    pub note: String,
    /// Where the limits come from: author, year, title, section.
    pub source: String,
    /// The limits; all must be met.
    pub criteria: Vec<CriterionSpec>,
}

/// One limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CriterionSpec {
    /// The quantity and its largest value.
    pub limit: LimitSpec,
    /// Name of the point, surface or thing it holds for; every one that has the quantity when
    /// absent.
    #[serde(default)]
    pub at: Option<String>,
    /// Source of this limit when it differs from the set's.
    #[serde(default)]
    pub source: Option<String>,
}

/// A quantity with its largest value.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum LimitSpec {
    /// Vertical acceleration RMS, in g.
    VerticalRmsG(f64),
    /// Lateral acceleration RMS as felt on deck, in g.
    LateralRmsG(f64),
    /// Vertical velocity RMS, m/s.
    VerticalVelocityRmsMS(f64),
    /// Roll RMS, deg.
    RollRmsDeg(f64),
    /// Pitch RMS, deg.
    PitchRmsDeg(f64),
    /// Weighted (Wk) vertical acceleration RMS, m/s2.
    #[serde(rename = "weighted_vertical_rms_m_s2")]
    WeightedVerticalRmsMS2(f64),
    /// Motion sickness incidence (McCauley et al. 1976) after an exposure.
    MotionSickness {
        /// Largest incidence, per cent.
        msi_percent: f64,
        /// Exposure, h.
        exposure_h: f64,
    },
    /// Motion sickness dose value over an exposure.
    MotionSicknessDose {
        /// Largest dose, m/s^1.5.
        msdv_m_s1_5: f64,
        /// Exposure, h.
        exposure_h: f64,
    },
    /// Motion-induced interruptions, per minute.
    MiiPerMin(f64),
    /// Contacts or emergences, per hour; name the thing in `at`.
    EventsPerH(f64),
}
