//! Free parameters, and the unit cube that the search moves in.
//!
//! # Equation
//! ```text
//! linear       v = low + s (high - low)
//! logarithmic  v = low (high/low)^s         s in 0..1
//! ```
//! Values are rounded to as many digits as a file should show; what is judged is the rounded value,
//! so that the file written is exactly the law that was judged.
//!
//! # Checked by
//! `cube_and_values_are_inverse`, `values_are_short_and_inside`, `hypercube_fills_every_row`.

use crate::math::rng::Stream;

/// One free parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Path of the key in the controller file, for tables.
    pub name: String,
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
    /// Searched in its logarithm.
    pub log: bool,
}

/// Significant digits of values; more would only pretend.
pub const DIGITS: usize = 4;

/// The box of all free parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct Space {
    /// Parameters in the file's order.
    pub parameters: Vec<Parameter>,
    /// Digits that values are rounded to; none leaves them as they are.
    pub digits: Option<usize>,
}

impl Space {
    /// A box with values rounded to [`DIGITS`].
    pub fn new(parameters: Vec<Parameter>) -> Self {
        Space {
            parameters,
            digits: Some(DIGITS),
        }
    }

    /// Number of parameters.
    pub fn len(&self) -> usize {
        self.parameters.len()
    }

    /// True without parameters.
    pub fn is_empty(&self) -> bool {
        self.parameters.is_empty()
    }

    /// Values at a place of the unit cube.
    pub fn values(&self, place: &[f64]) -> Vec<f64> {
        let both = self.parameters.iter().zip(place);
        both.map(|(p, s)| p.value(*s, self.digits)).collect()
    }

    /// Place of values; those outside their range are put at its end.
    pub fn place(&self, values: &[f64]) -> Vec<f64> {
        let both = self.parameters.iter().zip(values);
        both.map(|(p, v)| p.share(*v)).collect()
    }
}

impl Parameter {
    fn value(&self, s: f64, digits: Option<usize>) -> f64 {
        let s = s.clamp(0.0, 1.0);
        let v = if self.log {
            self.low * (self.high / self.low).powf(s)
        } else {
            self.low + s * (self.high - self.low)
        };
        let v = digits.map_or(v, |d| self.rounded(v, d));
        v.clamp(self.low, self.high)
    }

    fn rounded(&self, v: f64, digits: usize) -> f64 {
        let text = if self.log {
            format!("{v:.*e}", digits.saturating_sub(1))
        } else {
            // a linear range is divided evenly
            let order = (self.high - self.low).abs().max(1e-300).log10().floor();
            let decimals = (digits as f64 - 1.0 - order).clamp(0.0, 15.0) as usize;
            format!("{v:.decimals$}")
        };
        // a minus sign before zero would make two files of one law
        text.parse().map_or(v, |v: f64| v + 0.0)
    }

    fn share(&self, v: f64) -> f64 {
        let s = if self.log {
            (v.max(self.low) / self.low).ln() / (self.high / self.low).ln()
        } else {
            (v - self.low) / (self.high - self.low)
        };
        if s.is_finite() {
            s.clamp(0.0, 1.0)
        } else {
            0.5
        }
    }
}

/// `count` places of which every parameter has one in each of `count` equal rows (Latin hypercube:
/// McKay, Beckman & Conover 1979, Technometrics 21, 239).
pub fn hypercube(count: usize, parameters: usize, rng: &mut Stream) -> Vec<Vec<f64>> {
    let mut places = vec![vec![0.0; parameters]; count];
    for k in 0..parameters {
        let mut rows: Vec<usize> = (0..count).collect();
        for i in (1..count).rev() {
            rows.swap(i, rng.below(i as u64 + 1) as usize);
        }
        for (place, row) in places.iter_mut().zip(rows) {
            place[k] = (row as f64 + rng.uniform()) / count as f64;
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::Purpose;

    fn space() -> Space {
        let p = |name: &str, low, high, log| Parameter {
            name: name.into(),
            low,
            high,
            log,
        };
        Space::new(vec![
            p("a", -2.0, 20.0, false),
            p("b", 0.01, 100.0, true),
            p("c", 0.0, 0.3, false),
        ])
    }

    #[test]
    fn cube_and_values_are_inverse() {
        let s = Space {
            digits: None,
            ..space()
        };
        let at = [0.3, 0.71, 0.05];
        let back = s.place(&s.values(&at));
        assert!(at.iter().zip(&back).all(|(a, b)| (a - b).abs() < 1e-12));
        assert!((s.values(&[0.0, 0.5, 1.0])[1] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn values_are_short_and_inside() {
        let v = space().values(&[0.123_456_789, 0.612_345_678, 0.777_777]);
        assert_eq!(format!("{v:?}"), "[0.72, 2.814, 0.2333]");
        assert_eq!(space().values(&[0.0; 3]), [-2.0, 0.01, 0.0]);
        assert_eq!(space().values(&[1.0; 3]), [20.0, 100.0, 0.3]);
        // what is outside is put at the end
        assert_eq!(space().place(&[99.0, 1e-9, -1.0]), [1.0, 0.0, 0.0]);
    }

    #[test]
    fn hypercube_fills_every_row() {
        let mut rng = Stream::new(3, 0, Purpose::Tuner);
        let places = hypercube(17, 4, &mut rng);
        for k in 0..4 {
            let mut rows: Vec<usize> = places.iter().map(|p| (p[k] * 17.0) as usize).collect();
            rows.sort_unstable();
            assert_eq!(rows, (0..17).collect::<Vec<_>>());
        }
    }
}
