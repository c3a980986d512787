//! Mean wind profile and gusts.
