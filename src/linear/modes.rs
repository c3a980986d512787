//! Poles, named.
