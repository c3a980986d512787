//! Interaction fade, finite length, and Kramers-Kronig.
