//! Fixed-step Runge-Kutta and the adaptive reference integrator.
//!
//! # Equation
//! ```text
//! dx/dt = f(t, x)
//! k1 = f(t, x)            k2 = f(t + h/2, x + h/2 k1)
//! k3 = f(t + h/2, x + h/2 k2)   k4 = f(t + h, x + h k3)
//! x(t + h) = x + h/6 (k1 + 2 k2 + 2 k3 + k4)
//! ```
//!
//! # Symbols
//! `t` time (s); `x` state, `dx` its rate; `h` step (s).
//!
//! # Valid when
//! f is smooth within a step: hold discontinuous inputs and step to their edges. Time is formed
//! from an integer index by the caller, never summed.
//!
//! # Source
//! W. Kutta (1901), Zeitschrift fuer Mathematik und Physik 46, 435: the classical fourth-order
//! method. J. R. Dormand and P. J. Prince (1980), J. Comp. Appl. Math. 6, 19: the 5(4) pair, from
//! the crate `ode_solvers`.
//!
//! # Checked by
//! `fourth_order_by_halving`, `five_known_problems`, `reference_meets_known_problems`,
//! `reference_refuses_not_a_number`.

use std::cell::RefCell;

use nalgebra::DVector;
use ode_solvers::{Dopri5, OutputType, System};

use crate::error::{Error, Result};

/// Which of the three instants of a step a stage stands at. Inputs known beforehand (waves) are
/// tabulated by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// At t.
    Start,
    /// At t + h/2 (twice).
    Middle,
    /// At t + h.
    End,
}

/// Workspace of the classical fourth-order method for one state length.
#[derive(Clone, Debug)]
pub struct Rk4 {
    first: Vec<f64>,
    rate: Vec<f64>,
    sum: Vec<f64>,
    trial: Vec<f64>,
}

impl Rk4 {
    /// For states of `len` numbers.
    pub fn new(len: usize) -> Self {
        Rk4 {
            first: vec![0.0; len],
            rate: vec![0.0; len],
            sum: vec![0.0; len],
            trial: vec![0.0; len],
        }
    }

    /// Advances `x` by `h_s`. `f(stage, x, dx)` writes the rate; nothing is allocated.
    pub fn step(&mut self, h_s: f64, x: &mut [f64], mut f: impl FnMut(Stage, &[f64], &mut [f64])) {
        let mut first = std::mem::take(&mut self.first);
        f(Stage::Start, x, &mut first);
        self.step_from(h_s, x, &first, |stage, x, dx| f(stage, x, dx));
        self.first = first;
    }

    /// The same when the rate at the start is known already; `f` is called for the other three. It may
    /// overwrite states of the trial that it knows by other means; of those, `x` at the end is to be
    /// overwritten too.
    pub fn step_from(
        &mut self,
        h_s: f64,
        x: &mut [f64],
        first: &[f64],
        mut f: impl FnMut(Stage, &mut [f64], &mut [f64]),
    ) {
        let n = x.len();
        let (rate, sum, trial) = (
            &mut self.rate[..n],
            &mut self.sum[..n],
            &mut self.trial[..n],
        );
        let half = 0.5 * h_s;
        for i in 0..n {
            sum[i] = first[i];
            trial[i] = x[i] + half * first[i];
        }
        f(Stage::Middle, trial, rate);
        for i in 0..n {
            sum[i] += 2.0 * rate[i];
            trial[i] = x[i] + half * rate[i];
        }
        f(Stage::Middle, trial, rate);
        for i in 0..n {
            sum[i] += 2.0 * rate[i];
            trial[i] = x[i] + h_s * rate[i];
        }
        f(Stage::End, trial, rate);
        let sixth = h_s / 6.0;
        for i in 0..n {
            x[i] += sixth * (sum[i] + rate[i]);
        }
    }
}

/// Tolerances of the reference integrator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Relative, per state.
    pub relative: f64,
    /// Absolute, per state in its own unit.
    pub absolute: f64,
}

impl Default for Tolerance {
    fn default() -> Self {
        Tolerance {
            relative: 1e-9,
            absolute: 1e-11,
        }
    }
}

/// Dormand-Prince 5(4) from one discontinuity to the next. The step size found is carried over to
/// the next span; it allocates, and serves as the reference, not for production.
#[derive(Clone, Debug)]
pub struct Reference {
    tolerance: Tolerance,
    step_s: f64,
    evaluations: u64,
}

/// `System` takes `&self`, so the mutable right-hand side sits in a cell.
struct Rhs<F>(RefCell<F>);

impl<F: FnMut(f64, &[f64], &mut [f64])> System<f64, DVector<f64>> for &Rhs<F> {
    fn system(&self, t: f64, x: &DVector<f64>, dx: &mut DVector<f64>) {
        (self.0.borrow_mut())(t, x.as_slice(), dx.as_mut_slice());
    }
}

impl Reference {
    /// With the given tolerances; the first step is chosen by the method.
    pub fn new(tolerance: Tolerance) -> Self {
        Reference {
            tolerance,
            step_s: 0.0,
            evaluations: 0,
        }
    }

    /// Evaluations of the right-hand side so far.
    pub fn evaluations(&self) -> u64 {
        self.evaluations
    }

    /// Advances `x` from `t_s` to `t_end_s`, within which `f(t, x, dx)` must be smooth.
    ///
    /// # Errors
    /// When the method gives up or the state is no longer finite.
    pub fn advance(
        &mut self,
        t_s: f64,
        t_end_s: f64,
        x: &mut [f64],
        f: impl FnMut(f64, &[f64], &mut [f64]),
    ) -> Result<()> {
        if t_end_s <= t_s {
            return Ok(());
        }
        let span = t_end_s - t_s;
        let rhs = Rhs(RefCell::new(f));
        let mut method = Dopri5::from_param(
            &rhs,
            t_s,
            t_end_s,
            span,
            DVector::from_column_slice(x),
            self.tolerance.relative,
            self.tolerance.absolute,
            0.9,
            0.04,
            0.2,
            10.0,
            span,
            self.step_s.min(span),
            1_000_000,
            u32::MAX,           // no stiffness test: it would end a long smooth span
            OutputType::Sparse, // the dense output keeps its own grid (see the crate's traps)
        );
        let stats = method.integrate().map_err(|e| {
            Error::with_hint(
                format!("reference integrator stopped between {t_s} s and {t_end_s} s: {e}"),
                "the motion diverges, or the tolerances are too tight",
            )
        })?;
        self.evaluations += u64::from(stats.num_eval);
        if let Some(end) = method.y_out().last() {
            x.copy_from_slice(end.as_slice());
        }
        // the last step is clipped to the span: carry on with the mean accepted step
        let accepted = f64::from(stats.accepted_steps.max(1));
        self.step_s = span / accepted;
        if x.iter().all(|v| v.is_finite()) {
            Ok(())
        } else {
            Err(Error::new(format!(
                "state is not finite at {t_end_s} s in the reference integrator"
            )))
        }
    }
}

#[cfg(test)]
mod tests;
