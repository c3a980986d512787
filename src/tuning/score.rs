//! What a judge says of a set of values, and which of two is better.
//!
//! # Equation
//! ```text
//! excess = sum over limits of max(0, relative miss)        0: all limits are met
//! a before b:  excess_a = 0 < excess_b                     who meets the limits comes first
//!              both 0:     ride_a < ride_b                 then the ride decides
//!              both > 0:   excess_a < excess_b             else the smaller miss
//! ```
//! The search ranks only, so no weight of a penalty has to be chosen.
//!
//! # Source
//! K. Deb (2000), An efficient constraint handling method for genetic algorithms, Computer Methods
//! in Applied Mechanics and Engineering 186, 311-338: the rule.
//!
//! # Checked by
//! `the_rule_orders_four_cases`.

use std::cmp::Ordering;

use serde::{Deserialize, Serialize};

/// Excess of a law that is unstable or cannot be judged; growth or reasons add to it.
pub const HOPELESS: f64 = 1e3;

/// What a judge found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Score {
    /// The objective, smaller is better; counts only below [`HOPELESS`].
    pub ride: f64,
    /// Fin work, the other axis of the front.
    pub work: f64,
    /// Sum of relative misses of limits; 0 when all are met.
    pub excess: f64,
    /// Numbers beside them in the order the judge names; none where there is no number.
    pub readings: Vec<Option<f64>>,
}

impl Score {
    /// A score; numbers that are not finite make it hopeless.
    pub fn new(ride: f64, work: f64, excess: f64, readings: Vec<Option<f64>>) -> Self {
        if ride.is_finite() && work.is_finite() && excess.is_finite() {
            Score {
                ride,
                work,
                excess: excess.max(0.0),
                readings: readings
                    .into_iter()
                    .map(|r| r.filter(|v| v.is_finite()))
                    .collect(),
            }
        } else {
            Score::hopeless(1e6, readings)
        }
    }

    /// No ride to judge: `by` tells how far from one (growth rate, 1/s, for instance).
    pub fn hopeless(by: f64, readings: Vec<Option<f64>>) -> Self {
        let by = if by.is_finite() {
            by.clamp(0.0, 1e6)
        } else {
            1e6
        };
        Score {
            ride: 0.0,
            work: 0.0,
            excess: HOPELESS + by,
            readings,
        }
    }

    /// All limits are met.
    pub fn is_met(&self) -> bool {
        self.excess <= 0.0
    }

    /// There is a ride to speak of.
    pub fn is_judged(&self) -> bool {
        self.excess < HOPELESS
    }

    /// The rule above: less is better.
    pub fn rank(&self, other: &Score) -> Ordering {
        self.excess
            .total_cmp(&other.excess)
            .then(self.ride.total_cmp(&other.ride))
            .then(self.work.total_cmp(&other.work))
    }
}

/// Says how good a set of values is. Must give the same answer to the same values.
pub trait Judge: Sync {
    /// The score of values in the order of the space.
    fn judge(&self, values: &[f64]) -> Score;
}

impl<F: Fn(&[f64]) -> Score + Sync> Judge for F {
    fn judge(&self, values: &[f64]) -> Score {
        self(values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rule_orders_four_cases() {
        let s = |ride, excess| Score::new(ride, 0.0, excess, vec![]);
        assert_eq!(s(9.0, 0.0).rank(&s(1.0, 0.1)), Ordering::Less);
        assert_eq!(s(1.0, 0.0).rank(&s(2.0, 0.0)), Ordering::Less);
        assert_eq!(s(9.0, 0.1).rank(&s(1.0, 0.2)), Ordering::Less);
        assert_eq!(s(f64::NAN, 0.0).rank(&s(1.0, 99.0)), Ordering::Greater);
        assert!(!Score::hopeless(f64::NAN, vec![]).is_judged());
        assert!(s(1.0, -0.5).is_met());
    }
}
