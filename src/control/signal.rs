//! Measurements, commands, limits: everything that passes between a law and the rest.
//!
//! # Symbols
//! SI units and radians; axes and signs of [`crate::frames`]: z down, pitch bow up, roll starboard
//! down, deflection positive where it lifts.
//!
//! # Acceleration
//! [`Measurement::specific_force_m_s2`] is what an accelerometer reads, in body axes at the motion
//! unit: `f = a - R' g`, so a craft at rest on an even keel reads (0, 0, -g), a bow-up pitch adds
//! `+g sin theta` along x, and the lever arm of the unit is in it.
//!
//! # Height
//! [`Measurement::height_m`] is the height of each sensor above the local water surface, up
//! positive: `h = -(z_O + (R r)_z) - zeta`.

use nalgebra::Vector3;

use crate::error::{Error, Problem, Result};
use crate::spec::craft::{ActuatorSpec, SensorErrorSpec, SensorsSpec, SurfaceGroup};
use crate::units::{deg, kn};

/// Force and moments per rad of one surface at [`Setup::influence_speed_m_s`], about O, body axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ModalInfluence {
    /// Force along z, N/rad (a fin that lifts is negative: z is down).
    pub heave_n: f64,
    /// Moment about x, N m/rad.
    pub roll_nm: f64,
    /// Moment about y, N m/rad.
    pub pitch_nm: f64,
}

/// What a law may know of one surface.
#[derive(Clone, Debug, PartialEq)]
pub struct SurfaceSetup {
    /// Channel name.
    pub name: String,
    /// Forward, aft or rudder.
    pub group: SurfaceGroup,
    /// Centre of pressure from O, m.
    pub r_m: Vector3<f64>,
    /// Unit direction of the force of a positive deflection.
    pub n: Vector3<f64>,
    /// Force along `n` per rad and per (m/s)^2, N s2/m2; 0 for a surface that does not move.
    pub effectiveness: f64,
    /// Its share in heave, roll and pitch at [`Setup::influence_speed_m_s`].
    pub influence: ModalInfluence,
    /// Angle at which the craft is trimmed at the run's speed, rad.
    pub trim_rad: f64,
    /// Least angle, rad.
    pub min_rad: f64,
    /// Greatest angle, rad.
    pub max_rad: f64,
    /// Greatest rate of the servo, rad/s.
    pub rate_rad_s: f64,
    /// Its servo.
    pub servo: ServoSetup,
}

/// What a law may know of a servo: the numbers of the craft file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ServoSetup {
    /// Natural frequency, rad/s.
    pub natural_frequency_rad_s: f64,
    /// Damping ratio.
    pub damping_ratio: f64,
    /// Dead band of its error, full width, rad.
    pub dead_band_rad: f64,
    /// Backlash behind it, full width, rad.
    pub backlash_rad: f64,
    /// Delay of the command, s.
    pub delay_s: f64,
    /// Its supply in [`Setup::supplies_rad_s`].
    pub supply: Option<usize>,
}

impl From<&ActuatorSpec> for ServoSetup {
    fn from(a: &ActuatorSpec) -> Self {
        ServoSetup {
            natural_frequency_rad_s: a.natural_frequency_rad_s,
            damping_ratio: a.damping_ratio,
            dead_band_rad: deg(a.dead_band_deg),
            backlash_rad: deg(a.backlash_deg),
            delay_s: a.delay_s,
            supply: None,
        }
    }
}

impl Default for ServoSetup {
    fn default() -> Self {
        ServoSetup::from(&ActuatorSpec::default())
    }
}

/// Errors of a kind of sensor as stated, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorError {
    /// White noise of a sample, standard deviation.
    pub noise: f64,
    /// Standard deviation of its constant bias.
    pub bias: f64,
    /// Quantisation step.
    pub step: f64,
    /// Delay, s.
    pub delay_s: f64,
    /// Corner of its first-order filter, rad/s; infinite without one.
    pub corner_rad_s: f64,
}

impl SensorError {
    /// The errors of a craft file; `unit` is its unit in SI.
    pub fn new(e: &SensorErrorSpec, unit: f64) -> Self {
        SensorError {
            noise: e.noise * unit,
            bias: e.bias * unit,
            step: e.step * unit,
            delay_s: e.delay_s,
            corner_rad_s: if e.filter_hz > 0.0 {
                std::f64::consts::TAU * e.filter_hz
            } else {
                f64::INFINITY
            },
        }
    }

