//! The march against the derivative it stands for.
