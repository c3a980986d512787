//! Coefficients, transfer functions, spectra, histories, poles.
