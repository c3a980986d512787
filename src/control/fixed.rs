//! Surfaces held at their trim angles.
