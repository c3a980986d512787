//! Heave and heave rate from sensors.
