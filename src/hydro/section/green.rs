//! Deep-water free-surface Green function.
