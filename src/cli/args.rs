//! Verbs and options.
