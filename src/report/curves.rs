//! Coefficients, transfer functions, spectra, histories, poles, stability, hydrostatics, sea.

pub mod coefficients;
pub mod histories;
pub mod hydrostatics;
pub mod poles;
pub mod sea;
pub mod spectra;
pub mod stability;
pub mod transfer;

/// Points of a curve from two columns.
fn pairs(x: &[f64], y: &[f64]) -> Vec<[f64; 2]> {
    x.iter().zip(y).map(|(x, y)| [*x, *y]).collect()
}
