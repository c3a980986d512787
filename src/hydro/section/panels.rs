//! Panels on a section contour.
