//! The fault file, field by field (`ridewright.fault/1`): format reserved.
