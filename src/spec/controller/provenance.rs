//! Where a controller file comes from, when a program wrote it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the numbers of a law come from; written by the tuner, of no effect on the law.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ProvenanceSpec {
    /// Program and version.
    pub made_by: String,
    /// The command that makes the file again.
    pub command: String,
    /// Name of the tuning.
    pub tuning: String,
    /// Name of the craft.
    pub craft: String,
    /// Hash of what the craft file says.
    pub craft_hash: String,
    /// Hash of everything the search depended on.
    pub inputs_hash: String,
    /// What was made small, in words.
    pub objective: String,
    /// Seed of the search.
    #[schemars(range(min = 0, max = 4_294_967_295_u64))]
    pub seed: u64,
    /// Laws judged.
    #[schemars(range(min = 0, max = 1_000_000_000))]
    pub evaluations: usize,
    /// How the search ended and what was left unmet, in words.
    pub ended: String,
}
