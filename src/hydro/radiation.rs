//! Added mass and damping of the craft over frequency.
