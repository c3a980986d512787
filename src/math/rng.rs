//! Keyed random streams.
