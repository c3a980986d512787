//! ISO 2631-1 frequency weightings.
