//! What each fin effect is worth.
