//! Transfer functions from waves to motions.
