//! Pitch stiffness, divergence speed, poles against speed.
