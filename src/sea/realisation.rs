//! Wave components from a spectrum and a seed.
