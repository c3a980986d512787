//! A toy craft with known solutions, for tests of the loop.
//!
//! One mass with springs in heave and pitch, a rudder that yaws, a shaft that pushes against
//! linear resistance, two fins of second-order servos. Small numbers, full kinematics.

use nalgebra::Vector3;
use num_complex::Complex64;

use super::case::{Case, Integrator, Parts, Sensing, Timing};
use super::checks::Limits;
use super::contact::UndersidePoint;
use super::craft::Craft;
use crate::control::signal::{FinCommand, Measurement, Setup, SurfaceSetup};
use crate::control::{Controller, ControllerInfo};
use crate::dynamics::actuator::Actuator;
use crate::dynamics::course::{HeadingGains, HeadingHold, Rudder, SpeedHold};
use crate::dynamics::plant::{PlantInput, WaveChannel};
use crate::dynamics::state::StateLayout;
use crate::error::Result;
use crate::frames::{body_to_earth, euler_rates};
use crate::math::rng::{Purpose, Stream};
use crate::sea::realisation::Component;
use crate::spec::craft::{SupplySpec, SurfaceGroup, SurfaceSpec};
use crate::units::G_M_S2;
use crate::units::deg;

/// Speed, m/s.
pub(crate) const SPEED_M_S: f64 = 8.0;
/// Surge mass, kg, and resistance per speed, N s/m.
const SURGE: (f64, f64) = (1000.0, 50.0);

/// The toy.
#[derive(Clone, Debug)]
pub(crate) struct Toy {
    layout: StateLayout,
    channels: Vec<WaveChannel>,
    /// Servos: 12 rad/s, 0.8 damping, 0.1 s delay, no dead band, no backlash, on one supply.
    pub(crate) actuators: Vec<Actuator>,
    /// Natural frequency, rad/s, and damping ratio in heave.
    pub(crate) heave: (f64, f64),
    /// The same in pitch.
    pub(crate) pitch: (f64, f64),
    /// Becomes not-a-number when heave exceeds this, m.
    pub(crate) poison_m: f64,
}

impl Toy {
    pub(crate) fn new() -> Self {
        Toy {
            layout: StateLayout::new(0, 3, 0, 1),
            channels: vec![
                WaveChannel::Force(2),
                WaveChannel::Force(4),
                WaveChannel::Elevation { x_m: 0.0, y_m: 0.0 },
            ],
            actuators: ["fwd", "aft", "rudder"].map(servo).to_vec(),
            heave: (0.8, 0.05),
            pitch: (0.6, 0.1),
            poison_m: f64::INFINITY,
        }
    }

    /// Heave force per amplitude and mass, m/s2 per m.
    pub(crate) fn heave_force(omega_rad_s: f64) -> Complex64 {
        Complex64::new(-0.5, 0.2 * omega_rad_s)
    }
}

