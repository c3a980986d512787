//! A law in another process, JSON Lines.
