//! Poles, named.
//!
//! # Equation
//! ```text
//! A v = lambda v ;  a pole is named after the motion with the largest participation,
//! p(eta_j) + p(nu_j), p_i = |l_i v_i| / sum
//! ```
//!
//! # Symbols
//! lambda pole (1/s), v and l its right and left shapes, eta position and nu velocity of a motion.
//! Participation does not depend on units; kinetic energy would call pitch at speed heave, because
//! the body's w holds U theta.
//!
//! # Valid when
//! The name is a label: at speed heave and pitch share their poles.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `names_follow_the_dominant_motion`.

use nalgebra::DMatrix;
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
    /// Rigid-body motion that takes the largest part in it, `None` where fins, lags or
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
pub fn poles(model: &LinearModel) -> Result<Vec<Pole>> {
    let values = eigen::eigenvalues(&model.a)
        .ok_or_else(|| Error::new("the poles of the linear model could not be found"))?;
    let mut upper: Vec<Complex64> = values.iter().copied().filter(|v| v.im >= -1e-12).collect();
    upper.sort_by(|a, b| a.norm().total_cmp(&b.norm()));
    Ok(upper
        .into_iter()
        .map(|value| Pole {
            value,
            motion: dominant_motion(&model.a, value),
        })
        .collect())
}

/// Share of the rigid-body states in a pole's participation below which fins, lags or memory own it.
const RIGID_SHARE: f64 = 0.25;
/// Poles faster than this are those of servos, lags and memory, rad/s: no craft of this kind moves
/// so fast.
const FASTEST_MOTION_RAD_S: f64 = 2.0;

/// Motion that a pole belongs to: the rigid-body share of participation decides whether it is one
/// of the craft, the largest part which.
fn dominant_motion(a: &DMatrix<f64>, value: Complex64) -> Option<Dof> {
    let size = value.norm();
    if !(1e-7..FASTEST_MOTION_RAD_S).contains(&size) {
        return None;
    }
    let right = eigen::vector(a, value)?;
    let left = eigen::vector(&a.transpose(), value.conj())?;
    let mode = eigen::Mode { value, right, left };
    let part = mode.participation();
    if part[..12].iter().sum::<f64>() < RIGID_SHARE {
        return None;
    }
    let (j, most) = (0..6)
        .map(|j| part[j] + part[6 + j])
        .enumerate()
        .max_by(|x, y| x.1.total_cmp(&y.1))?;
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
        for speed in [0.0, 9.0] {
            let a = moving(speed);
            for (omega, name) in [(0.8_f64, Dof::Heave), (0.5, Dof::Pitch)] {
                // lambda^2 + d lambda + omega^2 = 0
                let value = Complex64::new(-0.05, (omega * omega - 0.0025).sqrt());
                assert_eq!(dominant_motion(&a, value), Some(name), "{speed}");
            }
        }
        assert_eq!(
            dominant_motion(&moving(9.0), Complex64::new(-20.0, 0.0)),
            None
        );
    }
}