impl Craft for Toy {
    fn speed_m_s(&self) -> f64 {
        SPEED_M_S
    }
    fn g_m_s2(&self) -> f64 {
        G_M_S2
    }
    fn layout(&self) -> &StateLayout {
        &self.layout
    }
    fn surface_names(&self) -> Vec<String> {
        ["fwd", "aft", "rudder"].map(str::to_owned).to_vec()
    }
    fn actuators(&self) -> &[Actuator] {
        &self.actuators
    }
    fn shaft_names(&self) -> Vec<String> {
        vec!["shaft".into()]
    }
    fn channels(&self) -> &[WaveChannel] {
        &self.channels
    }
    fn channel_amplitudes(&self, omega_rad_s: f64, _mu: f64, out: &mut [Complex64]) {
        out[0] = Toy::heave_force(omega_rad_s);
        out[1] = Complex64::new(0.0, 0.05);
        out[2] = Complex64::new(1.0, 0.0);
    }
    fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        let nu = &x[6..12];
        let v = body_to_earth(x[3], x[4], x[5]) * Vector3::new(nu[0], nu[1], nu[2]);
        dx[0] = v.x - SPEED_M_S;
        dx[1] = v.y;
        dx[2] = v.z;
        let e = euler_rates(
            &body_to_earth(x[3], x[4], x[5]),
            &Vector3::new(nu[3], nu[4], nu[5]),
        );
        dx[3..6].copy_from_slice(e.as_slice());
        let l = &self.layout;
        let fins = [0, 1].map(|i| x[l.angle(i)]);
        let rudder = x[l.angle(2)];
        let spring = |(w, z): (f64, f64), s: f64, v: f64| -w * w * s - 2.0 * z * w * v;
        dx[6] = (x[l.thrust.start] - SURGE.1 * nu[0]) / SURGE.0;
        // sway and roll are damped only; the yawed craft slips back onto its heading
        dx[7] = -0.5 * nu[1];
        // vertical velocity of the earth axes: w - u theta
        let rise_rate = v.z;
        dx[8] = spring(self.heave, x[2], rise_rate) + input.waves[0] - 2.0 * (fins[0] + fins[1])
            + nu[4] * nu[0];
        dx[9] = -nu[3] - x[3];
        dx[10] = spring(self.pitch, x[4], nu[4]) + input.waves[1] + 0.5 * (fins[0] - fins[1]);
        dx[11] = -0.5 * nu[5] - 0.2 * rudder;
        if x[2].abs() > self.poison_m {
            dx[8] = f64::NAN;
        }
        dx[l.lag.clone()].fill(0.0);
        for i in 0..3 {
            dx[l.angle(i)] = x[l.rate(i)];
        }
        self.command_rows(x, input, dx);
    }
    fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        let l = &self.layout;
        for (i, a) in self.actuators.iter().enumerate() {
            let limit = input.rate_limit_rad_s[i];
            dx[l.rate(i)] =
                a.acceleration(input.command_rad[i], x[l.angle(i)], x[l.rate(i)], limit);
        }
        let t = l.thrust.start;
        dx[t] = (input.thrust_n[0] - x[t]) / 1.0;
    }
    fn surface_angle_rad(&self, surface: usize, x: &[f64], _hold_rad: f64) -> f64 {
        x[self.layout.angle(surface)]
    }
    fn lift_n(&self, x: &[f64], _input: &PlantInput, out: &mut [f64]) {
        for (i, lift) in out.iter_mut().enumerate() {
            *lift = 2.0 * x[self.layout.angle(i)];
        }
    }
}

/// The supply of all three servos.
fn supply() -> SupplySpec {
    SupplySpec {
        name: "main".into(),
        total_rate_deg_s: 50.0,
    }
}

fn servo(name: &str) -> Actuator {
    let surface: SurfaceSpec = serde_json::from_value(serde_json::json!({
        "name": name, "group": "forward", "stock_x_m": 0.0, "root_y_m": 0.0,
        "root_height_m": 1.0, "span_angle_deg": 0.0, "span_m": 1.0, "root_chord_m": 1.0,
        "tip_chord_m": 1.0, "stock_frac": 0.3, "moving": {"all_movable": {}},
        "min_deg": -23.0, "max_deg": 23.0,
        "actuator": {"natural_frequency_rad_s": 12.0, "damping_ratio": 0.8, "rate_deg_s": 30.0,
            "dead_band_deg": 0.0, "backlash_deg": 0.0, "delay_s": 0.1, "supply": "main"}
    }))
    .unwrap();
    Actuator::new(&surface, &[supply()])
}

/// Holds trim, damps heave and pitch, or misbehaves.
#[derive(Clone, Debug, Default)]
pub(crate) struct ToyLaw {
    /// Fin angle per heave rate, rad s/m.
    pub(crate) heave_rate: f64,
    /// Fails from this time on, s.
    pub(crate) fails_at_s: Option<f64>,
    /// Writes not-a-number from this time on, s.
    pub(crate) nan_at_s: Option<f64>,
    /// A step of the forward fin at this time, s and rad.
    pub(crate) step: Option<(f64, f64)>,
}

impl Controller for ToyLaw {
    fn info(&self) -> ControllerInfo {
        ControllerInfo {
            name: "toy law".into(),
            ..ControllerInfo::default()
        }
    }
    fn reset(&mut self, setup: &Setup) -> Result<()> {
        setup.check()
    }
    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        if self.fails_at_s.is_some_and(|at| t_s >= at) {
            return Err(crate::error::Error::new("the law gives up"));
        }
        let rate = y.truth.map_or(0.0, |t| t.heave_rate_m_s);
        for i in 0..2 {
            u.fin_rad[i] = self.heave_rate * rate;
        }
        if let Some((at, angle)) = self.step {
            u.fin_rad[0] = if t_s >= at - 1e-9 { angle } else { 0.0 };
        }
        if self.nan_at_s.is_some_and(|at| t_s >= at) {
            u.fin_rad[1] = f64::NAN;
        }
        Ok(())
    }
    fn trace(&self, out: &mut crate::control::signal::Trace) {
        out.push("gain_rad_s", self.heave_rate);
    }
}

