//! The loop frozen at every speed of a fine grid, and the worst of its margins.
//!
//! # Equation
//! ```text
//! worst of q = min over U_k of q(U_k),   U_k = U_low .. U_high in equal steps
//! ```
//!
//! # Symbols
//! q a margin of [`Summary`]; U speed (m/s). The law is reset at each speed, so that gains interpolated
//! between design speeds are judged between them too.
//!
//! # Valid when
//! As the linear loop at each speed. A frozen grid proves nothing of speeds that change: see
//! [`super::ramp`].
//!
//! # Source
//! Shamma & Athans 1992, Automatica 28, 559-570: what frozen designs promise, and what they do not.
//!
//! # Checked by
//! `unstable_between_stable_ends_is_caught`, `the_hump_is_surges_matter`,
//! `the_grid_holds_its_ends` (tests/schedule.rs)

use num_complex::Complex64;
use rayon::prelude::*;

use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::margins::robust::{Judged, Summary, Worst, judge};
use crate::control::linear::LinearLaw;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::dynamics::state::StateLayout;
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::linear::assemble::assemble;
use crate::linear::trim;
use crate::sim::ramp::with_memory_of;
use crate::spec::scenario::CourseSpec;

/// What came of one speed.
#[derive(Clone, Debug, PartialEq)]
pub struct FrozenPoint {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Pole by which the speed itself runs away, 1/s: resistance that falls with speed behind a hump is the
    /// speed hold's matter, not the law's. The rest is then judged at held speed.
    pub surge_pole: Option<Complex64>,
    /// Margins, or the pole that grows; else why there is no loop to judge.
    pub judged: std::result::Result<Judged, String>,
}

impl FrozenPoint {
    /// Margins of a stable loop.
    pub fn summary(&self) -> Option<&Summary> {
        match &self.judged {
            Ok(Judged::Stable(s)) => Some(s),
            _ => None,
        }
    }

    /// A motion other than surge grows here.
    pub fn is_unstable(&self) -> bool {
        matches!(self.judged, Ok(Judged::Unstable(..)))
    }
}

/// The worst of one number and its speed.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstAt {
    /// The number and where in the loop it was found.
    pub found: Worst,
    /// Speed, m/s.
    pub speed_m_s: f64,
}

/// Speeds from `low` to `high` in equal steps of at most `step`, both ends included; any unit.
pub fn grid(low: f64, high: f64, step: f64) -> Vec<f64> {
    let count = ((high - low) / step - 1e-9).ceil().max(0.0) as usize;
    if count == 0 {
        return vec![low];
    }
    (0..=count)
        .map(|i| low + (high - low) * i as f64 / count as f64)
        .collect()
}

/// The craft in the loop at each speed (m/s).
///
/// # Errors
/// The first speed without memory or trim.
pub fn crafts(
    model: &CraftModel,
    speeds_m_s: &[f64],
    course: &CourseSpec,
) -> Result<Vec<LoopCraft>> {
    speeds_m_s
        .par_iter()
        .map(|u| LoopCraft::new(model, *u, course))
        .collect()
}

/// Judges the loop of each craft with the law that `law` makes for it.
pub fn frozen(
    crafts: &[LoopCraft],
    law: impl Fn(&LoopCraft) -> Result<LinearLaw> + Sync,
) -> Vec<FrozenPoint> {
    crafts
        .par_iter()
        .map(|craft| {
            let (judged, surge_pole) = match law(craft).and_then(|l| apart(craft, &l)) {
                Ok((judged, pole)) => (Ok(judged), pole),
                Err(e) => (Err(first_words(&e)), None),
            };
            FrozenPoint {
                speed_m_s: craft.speed_m_s,
                surge_pole,
                judged,
            }
        })
        .collect()
}

/// The loop; at held speed, with the pole, where surge alone runs away.
///
/// # Errors
/// As [`judge`].
pub fn apart(craft: &LoopCraft, law: &LinearLaw) -> Result<(Judged, Option<Complex64>)> {
    let whole = judge(craft, law)?;
    match whole {
        Judged::Unstable(pole, motion) if motion == Dof::Surge.name() => {
            Ok((judge(&at_held_speed(craft), law)?, Some(pole)))
        }
        other => Ok((other, None)),
    }
}

/// The craft with its speed held: no surge, no speed hold.
#[must_use]
pub fn at_held_speed(craft: &LoopCraft) -> LoopCraft {
    let mut out = craft.clone();
    out.kept.retain(|i| ![0, StateLayout::NU.start].contains(i));
    out.keeper.throttle = None;
    out
}

/// The first problem of an error in short.
pub(crate) fn first_words(e: &Error) -> String {
    e.problems
        .first()
        .map_or_else(|| e.to_string(), |p| p.message.clone())
}

/// The worst of every number of a [`Summary`] over the stable speeds; none where no speed is stable.
pub fn worst(points: &[FrozenPoint]) -> Option<[WorstAt; 7]> {
    let mut out: Option<[WorstAt; 7]> = None;
    for p in points {
        let Some(s) = p.summary() else { continue };
        let here = s.all().map(|w| WorstAt {
            found: w.clone(),
            speed_m_s: p.speed_m_s,
        });
        match &mut out {
            None => out = Some(here),
            Some(kept) => {
                for (k, h) in kept.iter_mut().zip(here) {
                    if h.found.value < k.found.value {
                        *k = h;
                    }
                }
            }
        }
    }
    out
}

/// The craft with the memory of another speed: another state of the same size at every speed.
///
/// # Errors
/// When no trim is found.
pub fn with_memory(craft: &LoopCraft, other: &Plant) -> Result<LoopCraft> {
    let plant = with_memory_of(&craft.plant, other);
    let trim = trim::level(&plant)?;
    let linear = assemble(&plant, &trim.x, None);
    // only rigid states are ever left out, and they keep their place
    let n = craft.linear.layout.len();
    let left_out: Vec<usize> = (0..n).filter(|i| !craft.kept.contains(i)).collect();
    let kept = (0..linear.layout.len())
        .filter(|i| !left_out.contains(i))
        .collect();
    Ok(LoopCraft {
        plant: std::sync::Arc::new(plant),
        trim,
        linear,
        kept,
        ..craft.clone()
    })
}
