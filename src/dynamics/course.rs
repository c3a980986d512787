//! Course and speed hold.
