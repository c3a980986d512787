//! Tables in one variable, without silent extrapolation.
//!
//! # Equation
//! ```text
//! linear    y_i + s (y_i+1 - y_i),  s = (x - x_i)/(x_i+1 - x_i)
//! cubic     Hermite with slopes of the natural spline (twice continuous)
//! monotone  Hermite with slopes of Fritsch & Carlson: no overshoot between points
//! ```
//!
//! # Symbols
//! x ascending abscissae, y values, s position inside an interval.
//!
//! # Valid when
//! Inside the table; what happens outside is said by [`Outside`] and never guessed.
//!
//! # Source
//! Fritsch & Carlson (1980), SIAM J. Numer. Anal. 17(2). de Boor (1978), A Practical Guide to Splines.
//!
//! # Checked by
//! `every_kind_meets_its_points`, `monotone_data_stay_monotone`, `spline_converges_with_order_four`,
//! `outside_is_what_was_asked_for`.

use crate::error::{Error, Result};

/// How values between points are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Straight lines.
    Linear,
    /// Natural cubic spline.
    Cubic,
    /// Monotone cubic.
    Monotone,
}

/// What holds outside the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outside {
    /// An error that names the range.
    Refuse,
    /// The nearest end's value.
    Clamp,
    /// A constant.
    Constant(f64),
}

/// A table y(x).
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
    kind: Kind,
    outside: Outside,
}

impl Table {
    /// From points with ascending x.
    ///
    /// # Errors
    /// Fewer than two points, unequal lengths, numbers that are not finite, x not ascending.
    pub fn new(x: &[f64], y: &[f64], kind: Kind, outside: Outside) -> Result<Table> {
        if x.len() < 2 || x.len() != y.len() {
            return Err(Error::new(format!(
                "a table has {} abscissae and {} values, must have the same number, at least 2",
                x.len(),
                y.len()
            )));
        }
        if let Some(v) = x.iter().chain(y).find(|v| !v.is_finite()) {
            return Err(Error::new(format!(
                "a table holds {v}, must hold finite numbers"
            )));
        }
        if let Some(i) = (1..x.len()).find(|&i| x[i] <= x[i - 1]) {
            return Err(Error::new(format!(
                "abscissa {} follows {}, must ascend",
                x[i],
                x[i - 1]
            )));
        }
        let slope = match kind {
            Kind::Linear => Vec::new(),
            Kind::Cubic => natural_slopes(x, y),
            Kind::Monotone => monotone_slopes(x, y),
        };
        Ok(Table {
            x: x.to_vec(),
            y: y.to_vec(),
            slope,
            kind,
            outside,
        })
    }

    /// Lowest and highest abscissa.
    pub fn range(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }

    /// Value at `x`.
    ///
    /// # Errors
    /// `x` outside a table that refuses it, or not a number.
    pub fn at(&self, x: f64) -> Result<f64> {
        let (lo, hi) = self.range();
        if x >= lo && x <= hi {
            return Ok(self.inside(x));
        }
        match self.outside {
            Outside::Clamp if x < lo => Ok(self.y[0]),
            Outside::Clamp if x > hi => Ok(self.y[self.y.len() - 1]),
            Outside::Constant(c) if !x.is_nan() => Ok(c),
            _ => Err(Error::new(format!(
                "{x} is outside the table, must lie between {lo} and {hi}"
            ))),
        }
    }

    /// Value at `x` with ends held, whatever the policy: for inner loops that checked before.
    pub fn at_clamped(&self, x: f64) -> f64 {
        let (lo, hi) = self.range();
        self.inside(x.clamp(lo, hi))
    }

    fn inside(&self, x: f64) -> f64 {
        let i = self
            .x
            .partition_point(|&v| v <= x)
            .clamp(1, self.x.len() - 1)
            - 1;
        let h = self.x[i + 1] - self.x[i];
        let s = (x - self.x[i]) / h;
        let (a, b) = (self.y[i], self.y[i + 1]);
        match self.kind {
            Kind::Linear => a + s * (b - a),
            Kind::Cubic | Kind::Monotone => {
                let (p, q) = (self.slope[i] * h, self.slope[i + 1] * h);
                let d = b - a;
                a + s * (p + s * ((3.0 * d - 2.0 * p - q) + s * (p + q - 2.0 * d)))
            }
        }
    }
}

