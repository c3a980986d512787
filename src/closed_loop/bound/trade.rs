//! Ride against fin activity: the prices at which two limits are just met.
//!
//! # Equation
//! ```text
//! least ride with angle <= a^2, rate <= r^2  =  max over prices >= 0 of
//!     min (ride + price_a (angle - a^2) + price_r (rate - r^2))
//! ```
//! Each activity falls with its own price; Newton's step on log(activity) over log(price), kept
//! inside a bracket; the rate's price outside, the angle's inside.
//!
//! # Symbols
//! All three are variances: of a ride quantity, of fin angle (rad^2), of fin rate (rad^2/s^2).
//!
//! # Valid when
//! All are convex in the choice and some choice meets both limits with room (strong duality).
//!
//! # Source
//! Boyd & Vandenberghe 2004, Convex Optimization, section 5.2.3; Boyd & Barratt 1991, chapter 3.
//!
//! # Checked by
//! `limits_are_met_and_no_more`, `equals_the_riccati_optimum` (bound::tests)

use crate::error::{Error, Result};

/// What a choice at given prices comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// Price of angle and of rate.
    pub prices: [f64; 2],
    /// Variance of the ride quantity.
    pub ride: f64,
    /// Variance of angle and of rate.
    pub spent: [f64; 2],
    /// d spent / d price.
    pub slope: [[f64; 2]; 2],
}

/// Something that chooses the best at given prices.
pub trait Choice {
    /// The best choice; none when the numbers fail.
    fn at(&self, prices: [f64; 2]) -> Option<Answer>;
    /// Variance of the ride when nothing is done (a size for prices).
    fn idle(&self) -> f64;
}

/// Activity is met to this share.
const MET: f64 = 1e-5;
/// Least price, as a share of idle ride over limit: below it the activity counts as free.
const CHEAP: f64 = 1e-7;
/// Largest price, likewise.
const DEAR: f64 = 1e9;
/// Largest step of a logarithm.
const STRIDE: f64 = 2.5;
const ROUNDS: usize = 60;

/// The least ride with `angle` and `rate` variances at most as given; `None`: no limit. `start`: prices
/// of a neighbour, if any.
///
/// # Errors
/// When no law stays within a limit (a craft that has to be stabilised), or the numbers fail.
pub fn within(
    choice: &dyn Choice,
    angle: f64,
    rate: Option<f64>,
    start: Option<[f64; 2]>,
) -> Result<Answer> {
    let own = |a: &Answer, i: usize| a.slope[i][i];
    let begin = |i: usize| start.map(|s| s[i]).filter(|p| *p > 0.0);
    let unit = |limit: f64| choice.idle() / limit;
    let by_angle = Search {
        which: 0,
        limit: angle,
        unit: unit(angle),
        start: begin(0),
    };
    let first = by_angle.price(&|p| choice.at([p, 0.0]), &|a| own(a, 0))?;
    let Some(rate) = rate.filter(|r| first.spent[1] > r * (1.0 + MET)) else {
        return Ok(first);
    };
    let by_rate = Search {
        which: 1,
        limit: rate,
        unit: unit(rate),
        start: begin(1),
    };
    let alone = by_rate.price(&|p| choice.at([0.0, p]), &|a| own(a, 1))?;
    if alone.spent[0] <= angle * (1.0 + MET) {
        return Ok(alone);
    }
    let last = std::cell::Cell::new(first.prices[0]);
    let inner = |p: f64| {
        let near = Search {
            start: Some(last.get()),
            ..by_angle
        };
        let found = near.price(&|q| choice.at([q, p]), &|a| own(a, 0)).ok()?;
        last.set(found.prices[0]);
        Some(found)
    };
    let total = |a: &Answer| {
        let s = &a.slope;
        let through = if s[0][0] < 0.0 {
            s[1][0] * s[0][1] / s[0][0]
        } else {
            0.0
        };
        s[1][1] - through
    };
    let by_rate = Search {
        start: Some(alone.prices[1] * 0.5),
        ..by_rate
    };
    by_rate.price(&inner, &total)
}

/// A search for the price at which one activity meets its limit.
#[derive(Clone, Copy, Debug)]
struct Search {
    which: usize,
    limit: f64,
    /// Idle ride over limit: the size of a price.
    unit: f64,
    start: Option<f64>,
}

impl Search {
    /// The price at which the limit is met; the cheapest when the activity stays below by itself.
    fn price(
        &self,
        at: &dyn Fn(f64) -> Option<Answer>,
        slope: &dyn Fn(&Answer) -> f64,
    ) -> Result<Answer> {
        if !(self.unit.is_finite() && self.unit > 0.0) {
            return Err(Error::new(
                "the least reachable ride needs a positive fin activity and a ride that is not zero",
            ));
        }
        let least = (self.unit * CHEAP).ln();
        let (mut low, mut high) = (f64::NEG_INFINITY, (self.unit * DEAR).ln());
        let mut x = self.start.unwrap_or(self.unit).ln().clamp(least, high);
        for _ in 0..ROUNDS {
            let answer = at(x.exp()).ok_or_else(|| {
                Error::new("the normal equations of the least reachable ride could not be solved")
            })?;
            let miss = (answer.spent[self.which] / self.limit).ln();
            if miss.abs() < MET || (miss < 0.0 && x <= least) {
                return Ok(answer);
            }
            if miss > 0.0 {
                low = x;
            } else {
                high = x;
            }
            if high - low < 1e-9 {
                break;
            }
            let steep = slope(&answer) * x.exp() / answer.spent[self.which];
            let step = if steep < 0.0 { -miss / steep } else { f64::NAN };
            let next = (x + step.clamp(-STRIDE, STRIDE)).max(least);
            x = if next > low && next < high {
                next
            } else if low > f64::NEG_INFINITY {
                0.5 * (low + high)
            } else {
                least
            };
        }
        Err(Error::new(format!(
            "no linear law keeps the fins' {} this low: the craft itself needs more of it to stay upright \
             and on its course",
            ["RMS angle", "RMS rate"][self.which]
        )))
    }
}