    /// Standard deviation of noise and quantisation together.
    pub fn scatter(&self) -> f64 {
        self.noise.hypot(self.step / 12f64.sqrt())
    }
}

/// Errors of all kinds of sensor as stated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorSetup {
    /// Rates.
    pub rate: SensorError,
    /// Roll and pitch.
    pub attitude: SensorError,
    /// Specific force.
    pub acceleration: SensorError,
    /// Heights.
    pub height: SensorError,
    /// Speed.
    pub speed: SensorError,
    /// Heading.
    pub heading: SensorError,
    /// Surface angles.
    pub surface: SensorError,
}

impl From<&SensorsSpec> for SensorSetup {
    fn from(s: &SensorsSpec) -> Self {
        SensorSetup {
            rate: SensorError::new(&s.rate_deg_s, deg(1.0)),
            attitude: SensorError::new(&s.attitude_deg, deg(1.0)),
            acceleration: SensorError::new(&s.acceleration_m_s2, 1.0),
            height: SensorError::new(&s.height_m, 1.0),
            speed: SensorError::new(&s.speed_kn, kn(1.0)),
            heading: SensorError::new(&s.heading_deg, deg(1.0)),
            surface: SensorError::new(&s.surface_deg, deg(1.0)),
        }
    }
}

impl Default for SensorSetup {
    fn default() -> Self {
        SensorSetup::from(&SensorsSpec::default())
    }
}

impl SurfaceSetup {
    /// Influence of a force `effectiveness U^2` along `n` at `r`, per rad.
    pub fn influence_at(r_m: &Vector3<f64>, n: &Vector3<f64>, force_n: f64) -> ModalInfluence {
        let w = crate::frames::wrench_at(r_m, &(n * force_n));
        ModalInfluence {
            heave_n: w[2],
            roll_nm: w[3],
            pitch_nm: w[4],
        }
    }
}

/// Force that a surface loses to the wake of another one upstream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wake {
    /// Surface that sheds it, by index in [`Setup::surfaces`].
    pub from: usize,
    /// Surface that meets it.
    pub to: usize,
    /// Force lost by `to` along its n per force of `from` along its own.
    pub force_ratio: f64,
    /// Distance downstream, m: the loss comes this distance over the speed later.
    pub distance_m: f64,
}

/// What a law is told before a run. Data only: the law knows no hydrodynamics.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// All surfaces, rudders too, in the order of every command and of the measured angles.
    pub surfaces: Vec<SurfaceSetup>,
    /// Wakes between them; the influences of the surfaces do not contain them.
    pub wakes: Vec<Wake>,
    /// Interval between calls of `update`, s.
    pub sample_period_s: f64,
    /// Motion unit (rates, attitude, accelerations) from O, m.
    pub motion_unit_m: Vector3<f64>,
    /// Height sensors from O, m.
    pub height_sensors_m: Vec<Vector3<f64>>,
    /// Speed of the run, m/s.
    pub nominal_speed_m_s: f64,
    /// Speed at which the influences of the surfaces hold, m/s.
    pub influence_speed_m_s: f64,
    /// Heave of O at trim (sinkage, down positive), m: the set-point of heave.
    pub trim_heave_m: f64,
    /// Pitch at trim, rad: the set-point of pitch.
    pub trim_pitch_rad: f64,
    /// Weight of the loading the craft sails in, kg: what the crew knows from its tanks and draught marks.
    pub displacement_kg: f64,
    /// Mass with added mass in heave, kg.
    pub heave_mass_kg: f64,
    /// Inertia with added inertia in roll, kg m2.
    pub roll_inertia_kg_m2: f64,
    /// Inertia with added inertia in pitch, kg m2.
    pub pitch_inertia_kg_m2: f64,
    /// Sum of the rates that each shared supply can feed, rad/s.
    pub supplies_rad_s: Vec<f64>,
    /// Stated errors of the sensors.
    pub sensors: SensorSetup,
}

impl Setup {
    /// Index of the surface called `name`.
    pub fn channel(&self, name: &str) -> Option<usize> {
        self.surfaces.iter().position(|s| s.name == name)
    }