/// Slopes at the points of the natural cubic spline (Thomas algorithm).
fn natural_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|c| c[1] - c[0]).collect();
    let d: Vec<f64> = (0..n - 1).map(|i| (y[i + 1] - y[i]) / h[i]).collect();
    let mut upper = vec![0.0; n];
    let mut rhs = vec![0.0; n];
    upper[0] = 0.5;
    rhs[0] = 1.5 * d[0];
    for i in 1..n {
        let (lower, diag, up, r) = if i < n - 1 {
            (
                h[i],
                2.0 * (h[i - 1] + h[i]),
                h[i - 1],
                3.0 * (h[i] * d[i - 1] + h[i - 1] * d[i]),
            )
        } else {
            (1.0, 2.0, 0.0, 3.0 * d[n - 2])
        };
        let m = diag - lower * upper[i - 1];
        upper[i] = up / m;
        rhs[i] = (r - lower * rhs[i - 1]) / m;
    }
    for i in (0..n - 1).rev() {
        rhs[i] -= upper[i] * rhs[i + 1];
    }
    rhs
}

/// Slopes of Fritsch & Carlson with weighted harmonic means (Fritsch & Butland).
fn monotone_slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    let h: Vec<f64> = x.windows(2).map(|c| c[1] - c[0]).collect();
    let d: Vec<f64> = (0..n - 1).map(|i| (y[i + 1] - y[i]) / h[i]).collect();
    if n == 2 {
        return vec![d[0]; 2];
    }
    let mut m = vec![0.0; n];
    for i in 1..n - 1 {
        if d[i - 1] * d[i] > 0.0 {
            let (w1, w2) = (2.0 * h[i] + h[i - 1], h[i] + 2.0 * h[i - 1]);
            m[i] = (w1 + w2) / (w1 / d[i - 1] + w2 / d[i]);
        }
    }
    m[0] = end_slope(h[0], h[1], d[0], d[1]);
    m[n - 1] = end_slope(h[n - 2], h[n - 3], d[n - 2], d[n - 3]);
    m
}

/// One-sided three-point slope, held back so that the end interval stays monotone.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let s = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if s * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && s.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 6] = [0.0, 1.0, 1.5, 3.0, 4.0, 6.0];
    const Y: [f64; 6] = [0.0, 0.1, 2.0, 2.1, 2.1, 9.0];

    #[test]
    fn every_kind_meets_its_points() {
        for kind in [Kind::Linear, Kind::Cubic, Kind::Monotone] {
            let t = Table::new(&X, &Y, kind, Outside::Refuse).unwrap();
            for (x, y) in X.iter().zip(Y) {
                assert!((t.at(*x).unwrap() - y).abs() < 1e-12);
            }
            // a straight line is met exactly
            let line: Vec<f64> = X.iter().map(|x| 3.0 - 2.0 * x).collect();
            let t = Table::new(&X, &line, kind, Outside::Refuse).unwrap();
            assert!((t.at(2.2).unwrap() + 1.4).abs() < 1e-12);
        }
    }

    #[test]
    fn monotone_data_stay_monotone() {
        let t = Table::new(&X, &Y, Kind::Monotone, Outside::Refuse).unwrap();
        let mut last = -1e-12;
        for i in 0..=600 {
            let y = t.at(0.01 * f64::from(i)).unwrap();
            assert!(y >= last - 1e-12, "{i}");
            last = y;
        }
    }

    #[test]
    fn spline_converges_with_order_four() {
        let error = |n: usize| {
            // whole sine: its second derivative vanishes at the ends as the spline's does
            let x: Vec<f64> = (0..=n)
                .map(|i| std::f64::consts::PI * i as f64 / n as f64)
                .collect();
            let y: Vec<f64> = x.iter().map(|x| x.sin()).collect();
            let t = Table::new(&x, &y, Kind::Cubic, Outside::Refuse).unwrap();
            (0..1000)
                .map(|i| {
                    let x = std::f64::consts::PI * f64::from(i) / 1000.0;
                    (t.at(x).unwrap() - x.sin()).abs()
                })
                .fold(0.0, f64::max)
        };
        let order = (error(10) / error(20)).log2();
        assert!(order > 3.8, "{order}");
    }

    #[test]
    fn outside_is_what_was_asked_for() {
        let make = |o| Table::new(&X, &Y, Kind::Linear, o).unwrap();
        let e = make(Outside::Refuse).at(7.0).unwrap_err();
        assert!(e.to_string().contains("between 0 and 6"), "{e}");
        assert!((make(Outside::Clamp).at(7.0).unwrap() - 9.0).abs() < 1e-12);
        assert!((make(Outside::Constant(-1.0)).at(-0.1).unwrap() + 1.0).abs() < 1e-12);
        assert!(make(Outside::Clamp).at(f64::NAN).is_err());
        assert!(Table::new(&[0.0, 0.0], &[1.0, 2.0], Kind::Linear, Outside::Clamp).is_err());
        assert!(Table::new(&[0.0], &[1.0], Kind::Linear, Outside::Clamp).is_err());
        assert!(Table::new(&[0.0, f64::NAN], &[1.0, 2.0], Kind::Linear, Outside::Clamp).is_err());
    }
}
