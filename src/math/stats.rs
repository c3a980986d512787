//! Statistics of correlated records, with intervals.
