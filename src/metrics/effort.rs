//! Work of the surfaces.
