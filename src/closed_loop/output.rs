//! What can be asked of the craft: motions, accelerations, clearances, surfaces.
//!
//! # Equation
//! ```text
//! X = 12 rigid-body states from nu:  angles = E omega / s,  position = (R v + R'v0 angles) / s
//! output = sum_k (plain_k + s rate_k) X_k + elevation share + surface share
//! acceleration at r   a = nu'_lin + omega x v0 + omega' x r            body axes, without gravity
//! felt                f = a + g d(sin theta, -cos theta sin phi, -cos theta cos phi)
//! clearance           h = -(z + (R r)_z) - factor * elevation
//! ```
//!
//! # Symbols
//! s = i omega_e; nu body velocities; v0 velocity of O at trim, r a point (m from O).
//!
//! # Valid when
//! Small motions about trim. Everything is about its value at trim.
//!
//! # Source
//! Derivatives of [`crate::sim::truth`].
//!
//! # Checked by
//! `without_a_law_it_is_the_linear_response` (tests of this room).

use nalgebra::Vector3;
use num_complex::Complex64;

use super::craft::LoopCraft;
use crate::dynamics::plant::elevation;
use crate::linear::resolvent::RIGID;

/// A scalar of the craft, about trim, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Output {
    /// Surge, sway, heave (down), roll, pitch, yaw of O in earth axes (0 to 5), m or rad.
    Motion(usize),
    /// Displacement of O along an earth-fixed heading, m.
    Along {
        /// The heading, rad, from the course.
        heading_rad: f64,
    },
    /// Body velocity (0 to 5), m/s or rad/s.
    Velocity(usize),
    /// Acceleration of a point along a body axis, gravity left out, m/s2.
    Acceleration {
        /// The point from O, m.
        r_m: Vector3<f64>,
        /// 0 forward, 1 to starboard, 2 down.
        axis: usize,
    },
    /// What a body at a point feels along a body axis, gravity's share included, m/s2.
    Felt {
        /// The point from O, m.
        r_m: Vector3<f64>,
        /// 0 forward, 1 to starboard, 2 down.
        axis: usize,
    },
    /// Earth-fixed vertical acceleration of a point, down positive, m/s2.
    Vertical {
        /// The point from O, m.
        r_m: Vector3<f64>,
    },
    /// Height of a point above the water, m.
    Clearance {
        /// The point from O, m.
        r_m: Vector3<f64>,
        /// Factor on the undisturbed elevation (the craft's own waves).
        wave_factor: f64,
    },
    /// Angle of a surface, rad.
    Angle(usize),
    /// Its rate, rad/s.
    AngleRate(usize),
    /// Elevation above a point, up, m.
    Elevation {
        /// Forward of O, m.
        x_m: f64,
        /// To starboard, m.
        y_m: f64,
    },
}

/// An output as a sum over the rigid-body states.
#[derive(Clone, Debug, Default)]
pub(crate) struct OutputRow {
    /// Rigid state, factor.
    plain: Vec<(usize, f64)>,
    /// Rigid state, factor of its rate.
    rate: Vec<(usize, f64)>,
    /// Place and factor of the elevation.
    wave: Option<([f64; 2], f64)>,
    /// Factors of omega x velocity, the products in an acceleration.
    turning: [f64; 3],
    /// Surface, and whether its rate is meant.
    pub(crate) surface: Option<(usize, bool)>,
}

impl Output {
    /// Its row for `craft`.
    pub(crate) fn row(self, craft: &LoopCraft) -> OutputRow {
        let mut row = OutputRow::default();
        match self {
            Output::Motion(i) => row.plain.push((i, 1.0)),
            Output::Along { heading_rad } => {
                let (s, c) = heading_rad.sin_cos();
                row.plain.extend([(0, c), (1, s)]);
            }
            Output::Velocity(i) => row.plain.push((6 + i, 1.0)),
            Output::Acceleration { r_m, axis } => row.accelerate(craft, &r_m, axis, 1.0),
            Output::Felt { r_m, axis } => {
                row.accelerate(craft, &r_m, axis, 1.0);
                row.tilt(craft, axis);
            }
            Output::Vertical { r_m } => {
                let (sf, cf) = craft.trim.x[3].sin_cos();
                let (st, ct) = craft.trim.x[4].sin_cos();
                for (axis, w) in [-st, ct * sf, ct * cf].into_iter().enumerate() {
                    if w != 0.0 {
                        row.accelerate(craft, &r_m, axis, w);
                    }
                }
            }
            Output::Clearance { r_m, wave_factor } => {
                let depth = super::reading::depth_row(&craft.linear, &r_m);
                for i in 2..5 {
                    row.plain.push((i, -depth[i]));
                }
                row.wave = Some(([r_m.x, r_m.y], -wave_factor));
            }
            Output::Angle(i) => row.surface = Some((i, false)),
            Output::AngleRate(i) => row.surface = Some((i, true)),
            Output::Elevation { x_m, y_m } => row.wave = Some(([x_m, y_m], 1.0)),
        }
        row.plain.retain(|(_, v)| *v != 0.0);
        row.rate.retain(|(_, v)| *v != 0.0);
        row
    }
}

