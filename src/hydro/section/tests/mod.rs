//! Checks of the sectional flow against reference list B, identities, limits and itself.

mod semicircle;
mod shapes;
