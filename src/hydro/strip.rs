//! Sections to craft: strip integrals.
