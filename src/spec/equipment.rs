//! Surfaces, servos, supplies, sensors and propellers of the craft file, field by field.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A lifting surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SurfaceSpec {
    /// Unique name; the channel a controller drives.
    #[schemars(length(min = 1))]
    pub name: String,
    /// What it is for: decides grouping in laws and reports.
    pub group: SurfaceGroup,
    /// x of the stock (or hinge line for a flap) at the root, m.
    pub stock_x_m: f64,
    /// y of the root, starboard positive, m.
    pub root_y_m: f64,
    /// Height of the root above the baseline, m.
    pub root_height_m: f64,
    /// Direction in which the span leaves the root, degrees from +y (starboard) turning towards
    /// down (+z): 0 to starboard, 90 down, 180 to port, 270 up; 10 is a starboard fin drooping
    /// by 10 deg.
    pub span_angle_deg: f64,
    /// Exposed span from root to tip, m.
    #[schemars(range(max = 50.0), extend("exclusiveMinimum" = 0.0))]
    pub span_m: f64,
    /// Chord at the root, m.
    #[schemars(range(max = 50.0), extend("exclusiveMinimum" = 0.0))]
    pub root_chord_m: f64,
    /// Chord at the tip, m.
    #[schemars(range(min = 0.0, max = 50.0))]
    pub tip_chord_m: f64,
    /// Sweep of the quarter-chord line, aft positive, deg.
    #[serde(default)]
    #[schemars(range(min = -60.0, max = 75.0))]
    pub sweep_deg: f64,
    /// Stock (or flap hinge) aft of the leading edge, fraction of the local chord; for a flap it
    /// is one minus the flap's chord fraction and must agree.
    pub stock_frac: f64,
    /// Thickness over chord.
    #[serde(default = "thickness")]
    #[schemars(range(min = 0.0, max = 0.5))]
    pub thickness_frac: f64,
    /// Tip form.
    #[serde(default)]
    pub tip: TipForm,
    /// What moves.
    pub moving: MovingPart,
    /// Built-in incidence, positive like a deflection, deg.
    #[serde(default)]
    #[schemars(range(min = -45.0, max = 45.0))]
    pub incidence_deg: f64,
    /// Least deflection, deg.
    #[schemars(range(min = -90.0, max = 90.0))]
    pub min_deg: f64,
    /// Greatest deflection, deg.
    #[schemars(range(min = -90.0, max = 90.0))]
    pub max_deg: f64,
    /// Angle limit against speed (stall, load, cavitation), linear between rows; both signs.
    #[serde(default)]
    pub limit_by_speed: Vec<AngleLimitRow>,
    /// Radius of the body at the root (carry-over), m; taken from the lower hull when absent, 0 for none.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 50.0))]
    pub body_radius_m: Option<f64>,
    /// Lift slope given outright per rad of incidence, on the planform area; replaces the computed slope and carry-over.
    #[serde(default)]
    pub lift_slope_per_rad: Option<f64>,
    /// The servo.
    #[serde(default)]
    pub actuator: ActuatorSpec,
}

/// What a surface is for.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum SurfaceGroup {
    /// Forward pair.
    Forward,
    /// Aft pair.
    Aft,
    /// Rudders.
    Rudder,
}

/// What moves on a surface.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum MovingPart {
    /// The whole surface turns about its stock.
    AllMovable {},
    /// A trailing-edge flap turns; the rest is fixed.
    Flap {
        /// Flap chord over chord.
        #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0))]
        chord_frac: f64,
        /// Flapped share of the span.
        #[serde(default = "one")]
        #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0))]
        span_frac: f64,
    },
    /// Nothing: a fixed stabiliser.
    Fixed {},
}

/// Tip form; decides the cross-flow drag of the surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TipForm {
    /// Square-cut.
    #[default]
    Square,
    /// Faired.
    Faired,
}

/// Angle limit at a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AngleLimitRow {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Greatest angle of either sign, deg.
    #[schemars(range(min = 0.0, max = 90.0))]
    pub limit_deg: f64,
}

/// A servo of second order with limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ActuatorSpec {
    /// Natural frequency, rad/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub natural_frequency_rad_s: f64,
    /// Damping ratio.
    #[schemars(range(max = 10.0), extend("exclusiveMinimum" = 0.0))]
    pub damping_ratio: f64,
    /// Greatest rate, deg/s.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub rate_deg_s: f64,
    /// Dead band of the servo's error, full width, deg.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub dead_band_deg: f64,
    /// Backlash between servo and surface, full width, deg.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub backlash_deg: f64,
    /// Transport delay of the command, s.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub delay_s: f64,
    /// Name of the hydraulic supply; its own when absent.
    pub supply: Option<String>,
}

