//! Weights of the march by how much of its past is known.
//!
//! # Equation
//! ```text
//! integral over the step / h = sum of weights times values;   middle, end: the polynomial through the instants there
//! ```
//! Instants lie at 0 (now), -1 and -2 steps; the corrector and its middle know the end, 1, besides. Each corrector is
//! Simpson's rule with that middle, each predictor the same with both ahead.
//!
//! # Source
//! E. Hairer, S. P. Noersett, G. Wanner (1993), Solving Ordinary Differential Equations I, section III.1 (Adams formulas).
//!
//! # Checked by
//! `weights_are_exact_for_polynomials`.

/// Weights of one length of the past.
#[derive(Debug)]
pub(super) struct Order {
    /// Mean over the step from now and the past.
    pub(super) predict: [f64; 3],
    /// Middle from now and the past.
    pub(super) ahead_middle: [f64; 3],
    /// End from now and the past.
    pub(super) ahead_end: [f64; 3],
    /// Mean over the step from end, now and the past.
    pub(super) correct: [f64; 4],
    /// Middle from end, now and the past.
    pub(super) middle: [f64; 4],
}

/// With nothing, one instant, two instants before now.
pub(super) const ORDERS: [Order; 3] = [
    Order {
        predict: [1.0, 0.0, 0.0],
        ahead_middle: [1.0, 0.0, 0.0],
        ahead_end: [1.0, 0.0, 0.0],
        correct: [0.5, 0.5, 0.0, 0.0],
        middle: [0.5, 0.5, 0.0, 0.0],
    },
    Order {
        predict: [1.5, -0.5, 0.0],
        ahead_middle: [1.5, -0.5, 0.0],
        ahead_end: [2.0, -1.0, 0.0],
        correct: [5.0 / 12.0, 8.0 / 12.0, -1.0 / 12.0, 0.0],
        middle: [0.375, 0.75, -0.125, 0.0],
    },
    Order {
        predict: [23.0 / 12.0, -16.0 / 12.0, 5.0 / 12.0],
        ahead_middle: [1.875, -1.25, 0.375],
        ahead_end: [3.0, -3.0, 1.0],
        correct: [9.0 / 24.0, 19.0 / 24.0, -5.0 / 24.0, 1.0 / 24.0],
        middle: [0.3125, 0.9375, -0.3125, 0.0625],
    },
];

/// Weighted sum of now and the past.
#[inline]
pub(super) fn past_sum(w: &[f64; 3], v: [f64; 3]) -> f64 {
    w[0] * v[0] + w[1] * v[1] + w[2] * v[2]
}

/// Weighted sum of end, now and the past.
#[inline]
pub(super) fn sum(w: &[f64; 4], end: f64, v: [f64; 3]) -> f64 {
    w[0] * end + w[1] * v[0] + w[2] * v[1] + w[3] * v[2]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_exact_for_polynomials() {
        for (known, o) in ORDERS.iter().enumerate() {
            // t^n at 0, -1, -2; its mean over 0..1 is 1/(n + 1)
            for n in 0..=known + 1 {
                let at = |t: f64| t.powf(n as f64);
                let past = [at(0.0), at(-1.0), at(-2.0)];
                let mean = 1.0 / (n as f64 + 1.0);
                let close = |a: f64, b: f64| (a - b).abs() < 1e-15; // of some twelfths
                assert!(close(sum(&o.correct, at(1.0), past), mean), "{known} {n}");
                assert!(close(sum(&o.middle, at(1.0), past), at(0.5)), "{known} {n}");
                if n <= known {
                    assert!(close(past_sum(&o.predict, past), mean), "{known} {n}");
                    assert!(close(past_sum(&o.ahead_middle, past), at(0.5)));
                    assert!(close(past_sum(&o.ahead_end, past), at(1.0)));
                }
            }
        }
    }
}
