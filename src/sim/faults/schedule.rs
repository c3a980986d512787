//! When faults start and end, in steps, and which craft is under way from when on.

use std::sync::Arc;

use super::weights::{Laden, Load, Water};
use super::{Breakage, Fault};
use crate::dynamics::damage::Damage;
use crate::error::{Error, Result};
use crate::sim::case::Timing;
use crate::sim::craft::Craft;

/// Steps in which a load comes on board.
const SLICES: u32 = 40;
/// Times in files are decimal, steps are not quite: share of a step by which a time may lie before its edge.
const EARLY: f64 = 1e-6;

/// A fault that starts or ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Edge {
    pub(crate) step: u64,
    pub(crate) fault: usize,
    pub(crate) starts: bool,
}

/// The timeline of a case.
pub(crate) struct Schedule {
    /// In order of time; at one step ends before starts, then the order of the list.
    pub(crate) edges: Vec<Edge>,
    /// The craft from a step on, in order of time.
    pub(crate) crafts: Vec<(u64, Arc<dyn Craft>)>,
}

impl Schedule {
    /// For `faults` of a run of `craft`; nothing when none of them acts within it.
    ///
    /// # Errors
    /// A surface lost, or backlash grown, on a craft that cannot be broken.
    pub(crate) fn new(
        faults: &[Fault],
        craft: &Arc<dyn Craft>,
        timing: &Timing,
    ) -> Result<Option<Schedule>> {
        let mut edges = Vec::new();
        for (fault, f) in faults.iter().enumerate() {
            let (from, until) = (
                step_of(f.from_s, timing),
                step_of(f.until_s, timing),
            );
            if from > timing.steps || until <= from {
                continue;
            }
            let edge = |step, starts| Edge {
                step,
                fault,
                starts,
            };
            edges.push(edge(from, true));
            if until <= timing.steps {
                edges.push(edge(until, false));
            }
        }
        if edges.is_empty() {
            return Ok(None);
        }
        edges.sort_by_key(|e| (e.step, e.starts, e.fault));
        let crafts = crafts(faults, &edges, craft, timing)?;
        Ok(Some(Schedule { edges, crafts }))
    }
}

/// The first step at or after a time.
fn step_of(t_s: f64, timing: &Timing) -> u64 {
    let steps = (t_s / timing.step_s - EARLY).ceil().max(0.0);
    // beyond any run, and infinity
    if steps < 1e15 { steps as u64 } else { u64::MAX }
}

/// Every craft that differs from the one before it.
fn crafts(
    faults: &[Fault],
    edges: &[Edge],
    healthy: &Arc<dyn Craft>,
    timing: &Timing,
) -> Result<Vec<(u64, Arc<dyn Craft>)>> {
    let surfaces = healthy.actuators().len();
    let mut out: Vec<(u64, Arc<dyn Craft>)> = Vec::new();
    let (mut damage, mut loads) = (Damage::none(surfaces), Vec::new());
    let mut hull = Arc::clone(healthy);
    for step in changes(faults, edges, timing) {
        let (d, l) = (damage_at(faults, edges, step, surfaces), loads_at(faults, edges, step, timing));
        if d == damage && l == loads {
            continue;
        }
        if d != damage {
            hull = match d.is_none() {
                true => Arc::clone(healthy),
                false => healthy.damaged(&d).ok_or_else(|| {
                    Error::new("this craft cannot lose surfaces or grow backlash in a run")
                })?,
            };
        }
        (damage, loads) = (d, l);
        let craft: Arc<dyn Craft> = if loads.is_empty() {
            Arc::clone(&hull)
        } else {
            Arc::new(Laden {
                base: Arc::clone(&hull),
                loads: loads.clone(),
            })
        };
        out.push((step, craft));
    }
    Ok(out)
}

/// Steps at which the craft may become another one.
fn changes(faults: &[Fault], edges: &[Edge], timing: &Timing) -> Vec<u64> {
    let mut steps: Vec<u64> = edges.iter().map(|e| e.step).collect();
    for e in edges.iter().filter(|e| e.starts) {
        if let Breakage::Loaded { within_s, .. } = faults[e.fault].breakage {
            let slice_s = within_s / f64::from(SLICES);
            let more = (1..SLICES).map(|k| e.step + step_of(f64::from(k) * slice_s, timing));
            steps.extend(more.filter(|s| *s <= timing.steps));
        }
    }
    steps.sort_unstable();
    steps.dedup();
    steps
}

/// Faults that act at a step.
fn acting<'a>(
    faults: &'a [Fault],
    edges: &'a [Edge],
    step: u64,
) -> impl Iterator<Item = (&'a Fault, u64)> {
    let starts = edges.iter().filter(move |e| e.starts && e.step <= step);
    let ended = move |fault: usize| {
        let mut ends = edges.iter().filter(|e| !e.starts && e.fault == fault);
        ends.any(|e| e.step <= step)
    };
    starts
        .filter(move |e| !ended(e.fault))
        .map(|e| (&faults[e.fault], e.step))
}

fn damage_at(faults: &[Fault], edges: &[Edge], step: u64, surfaces: usize) -> Damage {
    let mut d = Damage::none(surfaces);
    for (f, _) in acting(faults, edges, step) {
        match f.breakage {
            Breakage::Lost(i) => d.lost[i] = true,
            Breakage::Slack(i, width_rad) => {
                d.backlash_rad[i] = d.backlash_rad[i].max(width_rad);
            }
            _ => {}
        }
    }
    d
}

fn loads_at(faults: &[Fault], edges: &[Edge], step: u64, timing: &Timing) -> Vec<Load> {
    let mut out = Vec::new();
    for (f, from) in acting(faults, edges, step) {
        if let Breakage::Loaded { load, within_s } = f.breakage {
            let slice_s = within_s / f64::from(SLICES);
            let past = (1..SLICES).filter(|k| from + step_of(f64::from(*k) * slice_s, timing) <= step);
            let share = (1 + past.count()) as f64 / f64::from(SLICES);
            out.push(match load {
                Load::Water(w) => Load::Water(Water {
                    fill_frac: w.fill_frac * share,
                    ..w
                }),
                shift @ Load::Shift { .. } => shift,
            });
        }
    }
    out
}
