//! Modal demands to surfaces.
