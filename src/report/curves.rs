//! Coefficients, transfer functions, spectra, histories, poles, stability, hydrostatics, sea.

pub mod histories;
