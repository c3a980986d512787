//! Coefficients, transfer functions, spectra, histories, poles, stability, hydrostatics, sea; loops:
//! Bode, Nyquist, sensitivity, answers in time.

pub mod bode;
pub mod bound;
pub mod coefficients;
pub mod histories;
pub mod hydrostatics;
pub mod nyquist;
pub mod poles;
pub mod schedule;
pub mod sea;
pub mod sensitivity;
pub mod spectra;
pub mod stability;
pub mod steps;
pub mod transfer;

/// Points of a curve from two columns.
fn pairs(x: &[f64], y: &[f64]) -> Vec<[f64; 2]> {
    x.iter().zip(y).map(|(x, y)| [*x, *y]).collect()
}
