//! The least ride that any causal linear law could reach, against fin activity.
//!
//! # Equation
//! ```text
//! bound(a, r) = min over stable causal Q of  ride(Q)   with  fin RMS angle <= a, fin RMS rate <= r
//! distance of a law = (its ride - bound(its a, its r)) / bound(its a, its r)
//! ```
//! Every stabilising linear law is one Q ([`forms`]); ride and activity are convex in Q, so that the
//! minimum is found, not searched for. From below it is bracketed by foreknowledge of every wave
//! ([`foreknown`]), from above by the number of functions that make up Q ([`basis`]): more of them
//! lower it, and the last step is reported.
//!
//! # Symbols
//! Ride: a weighted sum of variances, told as its root. Fin RMS angle and rate: root of the mean over
//! the driven fins of the variances of the true angles and rates.
//!
//! # Valid when
//! The linear model, sensors' noise, filters and delays, the sampling and the servos are taken as they
//! are; angle and rate limits are not: small motions, fins inside their limits. The sea is stationary
//! and known to the designer by its spectrum, speed and heading. In a long-crested sea one wave excites
//! all sensors together: a law may learn from one sensor what another will meet, and the bound uses
//! that to the last bit that noise leaves. It says what no linear law beats, not what one should build:
//! it has no margins and knows one sea only.
//!
//! # Source
//! Youla, Jabr & Bongiorno 1976, IEEE Trans. AC-21, 319-338; Boyd & Barratt 1991, Linear Controller
//! Design: Limits of Performance.
//!
//! # Checked by
//! `bound::tests`, `no_law_beats_the_bound` (tests/bound.rs)

pub mod basis;
pub mod bode;
pub mod craft;
pub mod foreknown;
pub mod forms;
pub mod grid;
pub mod point;
pub mod study;
pub mod trade;

#[cfg(test)]
mod tests;
