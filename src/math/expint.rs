//! Exponential integral of complex argument.
