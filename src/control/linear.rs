//! A law about trim as a sampled linear system.
//!
//! # Equation
//! ```text
//! x(k+1) = A x(k) + B y(k)        y: signals about trim, sampled together
//! u(k)   = C x(k) + D y(k)        u: commanded angles about trim, rad
//! C(omega) = C (z I - A)^-1 B + D,   z = exp(i omega T)
//! ```
//! The sign is that of the law itself: u = C y, no minus; a loop closes with det(I - G C).
//!
//! # Symbols
//! T sample period (s); y in the order of [`LinearLaw::signals`], u in that of [`LinearLaw::channels`].
//!
//! # Valid when
//! Small signals about trim: inside all limits, engaged, at one speed.
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, chapter 4.
//!
//! # Checked by
//! `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use nalgebra::DMatrix;
use num_complex::Complex64;

mod diagram;

pub use diagram::{Diagram, Line};

/// A signal that laws read, about its value at trim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LawSignal {
    /// Roll rate p, rad/s.
    RollRate,
    /// Pitch rate q, rad/s.
    PitchRate,
    /// Roll, rad.
    Roll,
    /// Pitch, rad.
    Pitch,
    /// Vertical acceleration of the motion unit, earth axes, down, gravity removed with the measured
    /// attitude, m/s2.
    VerticalAcceleration,
    /// Heave of O by the mean of the height sensors, attitude removed
    /// ([`crate::control::estimate::mean_heave`]): heave, down positive, plus the mean elevation, m.
    HeightHeave,
    /// Height of one sensor above the water, up positive, by index in
    /// [`crate::control::signal::Setup::height_sensors_m`], m.
    Height(usize),
    /// Measured angle of a surface, by index in [`crate::control::signal::Setup::surfaces`], rad.
    Surface(usize),
}

/// A law about trim at one speed: n states, p signals, m channels.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearLaw {
    /// Sample period, s.
    pub sample_period_s: f64,
    /// What the p columns of `b` and `d` are.
    pub signals: Vec<LawSignal>,
    /// What the m rows of `c` and `d` are: indices into [`crate::control::signal::Setup::surfaces`].
    pub channels: Vec<usize>,
    /// n x n.
    pub a: DMatrix<f64>,
    /// n x p.
    pub b: DMatrix<f64>,
    /// m x n.
    pub c: DMatrix<f64>,
    /// m x p.
    pub d: DMatrix<f64>,
    /// Power of the measured speed that the commands go with at once, about the speed of the last reset; 0 for a
    /// law that does not look.
    pub speed_power: f64,
}

impl LinearLaw {
    /// A law that holds every surface at trim.
    pub fn none(sample_period_s: f64) -> Self {
        LinearLaw {
            sample_period_s,
            signals: Vec::new(),
            channels: Vec::new(),
            a: DMatrix::zeros(0, 0),
            b: DMatrix::zeros(0, 0),
            c: DMatrix::zeros(0, 0),
            d: DMatrix::zeros(0, 0),
            speed_power: 0.0,
        }
    }

    /// Complex gain at `omega_rad_s`, m x p; none where a pole of the law lies there exactly.
    pub fn response(&self, omega_rad_s: f64) -> Option<DMatrix<Complex64>> {
        let z = Complex64::from_polar(1.0, omega_rad_s * self.sample_period_s);
        let n = self.a.nrows();
        let mut system = self.a.map(|v| Complex64::from(-v));
        for k in 0..n {
            system[(k, k)] += z;
        }
        let inner = system.lu().solve(&self.b.map(Complex64::from))?;
        Some(self.c.map(Complex64::from) * inner + self.d.map(Complex64::from))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn response_is_that_of_the_recursion() {
        // y(k) = 0.5 y(k-1) + u(k): 1 / (1 - 0.5 / z)
        let one = |v| DMatrix::from_element(1, 1, v);
        let law = LinearLaw {
            signals: vec![LawSignal::Roll],
            channels: vec![0],
            a: one(0.5),
            b: one(1.0),
            c: one(0.5),
            d: one(1.0),
            ..LinearLaw::none(0.1)
        };
        let z = Complex64::from_polar(1.0, 0.2);
        let want = 1.0 / (1.0 - 0.5 / z);
        assert!((law.response(2.0).unwrap()[(0, 0)] - want).norm() < 1e-14);
    }
}
