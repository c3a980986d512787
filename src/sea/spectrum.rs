//! Spectral families and their moments.
