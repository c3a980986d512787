//! Answers of craft and law to a force or moment: impulse and step.
//!
//! # Equation
//! ```text
//! impulse J at t = 0:  x(0+) = M^-1 e_j J,  x(k+1) = A_closed x(k)
//! step of J a second:  the running integral of the impulse's answer (trapezoids over the samples)
//! ```
//!
//! # Symbols
//! x state of craft and law at the samples, M mass matrix, e_j heave, roll or pitch.
//!
//! # Valid when
//! Small motions; the impulse falls on a sample. The step's error is that of the trapezoids, of the
//! order of (T/period)^2.
//!
//! # Source
//! Common practice, no source.
//!
//! # Checked by
//! `a_step_ends_at_its_static_answer`

use nalgebra::DVector;

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

/// Answer to an impulse (N s or N m s) along `along`, heave, roll or pitch, over `end_s`.
///
/// # Errors
/// A law that does not fit the craft.
pub fn impulse(
    craft: &LoopCraft,
    law: &LinearLaw,
    along: Dof,
    impulse: f64,
    end_s: f64,
) -> Result<Answer> {
    check(craft, law)?;
    let sampled = craft.sampled(&law.channels, &law.signals)?;
    let a = closed(&sampled, law);
    let mut x = DVector::zeros(a.nrows());
    let start = craft.plant.mass_inverse().column(along.i()) * impulse;
    for (k, state) in craft.kept.iter().enumerate() {
        if (6..12).contains(state) {
            x[k] = start[state - 6];
        }
    }
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

/// The answer to the same force or moment that stays, from that to its impulse over one second.
#[must_use]
pub fn step(impulse: &Answer) -> Answer {
    let mut out = impulse.clone();
    let Some(first) = out.motion.first_mut() else {
        return out;
    };
    *first = [0.0; 3];
    for v in &mut out.surface_rad[0] {
        *v = 0.0;
    }
    for k in 1..impulse.t_s.len() {
        let half = 0.5 * (impulse.t_s[k] - impulse.t_s[k - 1]);
        for j in 0..3 {
            out.motion[k][j] =
                out.motion[k - 1][j] + half * (impulse.motion[k][j] + impulse.motion[k - 1][j]);
        }
        for j in 0..out.surface_rad[k].len() {
            out.surface_rad[k][j] = out.surface_rad[k - 1][j]
                + half * (impulse.surface_rad[k][j] + impulse.surface_rad[k - 1][j]);
        }
    }
    out
}

/// Static hydrostatic stiffness in heave (N/m), roll or pitch (N m/rad) at the trim.
pub fn stiffness(craft: &LoopCraft, along: Dof) -> f64 {
    -stiffness_slope(&craft.plant, &craft.trim.x, along.i())
}
