//! How a run ended.
