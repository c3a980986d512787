//! Spectral estimates of records.
