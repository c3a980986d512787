//! Modal PID.
