//! Interpolated gains, checked where they were not solved.
//!
//! # Equation
//! ```text
//! x' = A x + B u,  y = C x         the craft's own design model at a speed between
//! s' = a s + b y,  u = c s + d y   the law with matrices interpolated to that speed
//! spectral radius of [A + B d C, B c; b C, a] below one
//! ```
//!
//! # Symbols
//! x motion, servos, past commands; s the law's states ([`crate::control::linear`]).
//!
//! # Valid when
//! The speed stands still (frozen); small motions; the design model is the craft.
//!
//! # Source
//! Shamma & Athans 1992, Automatica 28, 559-570: frozen stability is needed and, for slow speed
//! changes, enough.
//!
//! # Checked by
//! `tests/design.rs`: `interpolated_gains_hold_between_design_speeds`

use nalgebra::DMatrix;

use super::craft::{self, Surroundings};
use super::model::SampledModel;
use crate::control::linear::LinearLaw;
use crate::control::lqr::LqrMatrices;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::math::eigen;
use crate::units::{kn, to_kn};

/// Distance of the speeds checked, kn.
pub const STEP_KN: f64 = 0.5;

/// Refuses gains that do not hold the craft at a speed between the first and the last design speed.
///
/// # Errors
/// The first such speed by name; no equilibrium there.
pub fn check(
    name: &str,
    matrices: &LqrMatrices,
    model: &CraftModel,
    channels: &[String],
) -> Result<()> {
    for pair in matrices.points.windows(2) {
        let (from, to) = (to_kn(pair[0].speed_m_s), to_kn(pair[1].speed_m_s));
        let steps = ((to - from) / STEP_KN).ceil().max(1.0);
        for i in 1..steps as usize {
            let speed_kn = from + (to - from) * i as f64 / steps;
            let growth = growth_1_s(matrices, model, channels, kn(speed_kn))?;
            if growth.is_nan() || growth >= 0.0 {
                return Err(Error::with_hint(
                    format!(
                        "LQR design for `{name}`: between its design speeds, at {speed_kn:.1} kn, the interpolated gains do not hold the craft (a pole grows with {growth:+.3} 1/s)"
                    ),
                    format!("put a design speed between {from:.1} kn and {to:.1} kn"),
                ));
            }
        }
    }
    Ok(())
}

/// Largest real part of the closed loop's poles ln(z)/T at a speed, 1/s.
///
/// # Errors
/// No equilibrium at that speed.
pub fn growth_1_s(
    matrices: &LqrMatrices,
    model: &CraftModel,
    channels: &[String],
    speed_m_s: f64,
) -> Result<f64> {
    let craft = craft::at_speed(model, speed_m_s, channels)?;
    let design = craft.design_model(model, &Surroundings::default(), None);
    let plant = design.sampled()?;
    let loop_ = closed(&plant, &matrices.linear_at(speed_m_s));
    Ok(eigen::log_spectral_radius(&loop_) / matrices.sample_period_s)
}

/// The closed loop without the waves, which are no part of it.
fn closed(plant: &SampledModel, law: &LinearLaw) -> DMatrix<f64> {
    let own: Vec<usize> = (0..plant.states.len())
        .filter(|&i| !plant.states[i].starts_with("wave_"))
        .collect();
    let a = plant.a.select_rows(&own).select_columns(&own);
    let b = plant.b.select_rows(&own);
    let c = plant.c.select_columns(&own);
    let (n, k) = (a.nrows(), law.a.nrows());
    let mut out = DMatrix::zeros(n + k, n + k);
    out.view_mut((0, 0), (n, n))
        .copy_from(&(a + &b * &law.d * &c));
    out.view_mut((0, n), (n, k)).copy_from(&(b * &law.c));
    out.view_mut((n, 0), (k, n)).copy_from(&(&law.b * c));
    out.view_mut((n, n), (k, k)).copy_from(&law.a);
    out
}
