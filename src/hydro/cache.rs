//! Tables on disk, keyed by content.
