//! Measurements, commands, limits.
