//! Continuous and discrete algebraic Riccati equations.
