//! Froude-Krylov and diffraction force of a section.