/// A sea of `n` components.
pub(crate) fn sea(n: usize) -> Vec<Component> {
    let mut s = Stream::new(11, 0, Purpose::Other);
    let spread = |s: &mut Stream, i: usize| (i as f64 + s.uniform()) / n as f64;
    (0..n)
        .map(|i| Component {
            omega_rad_s: 0.4 + 1.6 * spread(&mut s, i),
            mu_rad: 2.6 + s.uniform_in(-0.5, 0.5),
            amplitude_m: 0.6 / (n as f64).sqrt(),
            phase_rad: s.phase_rad(),
        })
        .collect()
}

/// The toy at trim in a sea, course and speed kept.
pub(crate) fn parts(toy: Toy, components: Vec<Component>, timing: Timing) -> Parts {
    let up = Vector3::new(0.0, 0.0, -1.0);
    let surface = |name: &str, group, x: f64, n: Vector3<f64>| SurfaceSetup {
        name: name.into(),
        group,
        r_m: Vector3::new(x, 0.0, 2.0),
        n,
        effectiveness: 1.0,
        influence: SurfaceSetup::influence_at(&Vector3::new(x, 0.0, 2.0), &n, 1.0),
        trim_rad: 0.0,
        min_rad: -0.4,
        max_rad: 0.4,
        rate_rad_s: 0.5,
        servo: crate::control::signal::ServoSetup::default(),
    };
    let setup = Setup {
        surfaces: vec![
            surface("fwd", SurfaceGroup::Forward, 8.0, up),
            surface("aft", SurfaceGroup::Aft, -8.0, up),
            surface("rudder", SurfaceGroup::Rudder, -12.0, Vector3::y()),
        ],
        wakes: Vec::new(),
        sample_period_s: timing.sample_s(),
        motion_unit_m: Vector3::new(1.0, 0.0, -2.0),
        height_sensors_m: vec![Vector3::new(5.0, 0.0, -3.0)],
        nominal_speed_m_s: SPEED_M_S,
        influence_speed_m_s: SPEED_M_S,
        trim_heave_m: 0.0,
        trim_pitch_rad: 0.0,
        displacement_kg: 250e3,
        heave_mass_kg: 1.0,
        roll_inertia_kg_m2: 1.0,
        pitch_inertia_kg_m2: 1.0,
        supplies_rad_s: Vec::new(),
        sensors: crate::control::signal::SensorSetup::default(),
    };
    let thrust = SURGE.1 * SPEED_M_S;
    let mut start = vec![0.0; toy.layout.len()];
    start[6] = SPEED_M_S;
    start[toy.layout.thrust.start] = thrust;
    let rudder = Rudder {
        surface: 2,
        trim_rad: 0.0,
        min_rad: -0.4,
        max_rad: 0.4,
    };
    let gains = HeadingGains {
        proportional: 1.0,
        derivative_s: 4.0,
        wave_filter_s: 2.0,
    };
    Parts {
        name: "toy".into(),
        craft: std::sync::Arc::new(toy),
        components,
        wind: None,
        supply_rad_s: vec![deg(supply().total_rate_deg_s)],
        sensing: Sensing::Perfect,
        heading: Some(HeadingHold::new(
            0.0,
            &gains,
            timing.sample_s(),
            vec![rudder],
        )),
        speed: Some(SpeedHold::new(
            SPEED_M_S,
            SURGE.0,
            30.0,
            timing.sample_s(),
            vec![thrust],
            vec![10.0 * thrust],
        )),
        setup,
        timing,
        integrator: Integrator::FixedStep,
        start,
        thrust_n: vec![thrust],
        points: vec![super::case::NamedPoint {
            name: "bridge".into(),
            r_m: Vector3::new(6.0, 0.0, -6.0),
        }],
        underside: vec![UndersidePoint {
            name: "bow".into(),
            r_m: Vector3::new(10.0, 0.0, -1.0),
        }],
        own_wave_factor: 1.0,
        limits: Limits::new(5.0, 5.0),
        orders: Vec::new(),
        faults: Vec::new(),
    }
}

/// Seconds: judged, run-in, step, with samples and records every 0.1 s.
pub(crate) fn timing(duration_s: f64, run_in_s: f64, step_s: f64) -> Timing {
    Timing::new(duration_s, run_in_s, step_s, 0.1, 0.1).unwrap()
}

/// A case of the toy.
pub(crate) fn case(components: Vec<Component>, timing: Timing) -> Case {
    Case::new(parts(Toy::new(), components, timing)).unwrap()
}
