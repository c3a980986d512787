//! Ride metrics side by side.
