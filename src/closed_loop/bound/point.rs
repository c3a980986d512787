//! A loop on a grid of frequencies: what excites it, what is seen, what is judged, what commands do.
//!
//! # Equation
//! ```text
//! y = y_w + G u      z = z_w + Z u                 open; columns of y_w, z_w: independent sources
//! u = C y + v        S = (I - G C)^-1
//! y = S y_w + ..     z = z_w + Z C S y_w + Z (I - C G)^-1 v
//! variance of row i = sum over points and columns of |z_i|^2
//! ```
//!
//! # Symbols
//! y signals (p), u commands (m), z outputs (n); the columns are scaled by the root of the variance
//! that their source brings at the point (m for a wave of a spectrum, noise likewise).
//!
//! # Valid when
//! Linear, steady, and |omega| T < pi where a law is sampled.
//!
//! # Source
//! Zhou, Doyle & Glover 1996, Robust and Optimal Control, chapters 5 and 14.
//!
//! # Checked by
//! `second_order_h2_norm`, `closing_in_two_steps_is_closing_once` (bound::tests)

use nalgebra::DMatrix;
use num_complex::Complex64;

/// Complex matrix.
pub type Cm = DMatrix<Complex64>;

/// One frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Signed frequency, rad/s.
    pub omega_rad_s: f64,
    /// Signals by each source, p x e.
    pub seen: Cm,
    /// Outputs by each source with commands zero, n x e.
    pub free: Cm,
    /// Signals per command, p x m.
    pub loop_gain: Cm,
    /// Outputs per command, n x m.
    pub reach: Cm,
    /// Whether a wave is the source (otherwise the noise of sensors).
    pub wave: bool,
}

impl Point {
    /// The point with u = C y + v; commands are now v. None where the loop is singular.
    pub fn close(&self, law: &Cm) -> Option<Point> {
        let (p, m) = self.loop_gain.shape();
        let outer = (Cm::identity(p, p) - &self.loop_gain * law).lu();
        let inner = (Cm::identity(m, m) - law * &self.loop_gain).lu();
        let seen = outer.solve(&self.seen)?;
        let inner = inner.solve(&Cm::identity(m, m))?;
        Some(Point {
            omega_rad_s: self.omega_rad_s,
            free: &self.free + &self.reach * (law * &seen),
            seen,
            loop_gain: &self.loop_gain * &inner,
            reach: &self.reach * &inner,
            wave: self.wave,
        })
    }
}

/// A weighted sum of variances of outputs.
#[derive(Clone, Debug, PartialEq)]
pub struct Sum {
    /// Output row and weight of its variance.
    pub rows: Vec<(usize, f64)>,
}

impl Sum {
    /// Mean of the variances of `rows`.
    pub fn mean(rows: std::ops::Range<usize>) -> Sum {
        let share = 1.0 / rows.len().max(1) as f64;
        Sum {
            rows: rows.map(|i| (i, share)).collect(),
        }
    }

    /// Its value with commands zero.
    pub fn free(&self, points: &[Point]) -> f64 {
        points.iter().map(|p| self.free_at(p)).sum()
    }

    /// Share of one point.
    pub(super) fn free_at(&self, p: &Point) -> f64 {
        let row = |i: usize| p.free.row(i).iter().map(Complex64::norm_sqr).sum::<f64>();
        self.rows.iter().map(|(i, w)| w * row(*i)).sum()
    }

    /// Rows of the outputs per command, and those conjugated, turned and weighted: R and R'W.
    pub(super) fn reach(&self, p: &Point) -> (Cm, Cm) {
        let reach = p.reach.select_rows(self.rows.iter().map(|r| &r.0));
        let mut back = reach.adjoint();
        for (i, (_, w)) in self.rows.iter().enumerate() {
            back.column_mut(i).scale_mut(*w);
        }
        (reach, back)
    }

    /// Rows of the outputs with commands zero.
    pub(super) fn free_rows(&self, p: &Point) -> Cm {
        p.free.select_rows(self.rows.iter().map(|r| &r.0))
    }
}
