//! Answers of craft and law to a force or moment that comes and stays, or goes again.
//!
//! # Equation
//! ```text
//! force F from t = 0 on:    x' = A x + M^-1 e_j F,  accelerometers read what F does at once
//! force over t_s seconds:   answer(t) - answer(t - t_s)
//! ```
//!
//! # Symbols
//! x state of craft and law, M mass matrix, e_j heave, roll or pitch.
//!
//! # Valid when
//! Small motions; the force comes on a sample. Exact at the samples.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `a_step_ends_at_its_static_answer`, `a_step_is_what_simulation_has`

use nalgebra::{DVector, Vector6};

use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::poles::{check, closed};
use crate::closed_loop::uncertainty::stiffness_slope;
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::frames::Dof;

/// Motions and fin angles against time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    /// s.
    pub t_s: Vec<f64>,
    /// Heave (down, m), roll, pitch (rad) about trim.
    pub motion: Vec<[f64; 3]>,
    /// Angle of every surface about trim, rad.
    pub surface_rad: Vec<Vec<f64>>,
}

/// Answer to a force (N) or moment (N m) along `along`, heave, roll or pitch, that comes at once and stays, over `end_s`.
///
/// # Errors
/// A law that does not fit the craft.
pub fn step(
    craft: &LoopCraft,
    law: &LinearLaw,
    along: Dof,
    push: f64,
    end_s: f64,
) -> Result<Answer> {
    check(craft, law)?;
    let at_once: Vector6<f64> = (craft.plant.mass_inverse().column(along.i()) * push).into_owned();
    let sampled = craft.pushed(&law.channels, &law.signals, &at_once)?;
    let a = closed(&sampled, law);
    let mut x = DVector::zeros(a.nrows());
    x[craft.kept.len()] = 1.0;
    let place = |state: usize| craft.kept.iter().position(|k| *k == state);
    let motions = [2, 3, 4].map(place);
    let layout = &craft.linear.layout;
    let surfaces: Vec<Option<usize>> = (0..craft.plant.surfaces.len())
        .map(|i| place(layout.angle(i)))
        .collect();
    let mut out = Answer::default();
    let steps = (end_s / sampled.period_s).ceil() as usize;
    for k in 0..=steps {
        let of = |at: &Option<usize>| at.map_or(0.0, |i| x[i]);
        out.t_s.push(k as f64 * sampled.period_s);
        out.motion.push(motions.each_ref().map(of));
        out.surface_rad.push(surfaces.iter().map(of).collect());
        x = &a * x;
    }
    Ok(out)
}

/// The answer to the same force or moment over the first `samples` samples only.
#[must_use]
pub fn short(step: &Answer, samples: usize) -> Answer {
    let mut out = step.clone();
    for k in samples..step.t_s.len() {
        let before = k - samples;
        for j in 0..3 {
            out.motion[k][j] -= step.motion[before][j];
        }
        for (v, b) in out.surface_rad[k].iter_mut().zip(&step.surface_rad[before]) {
            *v -= b;
        }
    }
    out
}

/// Static hydrostatic stiffness in heave (N/m), roll or pitch (N m/rad) at the trim.
pub fn stiffness(craft: &LoopCraft, along: Dof) -> f64 {
    -stiffness_slope(&craft.plant, &craft.trim.x, along.i())
}
