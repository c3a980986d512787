//! The course keeper of a free run as a linear system: helm from heading, thrust from speed.
//!
//! # Equation
//! ```text
//! helm   = P (1 - k) / (1 - k/z) psi + D r ,    k = exp(-T/T_f)
//! thrust = -(m/n) (2/T_s + T/T_s^2 / (1 - 1/z)) u      of each of n shafts
//! ```
//!
//! # Symbols
//! psi heading, r yaw rate, u speed, all about trim and behind their sensors; T sample period, T_f wave
//! filter, T_s time constant of the speed hold (s); m mass with added mass in surge (kg).
//!
//! # Valid when
//! Rudders and shafts are inside their limits. A rudder that the law itself commands is not the
//! keeper's: the law writes last.
//!
//! # Source
//! Linear form of [`crate::dynamics::course`].
//!
//! # Checked by
//! `with_a_law_it_is_the_sampled_system` (tests of this room).

use nalgebra::DMatrix;
use num_complex::Complex64;

use super::reading::Quantity;
use crate::dynamics::plant::Plant;
use crate::spec::craft::SurfaceGroup;
use crate::spec::scenario::CourseSpec;

/// What the keeper reads, in this order.
pub const READINGS: [Quantity; 3] = [Quantity::Heading, Quantity::Rate(2), Quantity::Speed];

/// The heading hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Helm {
    /// rad/rad.
    pub proportional: f64,
    /// s.
    pub derivative_s: f64,
    /// Share of the filtered error kept over a sample.
    pub keep: f64,
    /// Surfaces it moves, all by the same angle.
    pub rudders: Vec<usize>,
}

/// The speed hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Throttle {
    /// Per shaft, N s/m.
    pub proportional: f64,
    /// Per shaft, N/m.
    pub integral: f64,
    /// Shafts.
    pub shafts: usize,
}

/// Course keeper about trim.
#[derive(Clone, Debug, PartialEq)]
pub struct Keeper {
    /// Heading by rudders.
    pub helm: Option<Helm>,
    /// Speed by thrust.
    pub throttle: Option<Throttle>,
    /// Sample period, s.
    pub period_s: f64,
}

impl Keeper {
    /// That of `course`; without holds where springs lead the craft.
    pub fn new(course: &CourseSpec, plant: &Plant, period_s: f64) -> Self {
        let CourseSpec::Kept {
            heading_deg_per_deg,
            heading_deg_s_per_deg,
            wave_filter_s,
            speed_hold_s,
        } = course
        else {
            return Keeper {
                helm: None,
                throttle: None,
                period_s,
            };
        };
        let rudders: Vec<usize> = plant
            .surfaces
            .iter()
            .enumerate()
            .filter(|(_, s)| s.group == SurfaceGroup::Rudder && s.max_rad > s.min_rad)
            .map(|(i, _)| i)
            .collect();
        let keep = if *wave_filter_s > 0.0 {
            libm::exp(-period_s / wave_filter_s)
        } else {
            0.0
        };
        let mass = plant.mass[(0, 0)] + plant.memory.a_inf[(0, 0)];
        let shafts = plant.shafts.len();
        let per_shaft = mass / shafts.max(1) as f64;
        Keeper {
            helm: (!rudders.is_empty()).then_some(Helm {
                proportional: *heading_deg_per_deg,
                derivative_s: *heading_deg_s_per_deg,
                keep,
                rudders,
            }),
            throttle: (shafts > 0 && plant.surge_free).then(|| Throttle {
                proportional: 2.0 * per_shaft / speed_hold_s,
                integral: per_shaft / (speed_hold_s * speed_hold_s),
                shafts,
            }),
            period_s,
        }
    }

    /// The same without the rudders that a law commands.
    #[must_use]
    pub fn without(&self, surfaces: &[usize]) -> Self {
        let mut other = self.clone();
        if let Some(h) = &mut other.helm {
            h.rudders.retain(|r| !surfaces.contains(r));
            if h.rudders.is_empty() {
                other.helm = None;
            }
        }
        other
    }

    /// Nothing to keep with.
    pub fn is_idle(&self) -> bool {
        self.helm.is_none() && self.throttle.is_none()
    }

    /// Helm (rad) and thrust a shaft (N) over [`READINGS`].
    pub fn gains(&self, omega_rad_s: f64) -> [[Complex64; 3]; 2] {
        let z = Complex64::from_polar(1.0, omega_rad_s * self.period_s);
        let zero = Complex64::ZERO;
        let helm = self.helm.as_ref().map_or([zero; 3], |h| {
            let filter = z * (1.0 - h.keep) / (z - h.keep);
            [
                filter * h.proportional,
                Complex64::from(h.derivative_s),
                zero,
            ]
        });
        let throttle = self.throttle.as_ref().map_or([zero; 3], |t| {
            let sum = z * self.period_s / (z - 1.0);
            [zero, zero, -(sum * t.integral + t.proportional)]
        });
        [helm, throttle]
    }

    /// As x(k+1) = a x + b y, v = c x + d y with y the [`READINGS`] and v helm and thrust a shaft; the
    /// states of absent holds are left out.
    pub fn sampled(&self) -> (DMatrix<f64>, DMatrix<f64>, DMatrix<f64>, DMatrix<f64>) {
        let n = usize::from(self.helm.is_some()) + usize::from(self.throttle.is_some());
        let mut a = DMatrix::zeros(n, n);
        let mut b = DMatrix::zeros(n, 3);
        let mut c = DMatrix::zeros(2, n);
        let mut d = DMatrix::zeros(2, 3);
        let mut at = 0;
        if let Some(h) = &self.helm {
            a[(0, 0)] = h.keep;
            b[(0, 0)] = 1.0 - h.keep;
            c[(0, 0)] = h.proportional * h.keep;
            d[(0, 0)] = h.proportional * (1.0 - h.keep);
            d[(0, 1)] = h.derivative_s;
            at = 1;
        }
        if let Some(t) = &self.throttle {
            // the state is the integral of U - u
            a[(at, at)] = 1.0;
            b[(at, 2)] = -self.period_s;
            c[(1, at)] = t.integral;
            d[(1, 2)] = -(t.proportional + t.integral * self.period_s);
        }
        (a, b, c, d)
    }
}
