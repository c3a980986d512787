//! Human orders on a timeline, as a scenario lists them.
//!
//! An entry is a time and an action; what acts (law, course keeper, speed keeper) follows from the
//! action.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::controller::ModeSpec;

/// An order and its time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OrderSpec {
    /// Time from the start of the run, run-in included, s.
    pub at_s: f64,
    /// What is ordered.
    pub order: ActionSpec,
}

/// What a human orders. The latest order wins.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum ActionSpec {
    /// Another mode; it also takes back fins held by hand.
    Mode(ModeSpec),
    /// Another attitude or height to keep, off trim; what is absent becomes zero.
    SetPoint(SetPointSpec),
    /// One fin taken by hand, whatever the law wants.
    Fin {
        /// Name of the surface; rudders answer to `helm`.
        #[schemars(length(min = 1))]
        surface: String,
        /// Its angle, deg.
        #[schemars(range(min = -90.0, max = 90.0))]
        angle_deg: f64,
    },
    /// Another speed, kn, for the speed keeper.
    SpeedKn(f64),
    /// The weight of the craft that the law is told from now on, t: fuel was burnt, tanks were filled. The craft of the
    /// run stays as it is; loads of a fault file change her.
    DisplacementT(f64),
    /// Another course, or the rudders held.
    Helm(HelmSpec),
    /// What was taken by hand goes back to law and course keeper.
    Release {
        /// The one fin to release; all fins and the rudders when absent.
        #[serde(default)]
        surface: Option<String>,
    },
}

/// Where the craft shall lie, off its trim.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct SetPointSpec {
    /// Rise, up positive, m.
    #[schemars(range(min = -5.0, max = 5.0))]
    pub heave_up_m: f64,
    /// Pitch, bow up, deg.
    #[schemars(range(min = -20.0, max = 20.0))]
    pub pitch_deg: f64,
    /// Roll, starboard down, deg.
    #[schemars(range(min = -20.0, max = 20.0))]
    pub roll_deg: f64,
}

/// What the helmsman asks for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum HelmSpec {
    /// Change of course, to starboard positive, deg.
    CourseDeg(f64),
    /// All rudders held at this angle off trim, deg; positive turns to port.
    RudderDeg(f64),
}
