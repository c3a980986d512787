//! Orthonormal stable causal functions of the unit delay: the pieces of any linear law.
//!
//! # Equation
//! ```text
//! D(z) = z^2 + b (c - 1) z - c                       one section, poles p = exp((-zeta +- i sqrt(1 - zeta^2)) omega T)
//! phi_1 = sqrt(1 - c^2) z (z - b) / D                c = -|p|^2, b = 2 Re p / (1 + |p|^2)
//! phi_2 = sqrt((1 - c^2)(1 - b^2)) z / D
//! phi_(2k+1,2) = phi_(1,2) of section k times the all-pass (-c z^2 + b (c - 1) z + 1) / D of all before
//! (1/2 pi) int phi_i conj(phi_j) d theta = 1 if i = j, else 0
//! ```
//!
//! # Symbols
//! z = exp(i omega T), T sample period (s); omega, zeta natural frequency (rad/s) and damping ratio of
//! a section's poles. The factor z lets the newest sample through at once.
//!
//! # Valid when
//! omega T < pi, 0 < zeta <= 1. Any stable causal response is met as closely as wished by enough
//! functions; few suffice when the poles lie near those of what is sought.
//!
//! # Source
//! Kautz 1954, IRE Trans. Circuit Theory 1, 29-39; Wahlberg & Makila 1996, Automatica 32, 693-708
//! (two-parameter discrete form); Heuberger, Van den Hof & Wahlberg 2005, Modelling and
//! Identification with Rational Orthogonal Basis Functions, chapter 2 (unequal sections).
//!
//! # Checked by
//! `functions_are_orthonormal`, `functions_are_causal_and_let_the_newest_sample_through`

use num_complex::Complex64;

/// Natural frequency, rad/s, and damping ratio of a section's poles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// rad/s.
    pub omega_rad_s: f64,
    /// Above 0, up to 1.
    pub damping: f64,
}

/// A row of orthonormal functions.
#[derive(Clone, Debug, PartialEq)]
pub struct Basis {
    period_s: f64,
    /// (b, c) of every section.
    sections: Vec<(f64, f64)>,
}

impl Basis {
    /// `sections` in turn, again from the first when they are used up, until there are `count`
    /// functions (two a section, an odd count is rounded up).
    pub fn new(period_s: f64, sections: &[Section], count: usize) -> Self {
        let of = |s: &Section| {
            let x = s.omega_rad_s * period_s;
            let size = (-s.damping * x).exp();
            let turn = (1.0 - s.damping * s.damping).max(0.0).sqrt() * x;
            let product = size * size;
            (2.0 * size * turn.cos() / (1.0 + product), -product)
        };
        let turns = sections.iter().cycle().take(count.div_ceil(2));
        Basis {
            period_s,
            sections: turns.map(of).collect(),
        }
    }

    /// Number of functions.
    pub fn len(&self) -> usize {
        2 * self.sections.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.sections.is_empty()
    }

    /// Value of every function at `omega_rad_s`.
    pub fn response(&self, omega_rad_s: f64) -> Vec<Complex64> {
        let z = Complex64::from_polar(1.0, omega_rad_s * self.period_s);
        let mut pass = Complex64::ONE;
        let mut out = Vec::with_capacity(self.len());
        for &(b, c) in &self.sections {
            let below = z * z + b * (c - 1.0) * z - c;
            let share = pass * z / below * (1.0 - c * c).sqrt();
            out.push(share * (z - b));
            out.push(share * (1.0 - b * b).sqrt());
            pass *= (-c * z * z + b * (c - 1.0) * z + 1.0) / below;
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PERIOD_S: f64 = 0.2;

    fn sample() -> Basis {
        let section = |omega_rad_s, damping| Section {
            omega_rad_s,
            damping,
        };
        let three = [section(0.6, 0.3), section(2.0, 1.0), section(5.0, 0.7)];
        Basis::new(PERIOD_S, &three, 10)
    }

    /// Values at equal steps round the circle.
    fn round(basis: &Basis, steps: usize) -> Vec<Vec<Complex64>> {
        let theta = |i: usize| std::f64::consts::TAU * i as f64 / steps as f64;
        (0..steps)
            .map(|i| basis.response(theta(i) / PERIOD_S))
            .collect()
    }

    #[test]
    fn functions_are_orthonormal() {
        let basis = sample();
        let values = round(&basis, 4096);
        for i in 0..basis.len() {
            for j in 0..basis.len() {
                let sum: Complex64 = values.iter().map(|v| v[i] * v[j].conj()).sum();
                let want = if i == j { 1.0 } else { 0.0 };
                // equal steps are exact for rational functions but for their aliases, here 0.96^4096
                assert!((sum / 4096.0 - want).norm() < 1e-12, "{i} {j}");
            }
        }
    }

    #[test]
    fn functions_are_causal_and_let_the_newest_sample_through() {
        let basis = sample();
        let steps = 4096;
        let values = round(&basis, steps);
        let tap = |k: usize, lag: i64| -> Complex64 {
            let turn = |i: usize| {
                let theta = std::f64::consts::TAU * i as f64 / steps as f64;
                Complex64::from_polar(1.0, theta * lag as f64)
            };
            let sum: Complex64 = values.iter().enumerate().map(|(i, v)| v[k] * turn(i)).sum();
            sum / steps as f64
        };
        for k in 0..basis.len() {
            for lag in 1..40 {
                assert!(tap(k, -lag).norm() < 1e-12, "{k} {lag}");
            }
        }
        assert!(tap(0, 0).norm() > 0.1);
    }
}
