//! The modal PID in a controller file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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
    /// Gains against speed, in place of those above; none without it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub schedule: Vec<super::ScheduleRow>,
    /// Gains against displacement and speed, in place of `schedule` and of the gains above; none without it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loadings: Vec<super::LoadingSchedule>,
    /// Share of the pitch demand carried by the forward pair, 0 to 1; the rest by the aft pair.
    #[serde(default = "half")]
    pub forward_share_frac: f64,
    /// Share of the heave demand carried by the forward pair, 0 to 1. Without it the surfaces lift without
    /// pitching moment, as far as `wake_frequency_rad_s` knows.
    #[serde(default)]
    pub heave_forward_share_frac: Option<f64>,
    /// Encounter frequency at which the wakes of forward surfaces count in the allocation, rad/s: they reach
    /// the aft ones late, so one frequency only is right; 0 for slow motion. Without it they are left out.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 20.0))]
    pub wake_frequency_rad_s: Option<f64>,
    /// Share of the wakes that the aft surfaces work against, 0 to 1: each takes up, x/U later, the lift it loses
    /// to the surfaces ahead of it. Right at every frequency, at the price of their travel.
    #[serde(default)]
    pub wake_compensation_frac: f64,
    /// What is kept and what is given up when surfaces reach their limits.
    #[serde(default)]
    pub priority: PrioritySpec,
    /// Corner of the derivative and acceleration low-pass filters, rad/s.
    #[serde(default = "corner")]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub filter_rad_s: f64,
    /// Time constant with which integrators follow the measured fin angle when limited, s.
    #[serde(default = "windup")]
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub anti_windup_s: f64,
    /// Integrators rest while the craft turns faster than this, deg/s: heel and speed loss of a turn are none of
    /// their business.
    #[serde(default = "turn")]
    #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
    pub integrator_max_turn_deg_s: f64,
    /// Corner between height above water (below it) and integrated acceleration (above it) in the estimate of
    /// heave, rad/s.
    #[serde(default = "estimator")]
    #[schemars(range(min = 0.02, max = 5.0))]
    pub heave_estimator_corner_rad_s: f64,
    /// Filters on the demands, in this order.
    #[serde(default)]
    pub filters: Vec<FilterSpec>,
    /// Attitude and height to hold, about trim.
    #[serde(default)]
    pub set_point: SetPointSpec,
    /// Level platform or contour of long waves.
    #[serde(default)]
    pub following: FollowingSpec,
    /// Action on the waves that a height sensor ahead has seen; none without it.
    #[serde(default)]
    pub feed_forward: Option<FeedForwardSpec>,
}

/// Weights of what is asked of the surfaces once they cannot give it all; the greater one is kept, a factor of
/// ten or more apart makes a clear order.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PrioritySpec {
    /// Pitch demand: with it stability at speed.
    #[schemars(range(min = 0.05, max = 1000.0))]
    pub pitch_weight: f64,
    /// Roll demand.
    #[schemars(range(min = 0.05, max = 1000.0))]
    pub roll_weight: f64,
    /// Heave demand from height and heave rate.
    #[schemars(range(min = 0.05, max = 1000.0))]
    pub heave_weight: f64,
    /// Heave demand from acceleration and feed-forward.
    #[schemars(range(min = 0.05, max = 1000.0))]
    pub ride_weight: f64,
}

impl Default for PrioritySpec {
    fn default() -> Self {
        PrioritySpec {
            pitch_weight: 100.0,
            roll_weight: 10.0,
            heave_weight: 1.0,
            ride_weight: 0.1,
        }
    }
}

/// The demand that a filter works on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FilteredMode {
    /// All three.
    #[default]
    All,
    /// Heave.
    Heave,
    /// Pitch.
    Pitch,
    /// Roll.
    Roll,
}

/// Form of a filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FilterKind {
    /// Takes out a band about the frequency.
    Notch,
    /// Takes out what is above the frequency, second order.
    LowPass,
}

/// A filter on a demand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FilterSpec {
    /// Which demand.
    #[serde(default)]
    pub mode: FilteredMode,
    /// Which form.
    pub kind: FilterKind,
    /// Centre of the notch or corner of the low-pass, rad/s; below 0.9 pi over the sample period.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub frequency_rad_s: f64,
    /// Damping ratio of the denominator: the width of a notch, 0.7 for a low-pass without peak.
    #[serde(default = "damping")]
    #[schemars(range(min = 0.05, max = 5.0))]
    pub damping_ratio: f64,
    /// What a notch leaves at its centre, 0 to 1; of no use in a low-pass.
    #[serde(default)]
    pub depth_frac: Option<f64>,
}

