//! Poles, named.
//!
//! # Equation
//! ```text
//! A v = lambda v ;  a pole is named after the motion that holds most of its kinetic energy,
//! 1/2 M_jj |lambda eta_j|^2
//! ```
//!
//! # Symbols
//! lambda pole (1/s), v its shape, eta_j its motions in seakeeping axes (a body velocity will not
//! do: at speed the body's w holds U theta, so that pitch would pass for heave).
//!
//! # Valid when
//! The name is a label: at speed heave and pitch share their poles.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `names_follow_the_dominant_motion`.

use nalgebra::{DMatrix, Matrix6};
use num_complex::Complex64;

use super::assemble::LinearModel;
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::math::eigen;

/// One pole (the one with non-negative imaginary part of a pair).
#[derive(Clone, Debug)]
pub struct Pole {
    /// Value, 1/s.
    pub value: Complex64,
    /// Rigid-body motion with the largest kinetic energy in its shape, `None` where fins, lags or
    /// memory carry it.
    pub motion: Option<Dof>,
}

impl Pole {
    /// Damping ratio; -1 for an unstable real pole, 1 for a stable one.
    pub fn damping_ratio(&self) -> f64 {
        let n = self.value.norm();
        if n > 0.0 { -self.value.re / n } else { 0.0 }
    }

    /// Natural period, s, where the pole oscillates.
    pub fn period_s(&self) -> Option<f64> {
        (self.value.im > 1e-9).then(|| std::f64::consts::TAU / self.value.norm())
    }

    /// Name for tables.
    pub fn name(&self) -> &'static str {
        self.motion.map_or("fins, lags, memory", Dof::name)
    }
}

/// Poles of a model that concern the craft's motion, slowest first, and the rest unnamed.
///
/// # Errors
/// When the eigenvalue iteration fails.
pub fn poles(model: &LinearModel, mass: &Matrix6<f64>) -> Result<Vec<Pole>> {
    let values = eigen::eigenvalues(&model.a)
        .ok_or_else(|| Error::new("the poles of the linear model could not be found"))?;
    let mut upper: Vec<Complex64> = values.iter().copied().filter(|v| v.im >= -1e-12).collect();
    upper.sort_by(|a, b| a.norm().total_cmp(&b.norm()));
    Ok(upper
        .into_iter()
        .map(|value| Pole {
            value,
            motion: dominant_motion(&model.a, value, mass),
        })
        .collect())
}

/// Share of the rigid-body states in a pole's participation below which fins, lags or memory own it.
const RIGID_SHARE: f64 = 0.35;
/// Poles faster than this are those of servos and lags, rad/s: no craft of this kind moves so fast.
const FASTEST_MOTION_RAD_S: f64 = 3.5;

/// Motion that a pole belongs to: participation decides whether it is one of the craft, kinetic
/// energy of its shape which.
fn dominant_motion(a: &DMatrix<f64>, value: Complex64, mass: &Matrix6<f64>) -> Option<Dof> {
    let size = value.norm();
    if !(1e-7..FASTEST_MOTION_RAD_S).contains(&size) {
        return None;
    }
    let right = eigen::vector(a, value)?;
    let left = eigen::vector(&a.transpose(), value.conj())?;
    let mode = eigen::Mode { value, right, left };
    if mode.participation()[..12].iter().sum::<f64>() < RIGID_SHARE {
        return None;
    }
    let energy = (0..6).map(|j| mass[(j, j)] * mode.right[j].norm_sqr());
    let (j, most) = energy.enumerate().max_by(|x, y| x.1.total_cmp(&y.1))?;
    (most.is_finite() && most > 0.0).then_some(Dof::ALL[j])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Heave and pitch of a craft at speed U, uncoupled but for w = z' + U theta: the state is
    /// (x y z phi theta psi u v w p q r).
    fn moving(speed: f64) -> DMatrix<f64> {
        let mut a = DMatrix::zeros(12, 12);
        for j in 0..6 {
            a[(j, 6 + j)] = 1.0;
        }
        a[(2, 4)] = -speed;
        // z'' = -0.8^2 z - 0.1 z', theta'' = -0.5^2 theta - 0.1 theta'; w' = z'' + U theta'
        let (kz, kt, d) = (0.64, 0.25, 0.1);
        a[(8, 2)] = -kz;
        a[(8, 8)] = -d;
        a[(8, 4)] = d * speed;
        a[(8, 10)] = speed;
        a[(10, 4)] = -kt;
        a[(10, 10)] = -d;
        // the others decay, each its own way
        for (j, rate) in [(0, 0.011), (1, 0.012), (3, 0.013), (5, 0.014)] {
            a[(6 + j, 6 + j)] = -rate;
        }
        a
    }

    #[test]
    fn names_follow_the_dominant_motion() {
        // inertias of a craft of 250 t, radius of gyration 8.5 m
        let mass = Matrix6::from_diagonal(&nalgebra::Vector6::new(
            250.0, 250.0, 250.0, 7000.0, 18_000.0, 21_000.0,
        ));
        for speed in [0.0, 9.0] {
            let a = moving(speed);
            for (omega, name) in [(0.8_f64, Dof::Heave), (0.5, Dof::Pitch)] {
                // lambda^2 + d lambda + omega^2 = 0
                let value = Complex64::new(-0.05, (omega * omega - 0.0025).sqrt());
                assert_eq!(dominant_motion(&a, value, &mass), Some(name), "{speed}");
            }
        }
        assert_eq!(
            dominant_motion(&moving(9.0), Complex64::new(-20.0, 0.0), &mass),
            None
        );
    }
}
