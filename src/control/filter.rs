//! Discrete filters of the laws.
