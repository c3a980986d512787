//! RMS, significant values and rates of events, with intervals.
