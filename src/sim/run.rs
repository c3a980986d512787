//! The loop.
