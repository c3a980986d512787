//! Sensors: what the law sees of the truth.
//!
//! # Equation
//! Each channel: `y' = wc (u - y)` (anti-alias filter, exact for inputs linear between calls), delay, then at each
//! sample `round((y + bias + noise)/step) step`. The motion unit at r measures the specific force along its
//! tilted axes less its reading at rest:
//! `a = v' + omega x v + omega' x r + omega x (omega x r) + g (sin theta, -cos theta sin phi, 1 - cos theta cos phi)`.
//!
//! # Symbols
//! v, omega body velocities of O, primes their rates of change in body axes; wc corner of the filter.
//!
//! # Valid when
//! [`SensorSuite::advance`] is called at every integration step (or sampling only, when the filter's corner
//! is well above the sample rate). Headings are continuous, not wrapped. With errors off the filter and
//! the delay stay (a law has to live with them), noise, bias and quantisation go.
//!
//! # Source
//! Strap-down accelerometer: Fossen (2011), Handbook of Marine Craft Hydrodynamics and Motion Control, chapter
//! 11. Error sizes: the craft file.
//!
//! # Checked by
//! `gravity_shows_on_tilted_axes`, `lever_arm_adds_its_share`, `noise_and_bias_have_the_stated_size`,
//! `filter_and_delay_meet_the_response`, `same_key_same_readings`.

use std::collections::VecDeque;

use nalgebra::{Vector3, Vector6};
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use crate::spec::craft::{CraftSpec, SensorErrorSpec, SensorsSpec};
use crate::units::{KNOT_M_S, deg};

/// What really happens at one instant.
#[derive(Clone, Copy, Debug)]
pub struct Truth<'a> {
    /// Time, s; must not go back.
    pub time_s: f64,
    /// Position of O in earth axes, m.
    pub position_m: Vector3<f64>,
    /// Roll, pitch, yaw (yaw continuous), rad.
    pub euler_rad: Vector3<f64>,
    /// Body velocities of O, m/s and rad/s.
    pub nu: Vector6<f64>,
    /// Their rates of change in body axes, m/s2 and rad/s2.
    pub nu_dot: Vector6<f64>,
    /// Height above water at the height sensors, m.
    pub heights_m: &'a [f64],
    /// Speed through the water, m/s.
    pub speed_m_s: f64,
    /// Surface angles in the order of the craft file, rad.
    pub surfaces_rad: &'a [f64],
    /// Thrust of the propulsors, N; measured without error.
    pub thrust_n: &'a [f64],
}

/// What the sensors say, last sample.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// Time of the sample, s.
    pub time_s: f64,
    /// Body rates p, q, r, rad/s.
    pub rates_rad_s: [f64; 3],
    /// Roll and pitch, rad.
    pub attitude_rad: [f64; 2],
    /// Accelerations of the motion unit along x, y, z, m/s2; 0 at rest and upright.
    pub accelerations_m_s2: [f64; 3],
    /// Height above water at the height sensors, m.
    pub heights_m: Vec<f64>,
    /// Speed through water, m/s.
    pub speed_m_s: f64,
    /// Heading, continuous, rad.
    pub heading_rad: f64,
    /// Surface angles, rad.
    pub surfaces_rad: Vec<f64>,
    /// Thrust of the propulsors, N.
    pub thrust_n: Vec<f64>,
}

/// A kind of sensor, as the craft file groups them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SensorKind {
    /// Body rates.
    Rate,
    /// Roll and pitch.
    Attitude,
    /// Accelerations.
    Acceleration,
    /// Heights above water.
    Height,
    /// Speed.
    Speed,
    /// Heading.
    Heading,
    /// Surface angles.
    Surface,
}

