//! The linear model, assembled analytically.
