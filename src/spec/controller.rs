//! The controller file, field by field (`ridewright.controller/1`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
}

/// The law.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
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

/// Modal PID. Gains are generalised-acceleration demands mapped to fin angle at the reference
/// speed: a pitch error of 1 deg asks for `pitch.proportional` deg of the pitch-effective
/// combination of forward and aft surfaces; all scale with a clamped, rate-limited
/// (reference speed / speed)^2.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PidSpec {
    /// Speed at which the gains hold, kn.
    #[schemars(range(max = 80.0), extend("exclusiveMinimum" = 0.0))]
    pub reference_speed_kn: f64,
    /// Below this speed the surfaces go to neutral, kn.
    #[serde(default = "min_speed")]
    pub min_speed_kn: f64,
    /// Greatest factor of the speed scaling.
    #[serde(default = "max_scale")]
    #[schemars(range(min = 1.0, max = 20.0))]
    pub max_speed_scale: f64,
    /// Heave (from estimated height and heave rate).
    pub heave: HeaveGains,
    /// Pitch.
    pub pitch: AngleGains,
    /// Roll.
    pub roll: AngleGains,
    /// Share of the pitch demand carried by the forward pair, 0 to 1; the rest by the aft pair.
    #[serde(default = "half")]
    pub forward_share_frac: f64,
    /// Corner of the derivative and acceleration low-pass filters, rad/s.
    #[serde(default = "corner")]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub filter_rad_s: f64,
    /// Time constant with which integrators follow the measured fin angle when limited, s.
    #[serde(default = "windup")]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub anti_windup_s: f64,
}

/// Gains on heave, down positive; deflections act up.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct HeaveGains {
    /// Fin angle per heave, deg/m.
    pub proportional_deg_per_m: f64,
    /// Fin angle per heave velocity, deg s/m.
    pub rate_deg_s_per_m: f64,
    /// Fin angle per heave acceleration, deg s2/m.
    pub acceleration_deg_s2_per_m: f64,
}

/// Gains on an angle.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct AngleGains {
    /// Fin angle per angle, deg/deg.
    pub proportional_deg_per_deg: f64,
    /// Fin angle per rate, deg s/deg.
    pub rate_deg_s_per_deg: f64,
    /// Fin angle per integrated angle, deg/(deg s).
    pub integral_deg_per_deg_s: f64,
    /// Greatest fin angle the integrator may hold, deg.
    #[schemars(range(min = 0.0, max = 90.0))]
    pub integral_limit_deg: f64,
}

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
    /// Use the true state instead of the observer: only for comparison, never in a craft.
    #[serde(default)]
    pub perfect_state: bool,
    /// Standard deviation of the wave disturbance that the observer expects, as vertical acceleration, m/s2.
    #[serde(default = "disturbance")]
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub observer_disturbance_m_s2: f64,
    /// Time constant of the slow trim integrator, s; 0 for none.
    #[serde(default)]
    pub trim_time_s: f64,
}

/// Just acceptable values of outputs and efforts (Bryson's rule: weight = 1/value^2).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
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

fn min_speed() -> f64 {
    4.0
}

fn max_scale() -> f64 {
    3.0
}

fn half() -> f64 {
    0.5
}

fn corner() -> f64 {
    8.0
}

fn windup() -> f64 {
    4.0
}

fn disturbance() -> f64 {
    0.3
}

fn reply() -> f64 {
    0.5
}
