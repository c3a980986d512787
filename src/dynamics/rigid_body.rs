//! Rigid-body mass matrix and Coriolis terms.
