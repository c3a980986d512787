//! Named columns with units.
