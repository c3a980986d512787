//! Tables in one variable, without silent extrapolation.
