//! All ride metrics of one record.
