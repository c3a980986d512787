//! Axes, lines, bars: one look for all pictures.
