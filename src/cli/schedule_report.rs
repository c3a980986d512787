//! What `schedule` tells, as JSON has it.

use serde::Serialize;

use super::output::Head;
use crate::closed_loop::margins::robust::Summary;
use crate::closed_loop::schedule::Window;
use crate::closed_loop::schedule::ramp::RampRun;
use crate::closed_loop::schedule::surge::SurgePoint;
use crate::closed_loop::schedule::turn::Turn;

/// Everything the verb tells.
#[derive(Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    pub(super) head: Head,
    pub(super) speeds_kn: [f64; 2],
    pub(super) step_kn: f64,
    /// Speed changes the craft can make.
    pub(super) surge: Vec<SurgePoint>,
    /// Shortest time up and down the range, s; none where thrust does not suffice.
    pub(super) shortest_s: [Option<f64>; 2],
    /// Speed whose memory the ramp has, kn.
    pub(super) memory_kn: Option<f64>,
    pub(super) heading_deg: f64,
    pub(super) laws: Vec<LawReport>,
}

/// One law.
#[derive(Debug, Serialize)]
pub(super) struct LawReport {
    pub(super) law: String,
    pub(super) frozen: Vec<SpeedRow>,
    /// Speeds between which the loop is unstable, kn.
    pub(super) unstable_kn: Vec<[f64; 2]>,
    /// The worst of each number: gain up, gain down, phase, delay, disk, 1/Ms, damping.
    pub(super) worst: Vec<WorstRow>,
    /// The worst margin in a sentence.
    pub(super) sentence: String,
    /// The same frozen grid in other loadings.
    pub(super) loadings: Vec<LoadingRow>,
    /// What the ramp's one memory costs.
    pub(super) memory_error: Option<MemoryError>,
    pub(super) ramps: Vec<RampRow>,
    /// In the ramp's sea at steady speeds.
    pub(super) steady: Vec<SteadyRow>,
    pub(super) turns: Vec<TurnRow>,
    /// Requirements that are not met, in words.
    pub(super) missed: Vec<String>,
}

/// The frozen grid in another loading, under the law as it is for the scenario's craft.
#[derive(Debug, Serialize)]
pub(super) struct LoadingRow {
    pub(super) loading: String,
    /// Displacement that the law was told and has gains for, t; none for a law that is the same in all loadings.
    pub(super) told_t: Option<f64>,
    pub(super) frozen: Vec<SpeedRow>,
    /// Speeds between which the loop is unstable, kn.
    pub(super) unstable_kn: Vec<[f64; 2]>,
    /// As those of the law.
    pub(super) worst: Vec<WorstRow>,
    /// The worst margin in a sentence.
    pub(super) sentence: String,
}

/// One speed of the frozen grid.
#[derive(Debug, Serialize)]
pub(super) struct SpeedRow {
    pub(super) speed_kn: f64,
    /// `stable`, or the pole that grows, or why there is no loop.
    pub(super) verdict: String,
    pub(super) is_unstable: bool,
    /// Pole by which the speed itself runs away (the speed hold's matter), real and imaginary part, 1/s.
    pub(super) surge_pole_1_s: Option<[f64; 2]>,
    pub(super) margins: Option<Summary>,
}

/// The worst of one number.
#[derive(Debug, Serialize)]
pub(super) struct WorstRow {
    pub(super) quantity: &'static str,
    pub(super) value: f64,
    pub(super) speed_kn: f64,
    pub(super) at: String,
    pub(super) omega_rad_s: Option<f64>,
}

/// Differences between loops with each speed's own memory and with the ramp's.
#[derive(Clone, Copy, Debug, Serialize)]
pub(super) struct MemoryError {
    /// Greatest difference of the least damping ratio.
    pub(super) damping_ratio: f64,
    /// Greatest difference of the disk margin.
    pub(super) disk: f64,
    /// Speeds at which one is stable and the other not.
    pub(super) verdicts: usize,
}

/// A ramp.
#[derive(Debug, Serialize)]
pub(super) struct RampRow {
    /// `calm` or `sea`.
    pub(super) water: &'static str,
    /// Level trim of the moment's speed is fed to the law.
    pub(super) has_trim_by_speed: bool,
    pub(super) is_bounded: bool,
    #[serde(flatten)]
    pub(super) run: RampRun,
}

/// A steady speed in the ramp's sea.
#[derive(Debug, Serialize)]
pub(super) struct SteadyRow {
    pub(super) speed_kn: f64,
    pub(super) outcome: String,
    pub(super) window: Window,
}

/// A steady turn.
#[derive(Debug, Serialize)]
pub(super) struct TurnRow {
    #[serde(flatten)]
    pub(super) turn: Turn,
    /// As in the frozen grid, about the turn.
    pub(super) verdict: String,
    pub(super) margins: Option<Summary>,
}
