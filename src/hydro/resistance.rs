//! Still-water resistance: friction line and thin-strut wave resistance.
