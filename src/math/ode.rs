//! Fixed-step Runge-Kutta and the adaptive reference integrator.
