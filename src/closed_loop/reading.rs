//! What each sensor and each signal of a law is of the craft's linear state and of the waves.
//!
//! # Equation
//! ```text
//! reading j = (c_j dx + wave part) behind filter and delay of its kind
//! signal i  = sum_j weight_ij reading_j
//! accelerometer  d f = d nu' + d omega x v0 + d omega' x r + g d(sin theta, -cos theta sin phi, -cos theta cos phi)
//! height         d h = -(d z + d(R r)_z) - elevation
//! ```
//! Gravity leaves the vertical acceleration of the law to first order: what the tilt of the true
//! craft adds along its axes, the measured tilt takes away in resolving the mean.
//!
//! # Symbols
//! dx deviation from the equilibrium, v0 velocity of O there; r place of the motion unit or of a height
//! sensor (m from O); nu' from the rows of the state matrix.
//!
//! # Valid when
//! Small motions about a trim without heel.
//!
//! # Source
//! Derivative of `sim::sensing` and of [`crate::control::estimate::mean_heave`].
//!
//! # Checked by
//! `with_a_law_it_is_the_sampled_system` (tests of this room).

use nalgebra::{DVector, Vector3, Vector6};

use crate::control::linear::LawSignal;
use crate::control::signal::Setup;
use crate::dynamics::sensor::SensorKind;
use crate::linear::assemble::LinearModel;

/// One scalar that a sensor reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Body rate about an axis (0 to 2).
    Rate(usize),
    /// Roll (0) or pitch (1).
    Attitude(usize),
    /// Specific force of the motion unit along a body axis (0 to 2), less its value at trim.
    Acceleration(usize),
    /// Height of a sensor above the water.
    Height(usize),
    /// Speed along the keel.
    Speed,
    /// Heading.
    Heading,
    /// Angle of a surface.
    Surface(usize),
}

impl Quantity {
    /// The kind of sensor that reads it.
    pub fn kind(self) -> SensorKind {
        match self {
            Quantity::Rate(_) => SensorKind::Rate,
            Quantity::Attitude(_) => SensorKind::Attitude,
            Quantity::Acceleration(_) => SensorKind::Acceleration,
            Quantity::Height(_) => SensorKind::Height,
            Quantity::Speed => SensorKind::Speed,
            Quantity::Heading => SensorKind::Heading,
            Quantity::Surface(_) => SensorKind::Surface,
        }
    }

    /// Gradient with respect to the whole state of `model`.
    pub fn row(self, model: &LinearModel, setup: &Setup, g_m_s2: f64) -> DVector<f64> {
        let mut row = DVector::zeros(model.layout.len());
        match self {
            Quantity::Rate(i) => row[9 + i] = 1.0,
            Quantity::Attitude(i) => row[3 + i] = 1.0,
            Quantity::Acceleration(i) => {
                return specific_force_row(model, &setup.motion_unit_m, i, g_m_s2);
            }
            Quantity::Height(i) => return -depth_row(model, &setup.height_sensors_m[i]),
            Quantity::Speed => row[6] = 1.0,
            Quantity::Heading => row[5] = 1.0,
            Quantity::Surface(i) => row[model.layout.angle(i)] = 1.0,
        }
        row
    }

    /// What the reading gains at once with an acceleration of the craft (m/s2, rad/s2, about O).
    pub fn at_once(self, acceleration: &Vector6<f64>, setup: &Setup) -> f64 {
        let Quantity::Acceleration(axis) = self else {
            return 0.0;
        };
        let (r_m, a) = (&setup.motion_unit_m, acceleration);
        let (i, j) = ((axis + 1) % 3, (axis + 2) % 3);
        a[axis] + a[3 + i] * r_m[j] - a[3 + j] * r_m[i]
    }
}

/// Gradient of the specific force at `r_m` along body axis `axis`.
pub fn specific_force_row(
    model: &LinearModel,
    r_m: &Vector3<f64>,
    axis: usize,
    g_m_s2: f64,
) -> DVector<f64> {
    let (sf, cf) = model.x0[3].sin_cos();
    let (st, ct) = model.x0[4].sin_cos();
    let v0 = Vector3::new(model.x0[6], model.x0[7], model.x0[8]);
    let (i, j) = ((axis + 1) % 3, (axis + 2) % 3);
    let rate = |k: usize| model.a.row(6 + k).transpose();
    let mut row = rate(axis) + rate(3 + i) * r_m[j] - rate(3 + j) * r_m[i];
    row[9 + i] += v0[j];
    row[9 + j] -= v0[i];
    let by_roll = [0.0, -ct * cf, ct * sf];
    let by_pitch = [ct, st * sf, st * cf];
    row[3] += g_m_s2 * by_roll[axis];
    row[4] += g_m_s2 * by_pitch[axis];
    row
}

/// Gradient of the depth of `r_m` below the calm surface.
pub fn depth_row(model: &LinearModel, r_m: &Vector3<f64>) -> DVector<f64> {
    let mut row = DVector::zeros(model.layout.len());
    let (by_roll, by_pitch) = vertical_slopes(r_m, model.x0[3], model.x0[4]);
    row[2] = 1.0;
    row[3] = by_roll;
    row[4] = by_pitch;
    row
}

/// Slopes of (R r)_z by roll and pitch.
fn vertical_slopes(r: &Vector3<f64>, phi_rad: f64, theta_rad: f64) -> (f64, f64) {
    let (sf, cf) = phi_rad.sin_cos();
    let (st, ct) = theta_rad.sin_cos();
    (
        ct * (cf * r.y - sf * r.z),
        -ct * r.x - st * (sf * r.y + cf * r.z),
    )
}

/// A signal as a sum of readings.
pub fn parts(
    signal: LawSignal,
    setup: &Setup,
    phi_rad: f64,
    theta_rad: f64,
) -> Vec<(f64, Quantity)> {
    match signal {
        LawSignal::RollRate => vec![(1.0, Quantity::Rate(0))],
        LawSignal::PitchRate => vec![(1.0, Quantity::Rate(1))],
        LawSignal::Roll => vec![(1.0, Quantity::Attitude(0))],
        LawSignal::Pitch => vec![(1.0, Quantity::Attitude(1))],
        LawSignal::VerticalAcceleration => {
            let (sf, cf) = phi_rad.sin_cos();
            let (st, ct) = theta_rad.sin_cos();
            [-st, ct * sf, ct * cf]
                .into_iter()
                .enumerate()
                .filter(|(_, w)| *w != 0.0)
                .map(|(i, w)| (w, Quantity::Acceleration(i)))
                .collect()
        }
        LawSignal::HeightHeave => {
            let share = 1.0 / setup.height_sensors_m.len().max(1) as f64;
            let (mut by_roll, mut by_pitch) = (0.0, 0.0);
            let mut out = Vec::new();
            for (i, r) in setup.height_sensors_m.iter().enumerate() {
                let (a, b) = vertical_slopes(r, phi_rad, theta_rad);
                by_roll -= share * a;
                by_pitch -= share * b;
                out.push((-share, Quantity::Height(i)));
            }
            out.push((by_roll, Quantity::Attitude(0)));
            out.push((by_pitch, Quantity::Attitude(1)));
            out.retain(|(w, _)| *w != 0.0);
            out
        }
        LawSignal::Height(i) => vec![(1.0, Quantity::Height(i))],
        LawSignal::Surface(i) => vec![(1.0, Quantity::Surface(i))],
    }
}
