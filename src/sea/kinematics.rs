//! Elevation and orbital velocity.