impl Default for ActuatorSpec {
    fn default() -> Self {
        // common practice, no source: a small electro-hydraulic fin servo
        ActuatorSpec {
            natural_frequency_rad_s: 12.0,
            damping_ratio: 0.8,
            rate_deg_s: 25.0,
            dead_band_deg: 0.1,
            backlash_deg: 0.1,
            delay_s: 0.05,
            supply: None,
        }
    }
}

/// A hydraulic supply shared between surfaces.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplySpec {
    /// Name that actuators refer to.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Sum of the absolute rates it can feed, deg/s.
    #[schemars(range(max = 1e5), extend("exclusiveMinimum" = 0.0))]
    pub total_rate_deg_s: f64,
}

/// What the control law can see.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SensorsSpec {
    /// Sample period of all sensors, s.
    #[schemars(range(max = 10.0), extend("exclusiveMinimum" = 0.0))]
    pub sample_period_s: f64,
    /// Position of the motion unit: x forward of midships, y to starboard, height above baseline, m.
    pub motion_unit_m: [f64; 3],
    /// Body rates p, q, r (deg/s).
    pub rate_deg_s: SensorErrorSpec,
    /// Roll and pitch (deg).
    pub attitude_deg: SensorErrorSpec,
    /// Accelerations of the motion unit (m/s2), gravity's share along the tilted axes included.
    pub acceleration_m_s2: SensorErrorSpec,
    /// Height above water at the height sensors (m).
    pub height_m: SensorErrorSpec,
    /// Speed through water (kn).
    pub speed_kn: SensorErrorSpec,
    /// Heading (deg).
    pub heading_deg: SensorErrorSpec,
    /// Surface angles (deg).
    pub surface_deg: SensorErrorSpec,
    /// Positions of the height sensors (x, y, height above baseline), m; the underside's middle and bow when empty.
    pub height_sensors_m: Vec<[f64; 3]>,
}

/// Errors of one kind of sensor, in the unit of its key.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SensorErrorSpec {
    /// White noise, standard deviation of one sample.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub noise: f64,
    /// Standard deviation of a bias that is drawn once a run.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub bias: f64,
    /// Quantisation step; 0 for none.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub step: f64,
    /// Delay, s.
    #[schemars(range(min = 0.0, max = 60.0))]
    pub delay_s: f64,
    /// Corner of the anti-alias filter (first order), Hz.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub filter_hz: f64,
}

impl SensorErrorSpec {
    /// Noise, bias, quantisation step, delay (s), filter corner (Hz).
    pub const fn new(noise: f64, bias: f64, step: f64, delay_s: f64, filter_hz: f64) -> Self {
        SensorErrorSpec {
            noise,
            bias,
            step,
            delay_s,
            filter_hz,
        }
    }
}

impl Default for SensorsSpec {
    fn default() -> Self {
        // common practice, no source: a marine motion unit, radar height, log and gyro
        SensorsSpec {
            sample_period_s: 0.1,
            motion_unit_m: [0.0, 0.0, 5.0],
            rate_deg_s: SensorErrorSpec::new(0.02, 0.01, 0.0, 0.02, 5.0),
            attitude_deg: SensorErrorSpec::new(0.03, 0.05, 0.0, 0.04, 5.0),
            acceleration_m_s2: SensorErrorSpec::new(0.02, 0.01, 0.0, 0.02, 5.0),
            height_m: SensorErrorSpec::new(0.03, 0.02, 0.01, 0.1, 2.0),
            speed_kn: SensorErrorSpec::new(0.05, 0.1, 0.0, 0.5, 0.5),
            heading_deg: SensorErrorSpec::new(0.05, 0.1, 0.0, 0.1, 2.0),
            surface_deg: SensorErrorSpec::new(0.02, 0.05, 0.0, 0.02, 5.0),
            height_sensors_m: Vec::new(),
        }
    }
}

/// A propeller (thrust commanded by the speed hold, first-order lag).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PropulsorSpec {
    /// Unique name.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Position: x forward of midships, m.
    pub x_m: f64,
    /// Position: to starboard, m.
    pub y_m: f64,
    /// Shaft height above the baseline, m.
    pub height_m: f64,
    /// Propeller diameter, m.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub diameter_m: f64,
    /// Greatest thrust, N.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub max_thrust_n: f64,
    /// Time constant of thrust, s.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub time_constant_s: f64,
}

fn one() -> f64 {
    1.0
}

fn thickness() -> f64 {
    0.15
}
