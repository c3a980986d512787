//! Feed-forward from the waves that a height sensor ahead has seen.
//!
//! # Equation
//! ```text
//! zeta   = -h - z - (R r_s)_z                         elevation at the sensor, up positive
//! zeta_b = band(zeta),   band = s/(s + low) high/(s + high)
//! demand = gain zeta_b(t - delay),   delay = max(0, x_s/(U + g/w) - lead), to whole samples
//! ```
//! z is the heave of the platforming estimator: the sensor's own motion is taken out, so that the path is
//! open to the waves and closed to the craft. What remains of the craft's motion in it is the
//! difference between the delays of the height sensor and of the motion unit; the linear form contains it.
//! The estimator takes slow elevation for heave, so that nothing below its corner is seen here.
//!
//! # Symbols
//! h: height of the sensor above water (m); r_s: its place, x_s ahead of O (m); U: speed (m/s); w: frequency
//! of the wave waited for (rad/s), which runs at g/w.
//!
//! # Valid when
//! Head and bow seas: the wave passes the sensor before the surfaces. Waves of other lengths and headings
//! arrive earlier or later than the delay says; waves from astern have passed already.
//!
//! # Source
//! Deep-water phase speed: linear wave theory, e.g. Faltinsen 1990, Sea Loads on Ships and Offshore
//! Structures, table 2.1.
//!
//! # Checked by
//! `feed_forward_sees_waves_and_not_the_craft`, `feed_forward_needs_a_sensor_ahead`,
//! `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use nalgebra::Vector3;

use crate::control::estimate::lever;
use crate::control::filter::Section;
use crate::control::linear::{Diagram, LawSignal, Line};
use crate::control::signal::{Measurement, Setup, vertical};
use crate::error::{Problem, Result};
use crate::spec::controller::FeedForwardSpec;
use crate::units::{G_M_S2, deg};

/// Most samples of delay.
const MOST_SAMPLES: f64 = 400.0;

/// The path from the sensor to the demands.
#[derive(Clone, Debug)]
pub(super) struct Ahead {
    sensor: usize,
    r_m: Vector3<f64>,
    trim_pitch_rad: f64,
    heave_rad_per_m: f64,
    pitch_rad_per_m: f64,
    high_pass: Section,
    low_pass: Section,
    line: Vec<f64>,
    at: usize,
}

impl Ahead {
    /// For the sensors of the craft; `foremost_m` is where its foremost driven surface lies.
    ///
    /// # Errors
    /// No sensor ahead of the surfaces.
    pub(super) fn new(spec: &FeedForwardSpec, setup: &Setup, foremost_m: f64) -> Result<Self> {
        let places = &setup.height_sensors_m;
        let sensor = chosen(spec, places)?;
        let r_m = places[sensor];
        if r_m.x <= foremost_m {
            return Err(Problem::at(
                "law.pid.feed_forward",
                format!(
                    "looks at height sensor {sensor} at x = {:.1} m, must look ahead of the foremost surface \
                     at x = {foremost_m:.1} m",
                    r_m.x
                ),
            )
            .hint("put a height sensor at the bow (`sensors.height_sensors_m` of the craft), or leave `feed_forward` out")
            .into());
        }
        let t = setup.sample_period_s;
        let phase_speed = G_M_S2 / spec.wave_frequency_rad_s;
        let delay_s = r_m.x / (setup.nominal_speed_m_s.max(0.0) + phase_speed) - spec.lead_s;
        let samples = (delay_s / t).round().clamp(0.0, MOST_SAMPLES) as usize;
        Ok(Ahead {
            sensor,
            r_m,
            trim_pitch_rad: setup.trim_pitch_rad,
            heave_rad_per_m: deg(spec.heave_deg_per_m),
            pitch_rad_per_m: deg(spec.pitch_deg_per_m),
            high_pass: Section::washout(spec.low_rad_s, t),
            low_pass: Section::low_pass(spec.high_rad_s, t),
            line: vec![0.0; samples],
            at: 0,
        })
    }

    /// Forgets what it saw.
    pub(super) fn restart(&mut self) {
        self.line.fill(0.0);
        self.high_pass.settle(0.0);
        self.low_pass.settle(0.0);
    }

    /// Heave (lift) and pitch demand, rad at the reference speed.
    pub(super) fn step(&mut self, y: &Measurement, heave_m: f64) -> [f64; 2] {
        let seen = y.valid.attitude && y.valid.height[self.sensor];
        let elevation = if seen {
            -y.height_m[self.sensor] - heave_m - vertical(&self.r_m, y.phi_rad, y.theta_rad)
        } else {
            0.0
        };
        let high = self.high_pass.step(elevation);
        let now = self.low_pass.step(high);
        let out = match self.line.get_mut(self.at) {
            Some(place) => std::mem::replace(place, now),
            None => now,
        };
        self.at = if self.at + 1 < self.line.len() {
            self.at + 1
        } else {
            0
        };
        [out * self.heave_rad_per_m, out * self.pitch_rad_per_m]
    }

    /// The same as lines.
    pub(super) fn draw(&self, d: &mut Diagram, heave: &Line) -> [Line; 2] {
        let arm = lever(&self.r_m, self.trim_pitch_rad, d);
        let height = d.input(LawSignal::Height(self.sensor));
        let elevation = (height + heave.clone() + arm) * -1.0;
        let high = d.section(&self.high_pass, &elevation);
        let mut out = d.section(&self.low_pass, &high);
        for _ in 0..self.line.len() {
            out = d.before(&out);
        }
        [
            out.clone() * self.heave_rad_per_m,
            out * self.pitch_rad_per_m,
        ]
    }
}

fn chosen(spec: &FeedForwardSpec, places: &[Vector3<f64>]) -> Result<usize> {
    let Some(sensor) = spec.height_sensor else {
        let foremost = (0..places.len()).max_by(|a, b| places[*a].x.total_cmp(&places[*b].x));
        return foremost.ok_or_else(|| {
            Problem::at(
                "law.pid.feed_forward",
                "needs a height sensor, the craft has none",
            )
            .hint("put one at the bow (`sensors.height_sensors_m` of the craft), or leave `feed_forward` out")
            .into()
        });
    };
    if sensor < places.len() {
        return Ok(sensor);
    }
    Err(Problem::at(
        "law.pid.feed_forward.height_sensor",
        format!(
            "is {sensor}, must be below {}: the craft has that many height sensors",
            places.len()
        ),
    )
    .hint("leave it out to take the foremost one")
    .into())
}
