//! Ranges and cross-field checks of files.
