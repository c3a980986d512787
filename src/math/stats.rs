//! Statistics of correlated records, with intervals.
//!
//! Independent samples in [`sample`], one correlated record in [`record`], crossings and peaks in
//! [`crossings`], the theory of Gaussian records in [`rice`], fitted distributions in [`fit`], ranks in [`order`],
//! largest values in [`extreme`].

use serde::{Deserialize, Serialize};

pub mod crossings;
pub mod extreme;
pub mod fit;
pub mod order;
pub mod record;
pub mod rice;
pub mod sample;

/// The level of every interval that does not say otherwise.
pub const LEVEL: f64 = 0.95;

/// A value with the limits between which the truth lies at the stated level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Estimate.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
}

impl Interval {
    /// An interval of no width.
    pub const fn exact(value: f64) -> Self {
        Interval {
            value,
            low: value,
            high: value,
        }
    }

    /// Estimate and limits through an increasing function.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        Interval {
            value: f(self.value),
            low: f(self.low),
            high: f(self.high),
        }
    }

    /// Times a positive factor.
    #[must_use]
    pub fn scale(self, factor: f64) -> Self {
        self.map(|x| x * factor)
    }

    /// Half the width relative to the value; infinite for a value of zero with a width.
    pub fn relative_half_width(&self) -> f64 {
        let half = 0.5 * (self.high - self.low);
        if half <= 0.0 {
            0.0
        } else {
            half / self.value.abs()
        }
    }

    /// Whether `x` lies inside.
    pub fn holds(&self, x: f64) -> bool {
        x >= self.low && x <= self.high
    }
}

/// Mean; NaN for no samples.
pub fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}

/// Root mean square about zero; NaN for no samples.
pub fn rms_about_zero(x: &[f64]) -> f64 {
    (x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64).sqrt()
}

/// Root mean square about the mean; NaN for no samples.
pub fn rms(x: &[f64]) -> f64 {
    let m = mean(x);
    (x.iter().map(|v| (v - m) * (v - m)).sum::<f64>() / x.len() as f64).sqrt()
}

/// Quantile `p` by linear interpolation of the sorted samples (type 7 of Hyndman & Fan 1996);
/// NaN for no samples.
pub fn quantile(x: &[f64], p: f64) -> f64 {
    if x.is_empty() {
        return f64::NAN;
    }
    let mut s = x.to_vec();
    s.sort_by(f64::total_cmp);
    let at = p.clamp(0.0, 1.0) * (s.len() - 1) as f64;
    let i = (at.floor() as usize).min(s.len() - 1);
    let j = (i + 1).min(s.len() - 1);
    s[i] + (at - i as f64) * (s[j] - s[i])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_samples_by_hand() {
        let x = [3.0, 1.0, 2.0, 6.0];
        assert!((mean(&x) - 3.0).abs() < 1e-15);
        assert!((rms(&x) - 3.5f64.sqrt()).abs() < 1e-15);
        assert!((rms_about_zero(&x) - 12.5f64.sqrt()).abs() < 1e-15);
        assert!((quantile(&x, 0.5) - 2.5).abs() < 1e-15);
        assert!((quantile(&x, 1.0) - 6.0).abs() < 1e-15);
        assert!(quantile(&[], 0.5).is_nan() && mean(&[]).is_nan());
        let i = Interval {
            value: 2.0,
            low: 1.0,
            high: 4.0,
        }
        .scale(2.0);
        assert!((i.relative_half_width() - 0.75).abs() < 1e-15 && i.holds(8.0) && !i.holds(8.1));
    }
}