    /// The same but for the displacement (kg): all that a crew tells a law of another loading.
    #[must_use]
    pub fn weighing(&self, displacement_kg: f64) -> Setup {
        Setup {
            displacement_kg,
            ..self.clone()
        }
    }

    /// All that makes the setup unusable: no sample period, no weight, non-finite numbers, limits crossed.
    ///
    /// # Errors
    /// One problem per fault found.
    pub fn check(&self) -> Result<()> {
        let mut bad = Vec::new();
        if !(self.sample_period_s > 0.0 && self.sample_period_s.is_finite()) {
            bad.push(Problem::at(
                "sample_period_s",
                format!("is {} s, must be positive", self.sample_period_s),
            ));
        }
        if !(self.influence_speed_m_s > 0.0 && self.influence_speed_m_s.is_finite()) {
            bad.push(Problem::at(
                "influence_speed_m_s",
                format!("is {} m/s, must be positive", self.influence_speed_m_s),
            ));
        }
        if !(self.displacement_kg > 0.0 && self.displacement_kg.is_finite()) {
            bad.push(Problem::at(
                "displacement_kg",
                format!("is {} kg, must be positive", self.displacement_kg),
            ));
        }
        for s in &self.surfaces {
            let i = &s.influence;
            let all = [
                s.trim_rad, s.min_rad, s.max_rad, i.heave_n, i.roll_nm, i.pitch_nm,
            ];
            if all.iter().any(|v| !v.is_finite()) || s.min_rad > s.max_rad {
                bad.push(Problem::at(
                    format!("surfaces.{}", s.name),
                    "has a non-finite number or crossed limits",
                ));
            }
        }
        if bad.is_empty() {
            Ok(())
        } else {
            Err(bad.into())
        }
    }
}

/// What a law shall hold, about trim; all zero is trim.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SetPoint {
    /// Heave of O about trim, down positive, m.
    pub heave_m: f64,
    /// Pitch about trim, bow up, rad.
    pub pitch_rad: f64,
    /// Roll, starboard down, rad.
    pub roll_rad: f64,
}

/// Which readings may be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Validity {
    /// p, q, r.
    pub rates: bool,
    /// Roll and pitch.
    pub attitude: bool,
    /// Specific force.
    pub acceleration: bool,
    /// Speed through water.
    pub speed: bool,
    /// Heading.
    pub heading: bool,
    /// Each height sensor.
    pub height: Vec<bool>,
    /// Each surface angle.
    pub surface: Vec<bool>,
}

/// Motion of O without any sensor between: for comparison only. A law that reads it is no law for
/// a craft; only [`crate::control::lqr`] with `perfect_state` does.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Truth {
    /// Heave of O from the design waterline, down positive, m.
    pub heave_m: f64,
    /// Its derivative in earth axes, m/s.
    pub heave_rate_m_s: f64,
    /// Body velocity along z, m/s.
    pub w_m_s: f64,
    /// Roll, rad.
    pub phi_rad: f64,
    /// Pitch, rad.
    pub theta_rad: f64,
    /// Roll rate, rad/s.
    pub p_rad_s: f64,
    /// Pitch rate, rad/s.
    pub q_rad_s: f64,
}

/// What the sensors say at one instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurement {
    /// Body rates p, q, r, rad/s.
    pub rates_rad_s: Vector3<f64>,
    /// Roll, rad.
    pub phi_rad: f64,
    /// Pitch, rad.
    pub theta_rad: f64,
    /// Specific force at the motion unit, body axes, m/s2 (see the module text).
    pub specific_force_m_s2: Vector3<f64>,
    /// Height of each height sensor above the water, m.
    pub height_m: Vec<f64>,
    /// Speed through water, m/s.
    pub speed_m_s: f64,
    /// Heading, rad.
    pub heading_rad: f64,
    /// Angle of each surface, rad.
    pub surface_rad: Vec<f64>,
    /// Which of these may be used.
    pub valid: Validity,
    /// True motion, for comparison only; absent in a craft.
    pub truth: Option<Truth>,
}