impl SensorKind {
    /// Errors in SI.
    fn errors(self, s: &SensorsSpec) -> Errors {
        let (e, unit) = match self {
            SensorKind::Rate => (&s.rate_deg_s, deg(1.0)),
            SensorKind::Attitude => (&s.attitude_deg, deg(1.0)),
            SensorKind::Acceleration => (&s.acceleration_m_s2, 1.0),
            SensorKind::Height => (&s.height_m, 1.0),
            SensorKind::Speed => (&s.speed_kn, KNOT_M_S),
            SensorKind::Heading => (&s.heading_deg, deg(1.0)),
            SensorKind::Surface => (&s.surface_deg, deg(1.0)),
        };
        Errors::new(e, unit)
    }
}

/// How a kind of sensor blurs the truth, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blur {
    /// Corner of the anti-alias filter, rad/s; infinite without one.
    pub corner_rad_s: f64,
    /// Delay, s.
    pub delay_s: f64,
    /// Noise of a sample, standard deviation.
    pub noise: f64,
}

/// Filter, delay and noise of a kind of sensor.
pub fn blur(spec: &SensorsSpec, kind: SensorKind) -> Blur {
    let e = kind.errors(spec);
    Blur {
        corner_rad_s: e.corner_rad_s,
        delay_s: e.delay_s,
        noise: e.noise,
    }
}

/// Reading over truth of a kind of sensor at `omega_rad_s`: filter and delay.
pub fn response(spec: &SensorsSpec, kind: SensorKind, omega_rad_s: f64) -> Complex64 {
    let e = kind.errors(spec);
    let delay = Complex64::new(0.0, -omega_rad_s * e.delay_s).exp();
    if e.corner_rad_s.is_finite() {
        delay / Complex64::new(1.0, omega_rad_s / e.corner_rad_s)
    } else {
        delay
    }
}

/// Height sensors from O, m: as given, or the underside's middle and bow.
pub fn height_sensors_m(spec: &CraftSpec) -> Vec<Vector3<f64>> {
    let z = |height: f64| spec.design_waterline_m - height;
    let c = &spec.cross_structure;
    if spec.sensors.height_sensors_m.is_empty() {
        let under = z(c.underside_height_m);
        return vec![
            Vector3::new(0.5 * (c.fore_x_m + c.aft_x_m), 0.0, under),
            Vector3::new(c.fore_x_m, 0.0, under),
        ];
    }
    let place = |p: &[f64; 3]| Vector3::new(p[0], p[1], z(p[2]));
    spec.sensors.height_sensors_m.iter().map(place).collect()
}

/// Errors of a kind, SI.
#[derive(Clone, Copy, Debug)]
struct Errors {
    noise: f64,
    bias: f64,
    step: f64,
    delay_s: f64,
    corner_rad_s: f64,
}

impl Errors {
    fn new(e: &SensorErrorSpec, unit: f64) -> Self {
        let corner = if e.filter_hz > 0.0 {
            std::f64::consts::TAU * e.filter_hz
        } else {
            f64::INFINITY
        };
        Errors {
            noise: e.noise * unit,
            bias: e.bias * unit,
            step: e.step * unit,
            delay_s: e.delay_s.max(0.0),
            corner_rad_s: corner,
        }
    }
}

/// One scalar signal on its way through filter and delay.
#[derive(Clone, Debug)]
struct Channel {
    errors: Errors,
    bias: f64,
    /// Filter over the usual step: corner times step, and what it leaves.
    usual: [f64; 2],
    input: f64,
    filtered: f64,
    /// (time, filtered value), oldest first; never longer than its capacity.
    past: VecDeque<(f64, f64)>,
}

impl Channel {
    fn new(errors: Errors, step_s: f64, with_bias: bool, rng: &mut ChaCha8Rng) -> Self {
        let draw: f64 = StandardNormal.sample(rng);
        let rows = (errors.delay_s / step_s.max(1e-6)).ceil().min(1e6) as usize + 3;
        let x = errors.corner_rad_s * step_s;
        Channel {
            errors,
            usual: [x, (-x).exp()],
            bias: if with_bias { draw * errors.bias } else { 0.0 },
            input: 0.0,
            filtered: 0.0,
            past: VecDeque::with_capacity(rows),
        }
    }

