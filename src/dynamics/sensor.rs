//! Sensors: what the law sees of the truth.
