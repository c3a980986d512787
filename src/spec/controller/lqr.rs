//! The linear-quadratic law in a controller file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// LQR weights by Bryson's rule: each output is divided by the value that is just acceptable.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LqrSpec {
    /// Speeds the gains are solved at, kn, ascending; interpolated between.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 80.0)))]
    pub design_speeds_kn: Vec<f64>,
    /// Below this speed the surfaces go to neutral, kn.
    #[serde(default = "min_speed")]
    pub min_speed_kn: f64,
    /// Just acceptable values.
    pub acceptable: LqrAcceptable,
    /// Just acceptable angle of each of the file's `channels`, in their order, deg; `forward_deg`
    /// and `aft_deg` count when empty.
    #[serde(default)]
    #[schemars(inner(range(min = 0.01, max = 90.0)))]
    pub channel_deg: Vec<f64>,
    /// Just acceptable rate of the command of each of the file's `channels`, in their order, deg/s;
    /// `forward_rate_deg_s` and `aft_rate_deg_s` count when empty.
    #[serde(default)]
    #[schemars(inner(range(min = 0.01, max = 1000.0)))]
    pub channel_rate_deg_s: Vec<f64>,
    /// The sea that the observer expects; without it waves of `observer_disturbance_m_s2` in a broad
    /// band about 1 rad/s on all headings.
    #[serde(default)]
    pub sea: Option<LqrSea>,
    /// Use the true state instead of the observer: only for comparison, never in a craft.
    #[serde(default)]
    pub perfect_state: bool,
    /// Standard deviation of the wave disturbance that the observer expects, as vertical acceleration,
    /// m/s2; not used with `sea`.
    #[serde(default = "disturbance")]
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub observer_disturbance_m_s2: f64,
    /// Integral action on roll and pitch: an angle that has stood for this time costs as much again as
    /// the angle, s; the slowest pole comes out near its inverse. 0 for none.
    #[serde(default)]
    pub trim_time_s: f64,
}

/// Just acceptable values of outputs and efforts (Bryson's rule: weight = 1/value^2).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LqrAcceptable {
    /// Heave, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub heave_m: f64,
    /// Heave velocity, m/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub heave_rate_m_s: f64,
    /// Pitch, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub pitch_deg: f64,
    /// Pitch rate, deg/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub pitch_rate_deg_s: f64,
    /// Roll, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub roll_deg: f64,
    /// Roll rate, deg/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub roll_rate_deg_s: f64,
    /// Angle of a forward surface, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub forward_deg: f64,
    /// Angle of an aft surface, deg.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub aft_deg: f64,
    /// Rate of the command of a forward surface, deg/s; costs nothing when absent.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub forward_rate_deg_s: Option<f64>,
    /// Rate of the command of an aft surface, deg/s; costs nothing when absent.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub aft_rate_deg_s: Option<f64>,
    /// Ride at points of the craft.
    #[serde(default)]
    pub points: Vec<LqrAcceptablePoint>,
}

/// Just acceptable ride at a point; what is absent costs nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LqrAcceptablePoint {
    /// Name of one of the craft's `points`.
    #[schemars(length(min = 1))]
    pub point: String,
    /// Vertical acceleration, m/s2.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub vertical_acceleration_m_s2: Option<f64>,
    /// Vertical velocity, m/s.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub vertical_velocity_m_s: Option<f64>,
    /// Lateral acceleration as felt on deck, gravity's share in roll included, m/s2.
    #[serde(default)]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub lateral_acceleration_m_s2: Option<f64>,
}

/// The sea that an observer expects: the wave forces of the craft's own tables give each motion a band at
/// the encounter frequency of each design speed, on headings spread evenly over a range.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LqrSea {
    /// Significant wave height, m: the higher, the less the observer trusts its model of calm water.
    #[schemars(range(max = 30.0), extend("exclusiveMinimum" = 0.0))]
    pub significant_height_m: f64,
    /// Peak period, s.
    #[schemars(range(min = 1.0, max = 30.0))]
    pub peak_period_s: f64,
    /// First heading of the range, deg (180 head seas); both sides of the craft count alike.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 180.0))]
    pub heading_from_deg: f64,
    /// Last heading of the range, deg.
    #[serde(default = "head_seas")]
    #[schemars(range(min = 0.0, max = 180.0))]
    pub heading_to_deg: f64,
}

fn head_seas() -> f64 {
    180.0
}

fn min_speed() -> f64 {
    4.0
}

fn disturbance() -> f64 {
    0.3
}
