//! Modes, trips, speed watch and calibration in a controller file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Mode of a law.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ModeSpec {
    /// Fins at neutral (zero deflection) and locked there.
    Off,
    /// Fins at the angles that a human gives.
    Manual,
    /// Fins at trim; the law runs, but its commands are not sent.
    Standby,
    /// The law drives the fins.
    #[default]
    Engaged,
}

/// Modes of the law, how it changes between them, and what makes it let go.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ModesSpec {
    /// Mode at the start of a run.
    pub start: ModeSpec,
    /// Time over which the law takes over from what the fins did before, s.
    #[schemars(range(max = 600.0), extend("exclusiveMinimum" = 0.0))]
    pub fade_s: f64,
    /// Rate at which fins go to neutral or to trim, deg/s.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0))]
    pub calm_deg_s: f64,
    /// At and below this speed, and astern, the fins go to neutral and are locked, kn; 0 locks them
    /// astern only.
    pub lock_below_kn: f64,
    /// Speed above the lock's at which the law takes over again, kn.
    #[schemars(range(max = 20.0))]
    pub lock_margin_kn: f64,
    /// What the law does about a speed signal that cannot be right.
    pub speed: SpeedWatchSpec,
    /// What makes the law let go.
    pub trips: TripsSpec,
}

impl Default for ModesSpec {
    fn default() -> Self {
        ModesSpec {
            start: ModeSpec::Engaged,
            fade_s: 5.0,
            calm_deg_s: 3.0,
            lock_below_kn: 3.0,
            lock_margin_kn: 1.0,
            speed: SpeedWatchSpec::default(),
            trips: TripsSpec::default(),
        }
    }
}

/// Plausibility of the speed signal. A reading counts when it is valid, within the range, and no
/// farther from the last good one than the craft can have come since, at most in the hold time; after
/// that only a human who orders a mode or a speed makes a far reading count.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SpeedWatchSpec {
    /// Greatest speed the craft can have, kn.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub greatest_kn: f64,
    /// Greatest acceleration the craft can have, m/s2.
    #[schemars(range(max = 10.0), extend("exclusiveMinimum" = 0.0))]
    pub greatest_m_s2: f64,
    /// Scatter allowed between readings: noise and waves, kn.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub scatter_kn: f64,
    /// Greatest share by which a reading may differ from the speed that the ordered one leads to;
    /// 1 watches no order: where the law is not told what the shafts are asked for.
    #[schemars(range(min = 0.05, max = 1.0))]
    pub off_order_frac: f64,
    /// Time in which the craft follows an ordered speed, s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub follow_s: f64,
    /// Time for which the last good reading is kept, s; then the signal counts as lost.
    pub hold_s: f64,
    /// Time for which readings must be good before a lost signal is believed again, s.
    pub return_s: f64,
    /// Speed assumed when the signal is lost, kn; the ordered speed when absent. A high one makes small
    /// gains.
    pub assumed_kn: Option<f64>,
    /// Share of the law's command that is used when the signal is lost.
    pub lost_gain_frac: f64,
}

impl Default for SpeedWatchSpec {
    fn default() -> Self {
        SpeedWatchSpec {
            greatest_kn: 35.0,
            greatest_m_s2: 0.5,
            scatter_kn: 2.0,
            off_order_frac: 1.0,
            follow_s: 60.0,
            hold_s: 5.0,
            return_s: 10.0,
            assumed_kn: None,
            lost_gain_frac: 0.7,
        }
    }
}

/// What makes an engaged law let go. A limit that is absent is not watched. A trip lasts until a
/// human orders a mode.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct TripsSpec {
    /// Mode after a trip: standby (fins to trim) or off (fins to neutral).
    pub to: TripMode,
    /// Roll either way, deg.
    #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
    pub roll_deg: Option<f64>,
    /// Pitch off its trim either way, deg.
    #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
    pub pitch_deg: Option<f64>,
    /// Roll or pitch rate either way, deg/s.
    #[schemars(range(max = 180.0), extend("exclusiveMinimum" = 0.0))]
    pub rate_deg_s: Option<f64>,
    /// Time for which roll, pitch or rate must be beyond, s.
    pub motion_for_s: f64,
    /// Angle by which a fin may miss where a healthy servo would have it, deg.
    #[schemars(range(max = 90.0), extend("exclusiveMinimum" = 0.0))]
    pub servo_deg: Option<f64>,
    /// Time for which it may miss it, s.
    pub servo_for_s: f64,
    /// Time for which a reading that the law uses may be invalid, s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub sensor_for_s: Option<f64>,
    /// Time for which the speed signal may be lost, s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub speed_for_s: Option<f64>,
}

impl Default for TripsSpec {
    fn default() -> Self {
        TripsSpec {
            to: TripMode::Standby,
            roll_deg: None,
            pitch_deg: None,
            rate_deg_s: None,
            motion_for_s: 0.5,
            servo_deg: None,
            servo_for_s: 2.0,
            sensor_for_s: None,
            speed_for_s: None,
        }
    }
}

/// Mode after a trip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TripMode {
    /// Fins to trim, the law shadows.
    #[default]
    Standby,
    /// Fins to neutral and locked.
    Off,
}

/// From the angle of a fin to what its servo is told: `command = zero + scale angle`, within the
/// stops; the angle read back goes the other way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationSpec {
    /// Name of the surface.
    #[schemars(length(min = 1))]
    pub surface: String,
    /// What the servo is told for no deflection, deg.
    #[serde(default)]
    #[schemars(range(min = -90.0, max = 90.0))]
    pub zero_deg: f64,
    /// Servo angle per deflection; negative for a servo that turns the other way.
    #[serde(default = "one")]
    #[schemars(range(min = -5.0, max = 5.0))]
    pub scale: f64,
    /// Least that the servo may be told, deg; the craft's own stop when absent.
    #[serde(default)]
    pub stop_min_deg: Option<f64>,
    /// Greatest that the servo may be told, deg; the craft's own stop when absent.
    #[serde(default)]
    pub stop_max_deg: Option<f64>,
    /// Surface whose servo this channel is wired to; its own when absent.
    #[serde(default)]
    pub wired_to: Option<String>,
}

fn one() -> f64 {
    1.0
}
