//! Equilibrium at speed.
