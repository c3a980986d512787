//! The scenario file, field by field (`ridewright.scenario/1`): a craft, a sea, laws, and how to
//! run them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::orders::OrderSpec;

/// A scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScenarioSpec {
    /// Always `ridewright.scenario/1`.
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
    /// Sea file, relative to this file.
    #[schemars(length(min = 1))]
    pub sea: String,
    /// Controller files, relative to this file; the first is the baseline.
    #[schemars(length(min = 1), inner(length(min = 1)))]
    pub controllers: Vec<String>,
    /// Speeds, kn.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 80.0)))]
    pub speeds_kn: Vec<f64>,
    /// Wave headings mu (where waves travel to, 180 head seas), deg.
    #[schemars(length(min = 1), inner(range(min = 0.0, max = 360.0)))]
    pub headings_deg: Vec<f64>,
    /// Random seeds; each is one record of the sea.
    #[serde(default = "seeds")]
    #[schemars(length(min = 1))]
    pub seeds: Vec<u64>,
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
    /// Interval of the stored record, s.
    #[serde(default = "record")]
    #[schemars(range(max = 60.0), extend("exclusiveMinimum" = 0.0))]
    pub record_s: f64,
    /// Integrator; when absent `fixed_step`, and `predictor_corrector` where a verb simulates many seas beside other work
    /// (operability's check, a tuner's confirmation).
    #[serde(default)]
    pub integrator: Option<Integrator>,
    /// How heading and speed are kept.
    #[serde(default)]
    pub course: CourseSpec,
    /// What humans order in the course of every run.
    #[serde(default)]
    pub orders: Vec<OrderSpec>,
    /// Fault file, relative to this file; what it tells breaks in every run of `run` and `compare`. Verbs that do
    /// not simulate look at the whole craft.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub fault: Option<String>,
    /// Switches of the physics.
    #[serde(default)]
    pub physics: PhysicsSpec,
}

/// Integrator.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Integrator {
    /// Fourth-order Runge-Kutta with fixed step.
    #[default]
    FixedStep,
    /// Adams predictor and corrector with fixed step, what is linear carried exactly, waves in single precision: one
    /// evaluation of the forces a step, for many seas.
    PredictorCorrector,
    /// Dormand-Prince 5(4) of `ode_solvers`, restarted at every sample: the reference.
    Dopri5,
}

impl Integrator {
    /// In words for tables.
    pub fn words(self) -> &'static str {
        match self {
            Integrator::FixedStep => "fixed-step Runge-Kutta",
            Integrator::PredictorCorrector => "predictor and corrector",
            Integrator::Dopri5 => "Dormand-Prince, the reference",
        }
    }
}

/// How heading and speed are kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum CourseSpec {
    /// Rudders and thrust keep them: a free run.
    Kept {
        /// Rudder angle per heading error, deg/deg.
        #[serde(default = "rudder_p")]
        #[schemars(range(min = 0.0, max = 100.0))]
        heading_deg_per_deg: f64,
        /// Rudder angle per yaw rate, deg s/deg.
        #[serde(default = "rudder_d")]
        #[schemars(range(min = 0.0, max = 100.0))]
        heading_deg_s_per_deg: f64,
        /// Time constant of the wave filter on the heading error, s.
        #[serde(default = "wave_filter")]
        wave_filter_s: f64,
        /// Time constant of the speed hold's integrator, s.
        #[serde(default = "speed_hold")]
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        speed_hold_s: f64,
    },
    /// Mean course and speed are held by soft springs on surge, sway and yaw (seakeeping axes
    /// of a towed model): for comparison with linear theory.
    MeanHeld {
        /// Natural period of the springs, s.
        #[serde(default = "spring")]
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        spring_period_s: f64,
    },
}

impl Default for CourseSpec {
    fn default() -> Self {
        CourseSpec::Kept {
            heading_deg_per_deg: rudder_p(),
            heading_deg_s_per_deg: rudder_d(),
            wave_filter_s: wave_filter(),
            speed_hold_s: speed_hold(),
        }
    }
}