impl OutputRow {
    fn accelerate(&mut self, craft: &LoopCraft, r_m: &Vector3<f64>, axis: usize, weight: f64) {
        let x0 = &craft.trim.x;
        let (i, j) = ((axis + 1) % 3, (axis + 2) % 3);
        self.rate.extend([
            (6 + axis, weight),
            (9 + i, weight * r_m[j]),
            (9 + j, -weight * r_m[i]),
        ]);
        self.turning[axis] += weight;
        // omega x v0
        self.plain
            .extend([(9 + i, weight * x0[6 + j]), (9 + j, -weight * x0[6 + i])]);
    }

    fn tilt(&mut self, craft: &LoopCraft, axis: usize) {
        let g = craft.plant.g_m_s2;
        let (sf, cf) = craft.trim.x[3].sin_cos();
        let (st, ct) = craft.trim.x[4].sin_cos();
        let by_roll = [0.0, -ct * cf, ct * sf];
        let by_pitch = [ct, st * sf, st * cf];
        self.plain
            .extend([(3, g * by_roll[axis]), (4, g * by_pitch[axis])]);
    }

    /// Whether the elevation itself is part of it.
    pub(crate) fn has_wave(&self) -> bool {
        self.wave.is_some()
    }

    /// Share of the products in an acceleration.
    pub(crate) fn turned(&self, products: &[Complex64; 3]) -> Complex64 {
        products.iter().zip(&self.turning).map(|(p, w)| p * w).sum()
    }

    /// Value for the rigid states `x` at s; `wave` (frequency, direction, gravity) adds its elevation.
    pub(crate) fn value(
        &self,
        x: &[Complex64; RIGID],
        s: Complex64,
        wave: Option<[f64; 3]>,
    ) -> Complex64 {
        let mut v = Complex64::ZERO;
        for (i, w) in &self.rate {
            v += x[*i] * *w;
        }
        v *= s;
        for (i, w) in &self.plain {
            v += x[*i] * *w;
        }
        if let (Some(([x_m, y_m], factor)), Some([omega, mu, g])) = (self.wave, wave) {
            v += elevation(omega, mu, g, x_m, y_m) * factor;
        }
        v
    }
}

/// Rows of the kinematics at trim: rates of position and angles by angles and velocities.
#[derive(Clone, Debug)]
pub(crate) struct Kinematics {
    angles: [[f64; 3]; 3],
    by_velocity: [[f64; 3]; 3],
    by_angle: [[f64; 3]; 3],
}

impl Kinematics {
    pub(crate) fn new(craft: &LoopCraft) -> Self {
        let a = &craft.linear.a;
        let block = |r: usize, c: usize| {
            std::array::from_fn(|i| std::array::from_fn(|j| a[(r + i, c + j)]))
        };
        Kinematics {
            angles: block(3, 9),
            by_velocity: block(0, 6),
            by_angle: block(0, 3),
        }
    }

    /// All rigid-body states from the velocities.
    pub(crate) fn rigid(&self, nu: &[Complex64], s: Complex64) -> [Complex64; RIGID] {
        let over = s.inv();
        let mut x = [Complex64::ZERO; RIGID];
        x[6..].copy_from_slice(nu);
        for i in 0..3 {
            for j in 0..3 {
                x[3 + i] += nu[3 + j] * self.angles[i][j];
            }
            x[3 + i] *= over;
        }
        for i in 0..3 {
            let mut rate = Complex64::ZERO;
            for j in 0..3 {
                rate += nu[j] * self.by_velocity[i][j] + x[3 + j] * self.by_angle[i][j];
            }
            x[i] = rate * over;
        }
        x
    }
}

impl OutputRow {
    /// Writes the row out over all rigid states.
    pub(crate) fn spread(&self, plain: &mut [f64; RIGID], rate: &mut [f64; RIGID]) {
        for (i, w) in &self.plain {
            plain[*i] += w;
        }
        for (i, w) in &self.rate {
            rate[*i] += w;
        }
    }
}
