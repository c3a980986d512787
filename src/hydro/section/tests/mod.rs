//! Checks of the sectional flow against reference list B, identities, limits and itself.

mod explore;
mod reference;
mod semicircle;
mod shapes;
