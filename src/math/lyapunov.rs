//! Lyapunov equations and covariances.
