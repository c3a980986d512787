//! Boundary-element solution at a frequency.
