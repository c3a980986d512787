//! The fault file, field by field (`ridewright.fault/1`): the format's name is reserved, a later
//! version gives it a timeline of events.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A fault file: only its header so far.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FaultSpec {
    /// Always `ridewright.fault/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// What breaks and why it is worth a run.
    #[serde(default)]
    pub note: String,
}