impl Measurement {
    /// Takes over all readings of `y`, of the same craft, without allocating.
    pub fn copy_from(&mut self, y: &Measurement) {
        self.rates_rad_s = y.rates_rad_s;
        (self.phi_rad, self.theta_rad) = (y.phi_rad, y.theta_rad);
        self.specific_force_m_s2 = y.specific_force_m_s2;
        self.height_m.copy_from_slice(&y.height_m);
        self.speed_m_s = y.speed_m_s;
        self.heading_rad = y.heading_rad;
        self.surface_rad.copy_from_slice(&y.surface_rad);
        let (to, from) = (&mut self.valid, &y.valid);
        (to.rates, to.attitude) = (from.rates, from.attitude);
        (to.acceleration, to.speed) = (from.acceleration, from.speed);
        to.heading = from.heading;
        to.height.copy_from_slice(&from.height);
        to.surface.copy_from_slice(&from.surface);
        self.truth = y.truth;
    }

    /// Readings of a craft that rests at trim: the right lengths, everything valid.
    pub fn at_trim(setup: &Setup) -> Self {
        let (st, ct) = setup.trim_pitch_rad.sin_cos();
        let g = crate::units::G_M_S2;
        let heights = setup
            .height_sensors_m
            .iter()
            .map(|r| -(setup.trim_heave_m + vertical(r, 0.0, setup.trim_pitch_rad)))
            .collect::<Vec<_>>();
        Measurement {
            rates_rad_s: Vector3::zeros(),
            phi_rad: 0.0,
            theta_rad: setup.trim_pitch_rad,
            specific_force_m_s2: Vector3::new(g * st, 0.0, -g * ct),
            valid: Validity {
                rates: true,
                attitude: true,
                acceleration: true,
                speed: true,
                heading: true,
                height: vec![true; heights.len()],
                surface: vec![true; setup.surfaces.len()],
            },
            height_m: heights,
            speed_m_s: setup.nominal_speed_m_s,
            heading_rad: 0.0,
            surface_rad: setup.surfaces.iter().map(|s| s.trim_rad).collect(),
            truth: None,
        }
    }
}

/// Vertical (down) component in earth axes of the body vector `r` at roll and pitch: the third row
/// of the body-to-earth rotation times `r`.
pub fn vertical(r: &Vector3<f64>, phi_rad: f64, theta_rad: f64) -> f64 {
    let (sf, cf) = phi_rad.sin_cos();
    let (st, ct) = theta_rad.sin_cos();
    -st * r.x + ct * sf * r.y + ct * cf * r.z
}

/// Commanded angles with their limits. On entry of `update` the angles are those of the previous
/// call (the trim angles at the first); limits may shrink in a run (speed, faults).
#[derive(Clone, Debug, PartialEq)]
pub struct FinCommand {
    /// Angle asked of each surface, rad.
    pub fin_rad: Vec<f64>,
    /// Least angle at present, rad.
    pub min_rad: Vec<f64>,
    /// Greatest angle at present, rad.
    pub max_rad: Vec<f64>,
}

impl FinCommand {
    /// Every surface at its trim angle, limits as in the setup.
    pub fn at_trim(setup: &Setup) -> Self {
        FinCommand {
            fin_rad: setup.surfaces.iter().map(|s| s.trim_rad).collect(),
            min_rad: setup.surfaces.iter().map(|s| s.min_rad).collect(),
            max_rad: setup.surfaces.iter().map(|s| s.max_rad).collect(),
        }
    }

    /// Refuses commands that are not finite, naming channel and time.
    ///
    /// # Errors
    /// When any angle is NaN or infinite.
    pub fn check(&self, law: &str, setup: &Setup, t_s: f64) -> Result<()> {
        match self.fin_rad.iter().position(|v| !v.is_finite()) {
            None => Ok(()),
            Some(i) => Err(Error::new(format!(
                "`{law}` asked {} rad of `{}` at t = {t_s:.2} s, must be a finite angle",
                self.fin_rad[i], setup.surfaces[i].name
            ))),
        }
    }
}

/// Inner signals of a law for the report, by name. Names carry units.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trace {
    /// Name and value, in the order written.
    pub entries: Vec<(&'static str, f64)>,
}

impl Trace {
    /// Forgets the entries, keeps the memory.
    pub fn clear(&mut self) {
        self.entries.clear();
    }

    /// Adds one signal.
    pub fn push(&mut self, name: &'static str, value: f64) {
        self.entries.push((name, value));
    }

    /// Value of the signal called `name`.
    pub fn get(&self, name: &str) -> Option<f64> {
        self.entries.iter().find(|e| e.0 == name).map(|e| e.1)
    }
}
