//! Wave channels by phasor recurrence.
