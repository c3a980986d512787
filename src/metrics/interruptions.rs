//! Motion-induced interruptions.
