//! All printing.
