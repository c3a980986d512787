//! Gains against speed and displacement in a controller file.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::pid::{AngleGains, HeaveGains};

/// The gains at one speed. They are stated at the reference speed like the gains outside, so the
/// scaling with (reference speed / speed)^2 goes on between and beyond the rows.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScheduleRow {
    /// Speed, kn; rows ascend. Between rows gains run linearly, beyond the ends they stay.
    pub speed_kn: f64,
    /// Heave.
    pub heave: HeaveGains,
    /// Pitch.
    pub pitch: AngleGains,
    /// Roll.
    pub roll: AngleGains,
}

/// The gains of one loading of the craft.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadingSchedule {
    /// What the craft weighs in this loading, t; loadings ascend. Between them gains run linearly, beyond the ends
    /// they stay.
    #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0.0))]
    pub displacement_t: f64,
    /// Gains against speed; a single row holds at all speeds.
    #[schemars(length(min = 1))]
    pub schedule: Vec<ScheduleRow>,
}

/// What follows the row in the path of a gain that has a place in rows: `pitch.rate_deg_s_per_deg`.
pub fn gain_in_row(key: &str) -> Option<&str> {
    let rest = key.strip_prefix("law.pid.")?;
    let (group, _) = rest.split_once('.')?;
    matches!(group, "heave" | "pitch" | "roll").then_some(rest)
}