    fn start(&mut self, t_s: f64, u: f64) {
        (self.input, self.filtered) = (u, u);
        self.past.clear();
        self.past.push_back((t_s, u));
    }

    fn advance(&mut self, t_s: f64, dt_s: f64, u: f64) {
        let x = self.errors.corner_rad_s * dt_s;
        if x.is_finite() {
            // exact for u linear over the step
            let [usual, left] = self.usual;
            // a step of an index times the step differs in the last digits only
            let decay = if (x - usual).abs() <= 1e-9 * usual {
                left
            } else {
                (-x).exp()
            };
            let slope = (u - self.input) / x;
            self.filtered = u - slope + (self.filtered - self.input + slope) * decay;
        } else {
            self.filtered = u;
        }
        self.input = u;
        // keep one row at or before the delayed instant
        let wanted = t_s - self.errors.delay_s;
        while self.past.len() > 1 && self.past[1].0 <= wanted {
            self.past.pop_front();
        }
        if self.past.len() == self.past.capacity() {
            self.past.pop_front();
        }
        self.past.push_back((t_s, self.filtered));
    }

    /// Filtered value at `t_s` less the delay; the oldest known before that.
    fn delayed(&self, t_s: f64) -> f64 {
        let wanted = t_s - self.errors.delay_s;
        // `advance` leaves the rows about the instant in front
        if let (Some(a), Some(b)) = (self.past.front(), self.past.get(1))
            && a.0 < wanted
            && wanted <= b.0
        {
            return between(*a, *b, wanted);
        }
        let after = self.past.partition_point(|p| p.0 < wanted);
        if after == 0 {
            return self.past.front().map_or(self.filtered, |p| p.1);
        }
        let before = self.past[after - 1];
        let next = self.past.get(after);
        next.map_or(before.1, |next| between(before, *next, wanted))
    }

    fn sample(&self, t_s: f64, errors_on: bool, rng: &mut ChaCha8Rng) -> f64 {
        let clean = self.delayed(t_s);
        if !errors_on {
            return clean;
        }
        let noise: f64 = StandardNormal.sample(rng);
        let y = clean + self.bias + noise * self.errors.noise;
        if self.errors.step > 0.0 {
            (y / self.errors.step).round() * self.errors.step
        } else {
            y
        }
    }
}

/// On the line through two rows of time and value.
fn between((t0, y0): (f64, f64), (t1, y1): (f64, f64), t_s: f64) -> f64 {
    y0 + (y1 - y0) * (t_s - t0) / (t1 - t0)
}

/// All sensors of a craft.
#[derive(Debug)]
pub struct SensorSuite {
    /// In the order of [`Reading`]: 3 rates, 2 attitudes, 3 accelerations, heights, speed, heading, surfaces.
    channels: Vec<Channel>,
    heights: usize,
    motion_unit_m: Vector3<f64>,
    g_m_s2: f64,
    errors_on: bool,
    rng: ChaCha8Rng,
    last_s: Option<f64>,
    reading: Reading,
}

impl SensorSuite {
    /// Sensors of `spec`, read at its sample period and advanced every `step_s`; biases drawn now from `rng` (one
    /// stream per run and purpose). `errors_on` off leaves filter and delay.
    pub fn build(spec: &CraftSpec, step_s: f64, mut rng: ChaCha8Rng, errors_on: bool) -> Self {
        let s = &spec.sensors;
        let heights = height_sensors_m(spec).len();
        let surfaces = spec.surfaces.len();
        let layout = [
            (SensorKind::Rate, 3),
            (SensorKind::Attitude, 2),
            (SensorKind::Acceleration, 3),
            (SensorKind::Height, heights),
            (SensorKind::Speed, 1),
            (SensorKind::Heading, 1),
            (SensorKind::Surface, surfaces),
        ];
        let mut channels = Vec::new();
        for (kind, count) in layout {
            for _ in 0..count {
                channels.push(Channel::new(kind.errors(s), step_s, errors_on, &mut rng));
            }
        }
        let [x, y, height] = s.motion_unit_m;
        SensorSuite {
            channels,
            heights,
            motion_unit_m: Vector3::new(x, y, spec.design_waterline_m - height),
            g_m_s2: spec.water.gravity_m_s2,
            errors_on,
            rng,
            last_s: None,
            reading: Reading {
                heights_m: vec![0.0; heights],
                surfaces_rad: vec![0.0; surfaces],
                thrust_n: vec![0.0; spec.propulsors.len()],
                ..Reading::default()
            },
        }
    }

