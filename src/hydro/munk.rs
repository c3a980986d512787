//! End correction of the speed-dependent moment.
