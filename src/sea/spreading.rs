//! Directional spreading.