/// Switches of the physics, for comparison with outside results.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PhysicsSpec {
    /// Surge coupled to the other modes.
    pub surge_coupling: bool,
    /// Interaction of the two hulls' waves.
    pub interaction: InteractionSpec,
    /// Zero-frequency treatment of the heave added mass.
    pub low_frequency: LowFrequencySpec,
    /// End correction of the speed moment (Munk's k2 - k1).
    pub end_correction: bool,
    /// Memory of the radiated waves; off takes the infinite-frequency mass only.
    pub memory: bool,
    /// Quadratic cross-flow drag of hulls and struts.
    pub cross_flow_drag: bool,
    /// Linear body lift of the lower hulls.
    pub body_lift: bool,
    /// Restoring beyond the linear range (struts emerge, the cross-structure enters).
    pub nonlinear_restoring: bool,
    /// First-order wave forces.
    pub wave_forces: bool,
    /// Fins, flaps and rudders present.
    pub surfaces: bool,
    /// Fin effects, each on or off.
    pub fins: FinEffectsSpec,
    /// Sensor noise and bias.
    pub sensor_errors: bool,
    /// Stations along each lower hull; the program's own when absent.
    #[schemars(length(min = 5))]
    pub stations_x_m: Option<Vec<f64>>,
    /// Frequencies of the radiation tables, rad/s; the program's own when absent.
    #[schemars(length(min = 3))]
    pub frequencies_rad_s: Option<Vec<f64>>,
}

impl Default for PhysicsSpec {
    fn default() -> Self {
        PhysicsSpec {
            surge_coupling: true,
            interaction: InteractionSpec::Faded,
            low_frequency: LowFrequencySpec::FiniteLength,
            end_correction: true,
            memory: true,
            cross_flow_drag: true,
            body_lift: true,
            nonlinear_restoring: true,
            wave_forces: true,
            surfaces: true,
            fins: FinEffectsSpec::default(),
            sensor_errors: true,
            stations_x_m: None,
            frequencies_rad_s: None,
        }
    }
}

/// Interaction of the two hulls' waves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum InteractionSpec {
    /// Two-dimensional interaction as solved, standing waves and all.
    Full,
    /// Faded with frequency and with the Brard number: waves escape in three dimensions.
    #[default]
    Faded,
    /// Each hull alone.
    Isolated,
}

/// Zero-frequency treatment of the heave added mass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LowFrequencySpec {
    /// Damping below the craft's own wave number follows the three-dimensional radiation of a strip of finite length.
    #[default]
    FiniteLength,
    /// Two-dimensional values down to the lowest frequency of the grid.
    Sectional,
}

/// Fin effects.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct FinEffectsSpec {
    /// Carry-over of lift to the body.
    pub body_carry_over: bool,
    /// Nearness of the free surface.
    pub free_surface: bool,
    /// Downwash of forward surfaces on aft ones.
    pub downwash: bool,
    /// Unsteady lag (Wagner, Kussner).
    pub unsteady_lag: bool,
    /// Added mass of the surface.
    pub added_mass: bool,
    /// Wave orbital velocity at the surface.
    pub orbital_velocity: bool,
    /// Stall and nonlinear cross-flow lift.
    pub stall: bool,
}

impl Default for FinEffectsSpec {
    fn default() -> Self {
        FinEffectsSpec {
            body_carry_over: true,
            free_surface: true,
            downwash: true,
            unsteady_lag: true,
            added_mass: true,
            orbital_velocity: true,
            stall: true,
        }
    }
}

fn seeds() -> Vec<u64> {
    vec![1]
}

fn run_in() -> f64 {
    120.0
}

fn step() -> f64 {
    0.05
}

fn record() -> f64 {
    0.1
}

fn rudder_p() -> f64 {
    1.0
}

fn rudder_d() -> f64 {
    4.0
}

fn wave_filter() -> f64 {
    6.0
}

fn speed_hold() -> f64 {
    60.0
}

fn spring() -> f64 {
    120.0
}