    /// Carries filters and delays on to the instant of `truth`; the first call fills them.
    pub fn advance(&mut self, truth: &Truth) {
        let first = self.last_s.is_none();
        let dt_s = truth.time_s - self.last_s.unwrap_or(truth.time_s);
        if !first && dt_s <= 0.0 {
            return;
        }
        self.last_s = Some(truth.time_s);
        let fixed = self.body_signals(truth);
        let after = 8 + self.heights;
        for (i, c) in self.channels.iter_mut().enumerate() {
            let u = if i < 8 {
                fixed[i]
            } else if i < after {
                truth.heights_m[i - 8]
            } else if i == after {
                truth.speed_m_s
            } else if i == after + 1 {
                truth.euler_rad.z
            } else {
                truth.surfaces_rad[i - after - 2]
            };
            if first {
                c.start(truth.time_s, u);
            } else {
                c.advance(truth.time_s, dt_s, u);
            }
        }
    }

    /// Samples all sensors at the instant of `truth`.
    pub fn sample(&mut self, truth: &Truth) -> &Reading {
        self.advance(truth);
        let (t, on) = (truth.time_s, self.errors_on);
        let mut next = 0;
        let SensorSuite {
            channels,
            rng,
            reading,
            ..
        } = self;
        let mut read = || {
            next += 1;
            channels[next - 1].sample(t, on, rng)
        };
        reading.time_s = t;
        reading.rates_rad_s.iter_mut().for_each(|y| *y = read());
        reading.attitude_rad.iter_mut().for_each(|y| *y = read());
        reading
            .accelerations_m_s2
            .iter_mut()
            .for_each(|y| *y = read());
        reading.heights_m.iter_mut().for_each(|y| *y = read());
        reading.speed_m_s = read();
        reading.heading_rad = read();
        reading.surfaces_rad.iter_mut().for_each(|y| *y = read());
        reading.thrust_n.copy_from_slice(truth.thrust_n);
        reading
    }

    /// The last sample.
    pub fn reading(&self) -> &Reading {
        &self.reading
    }

    /// Rates, roll and pitch, accelerations of the motion unit.
    fn body_signals(&self, t: &Truth) -> [f64; 8] {
        let a = point_acceleration(t, &self.motion_unit_m, self.g_m_s2);
        let (nu, e) = (&t.nu, &t.euler_rad);
        [nu[3], nu[4], nu[5], e.x, e.y, a.x, a.y, a.z]
    }
}

/// What an accelerometer at `r_m` (from O) reads along body axes, m/s2, less its reading at rest and upright.
pub fn point_acceleration(t: &Truth, r_m: &Vector3<f64>, g_m_s2: f64) -> Vector3<f64> {
    let part = |x: &Vector6<f64>, i: usize| Vector3::new(x[i], x[i + 1], x[i + 2]);
    let (v, w) = (part(&t.nu, 0), part(&t.nu, 3));
    let (dv, dw) = (part(&t.nu_dot, 0), part(&t.nu_dot, 3));
    let (sf, cf) = t.euler_rad.x.sin_cos();
    let (st, ct) = t.euler_rad.y.sin_cos();
    let tilt = Vector3::new(st, -ct * sf, 1.0 - ct * cf);
    dv + w.cross(&v) + dw.cross(r_m) + w.cross(&w.cross(r_m)) + tilt * g_m_s2
}

#[cfg(test)]
mod tests;
