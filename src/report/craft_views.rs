//! The craft in plan, profile and section.