/// What to hold about trim, and how fast another set-point is taken up.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SetPointSpec {
    /// Height above that at trim, up positive, m.
    #[schemars(range(min = -5.0, max = 5.0))]
    pub height_m: f64,
    /// Pitch about trim, bow up, deg.
    #[schemars(range(min = -10.0, max = 10.0))]
    pub pitch_deg: f64,
    /// Roll, starboard down, deg.
    #[schemars(range(min = -15.0, max = 15.0))]
    pub roll_deg: f64,
    /// Greatest rate of the height asked for, m/s.
    #[schemars(range(max = 5.0), extend("exclusiveMinimum" = 0.0))]
    pub height_rate_m_s: f64,
    /// Greatest rate of the angles asked for, deg/s.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub angle_rate_deg_s: f64,
}

impl Default for SetPointSpec {
    fn default() -> Self {
        SetPointSpec {
            height_m: 0.0,
            pitch_deg: 0.0,
            roll_deg: 0.0,
            height_rate_m_s: 0.1,
            angle_rate_deg_s: 0.25,
        }
    }
}

/// What the craft does in long waves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FollowingMode {
    /// Holds the craft level and at its height over the mean water.
    #[default]
    Platforming,
    /// Lets it follow waves below the contouring corner, so that the cross-structure keeps clear of them.
    Contouring,
    /// The one or the other by the relative motion measured.
    Switched,
}

/// Platforming and contouring.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct FollowingSpec {
    /// Which.
    pub mode: FollowingMode,
    /// Encounter frequency below which contouring follows the water, rad/s; above the corner of the heave
    /// estimate.
    #[schemars(range(min = 0.05, max = 10.0))]
    pub contouring_corner_rad_s: f64,
    /// Share of the slope of the water between the foremost and the aftermost height sensor that becomes the
    /// pitch to hold while contouring, 0 to 1; without two sensors apart the craft stays level.
    pub slope_frac: f64,
    /// RMS of the height above water about its trim value from which `switched` contours, m.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub contour_above_m: f64,
    /// RMS below which it goes back to platforming, m; well below what contouring leaves in the sea that
    /// started it.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub platform_below_m: f64,
    /// Time over which the RMS is taken (first-order), s.
    #[schemars(range(min = 1.0, max = 3600.0))]
    pub average_s: f64,
    /// Least time in either before the next change, s.
    #[schemars(range(max = 3600.0))]
    pub dwell_s: f64,
    /// Time a change takes, s.
    #[schemars(range(min = 0.1, max = 600.0))]
    pub blend_s: f64,
}

impl Default for FollowingSpec {
    fn default() -> Self {
        FollowingSpec {
            mode: FollowingMode::Platforming,
            contouring_corner_rad_s: 0.5,
            slope_frac: 1.0,
            contour_above_m: 0.8,
            platform_below_m: 0.4,
            average_s: 60.0,
            dwell_s: 60.0,
            blend_s: 10.0,
        }
    }
}

/// Action on waves seen by a height sensor ahead of the surfaces. Of use in head and bow seas, which pass that
/// sensor before they reach the craft; waves from astern reach it last, so the demand is wrong there.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedForwardSpec {
    /// Place of the sensor in the craft's list of height sensors, from 0; the foremost without it.
    #[serde(default)]
    #[schemars(range(min = 0, max = 99))]
    pub height_sensor: Option<usize>,
    /// Fin angle (lift) per elevation of the water, up positive, deg/m at the reference speed; negative presses the
    /// craft down as a crest passes.
    #[serde(default)]
    pub heave_deg_per_m: f64,
    /// Fin angle (bow up) per elevation, deg/m.
    #[serde(default)]
    pub pitch_deg_per_m: f64,
    /// Band of the elevation that is used: slow end, rad/s.
    #[serde(default = "band_low")]
    #[schemars(range(max = 10.0), extend("exclusiveMinimum" = 0.0))]
    pub low_rad_s: f64,
    /// Band of the elevation that is used: fast end, rad/s.
    #[serde(default = "band_high")]
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub high_rad_s: f64,
    /// Frequency (of the sea, not of encounter) of the head wave whose way from the sensor to midships is waited
    /// for, rad/s.
    #[serde(default = "sea_frequency")]
    #[schemars(range(min = 0.1, max = 10.0))]
    pub wave_frequency_rad_s: f64,
    /// How much earlier than the wave the action comes, s: for servo and lift to build up. More than the wave
    /// needs acts at once.
    #[serde(default)]
    #[schemars(range(max = 20.0))]
    pub lead_s: f64,
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
    /// Fin angle per integrated heave, deg/(m s).
    pub integral_deg_per_m_s: f64,
    /// Greatest fin angle the integrator may hold, deg.
    #[schemars(range(min = 0.0, max = 90.0))]
    pub integral_limit_deg: f64,
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

fn turn() -> f64 {
    1.0
}

fn estimator() -> f64 {
    0.15
}

fn damping() -> f64 {
    0.7
}

fn band_low() -> f64 {
    0.2
}

fn band_high() -> f64 {
    4.0
}

fn sea_frequency() -> f64 {
    0.8
}
