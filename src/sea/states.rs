//! Sea-state tables.
