//! The speed to come down to: the highest at which the craft with the fault does what is needed.
//!
//! # Equation
//! ```text
//! U* = max { U_k : stable, disk margin >= needed, RMS within limits, trial passes },  U_k = U, U - dU, ... >= U_least
//! ```
//! The first three are the linear loop's with the fault, about level trim at U_k; they are quick and rule speeds out.
//! The trial is simulation: going on at U with the fault (U_0), or slowing down from U to U_k and going on there
//! ([`super::trial`]); it knows mean offsets, stops, stall and what the linear loop leaves out.
//!
//! # Symbols
//! U_k speeds of the grid (kn). The speed just above U* on the grid does not hold; between the two nothing is said.
//!
//! # Valid when
//! Linear loop: about level trim at each speed, limits and drag linearised in the sea; where surge alone runs away it is
//! judged at held speed. A law that moves nothing has no disk margin to keep; it must be stable and keep the ride. A
//! law without linear form is tried by simulation alone; at U_0 the ride is that of the trial. Trials: the seeds run show what can happen.
//!
//! # Source
//! Common practice, no source: trial down a grid. A bisection would be misled where a band of speeds in between holds.
//!
//! # Checked by
//! `the_speed_to_come_down_to_holds_and_the_next_does_not`, `a_law_can_hold_what_fixed_fins_cannot`,
//! `a_trial_that_fails_sends_the_search_further_down` (tests/failures.rs)

use std::sync::{Arc, Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use crate::campaign::stage::Stage;
use crate::closed_loop::faulted::{LinearFault, LinearVerdict, verdict};
use crate::closed_loop::schedule::frozen::at_held_speed;
use crate::closed_loop::{AtSpeed, DragModel, Fineness, LoopCraft};
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::metrics::forecast::RideForecast;
use crate::spec::failures::FailureLimitsSpec;
use crate::units::{deg, to_kn};

/// Exposure of the forecast, which RMS do not depend on, s.
const EXPOSURE_S: f64 = 3600.0;

/// What the search found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ComeDown {
    /// Highest speed of the grid at which all needs are met, kn; none where there is no such speed.
    pub speed_kn: Option<f64>,
    /// What fails at the speed of the row, in words; none where nothing does.
    pub fails: Option<String>,
    /// What fails one step above the speed found.
    pub fails_above: Option<String>,
    /// Why the speed found was judged by the linear loop alone; none where it was simulated to the end.
    pub linear_only: Option<String>,
}

/// A search.
pub struct Descent<'a> {
    /// Scenario.
    pub stage: &'a Stage,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Sound crafts, fastest first.
    pub crafts: &'a [LoopCraft],
    /// The law at each; none where it has no linear form.
    pub laws: Option<&'a [LinearLaw]>,
    /// The fault.
    pub fault: &'a LinearFault,
    /// What must hold.
    pub limits: &'a FailureLimitsSpec,
    /// The linear loop at the first speed, where it is known already.
    pub here: Option<LinearVerdict>,
    /// What was found for such faults before, and the number of the law.
    pub known: Option<(&'a Known, usize)>,
}

/// What of a search does not depend on seeds.
#[derive(Clone, Debug, PartialEq)]
struct Key {
    /// The fault without what the linear loop leaves out: many faults are one to it.
    fault: LinearFault,
    law: usize,
    /// Place on the grid of speeds.
    k: usize,
    /// Sea and heading, where the ride is asked for.
    waves: Option<(String, u64)>,
}

/// Answers of the linear loop, kept for faults that are one to it.
#[derive(Debug, Default)]
pub struct Known {
    verdicts: Mutex<Vec<(Key, LinearVerdict)>>,
    failing: Mutex<Vec<(Key, Option<String>)>>,
}

/// The answer that is there, or a new one, which is kept. Two threads may find the same at once: no harm.
fn kept<T: Clone>(
    all: &Mutex<Vec<(Key, T)>>,
    key: Key,
    find: impl FnOnce() -> Result<T>,
) -> Result<T> {
    let open = || all.lock().unwrap_or_else(PoisonError::into_inner);
    let found = open().iter().find(|a| a.0 == key).map(|a| a.1.clone());
    if let Some(found) = found {
        return Ok(found);
    }
    let new = find()?;
    open().push((key, new.clone()));
    Ok(new)
}

impl Descent<'_> {
    /// Looks down the grid; `trial` tells why a speed of it does not hold in simulation.
    ///
    /// # Errors
    /// Poles that are not found; a sea out of range; a trial that cannot be made.
    pub fn search(
        &self,
        trial: &mut dyn FnMut(usize) -> Result<Option<String>>,
    ) -> Result<ComeDown> {
        let mut found = ComeDown {
            speed_kn: None,
            fails: None,
            fails_above: None,
            linear_only: None,
        };
        for k in 0..self.crafts.len() {
            // at the row's own speed the trial has the ride itself
            let linear = if k == 0 {
                self.linear(0)?.and_then(|v| self.unfit(&v))
            } else {
                self.failing(k)?
            };
            let why = match linear {
                Some(why) => Some(why),
                None => trial(k)?,
            };
            if why.is_none() {
                found.speed_kn = Some(to_kn(self.crafts[k].speed_m_s));
                break;
            }
            if k == 0 {
                found.fails.clone_from(&why);
            }
            found.fails_above = why;
        }
        Ok(found)
    }

    /// The linear loop with the fault at a speed of the grid; none for a law without linear form.
    ///
    /// # Errors
    /// Poles that are not found.
    pub fn linear(&self, k: usize) -> Result<Option<LinearVerdict>> {
        let Some(law) = self.laws.and_then(|l| l.get(k)) else {
            return Ok(None);
        };
        if let Some(here) = self.here.as_ref().filter(|_| k == 0) {
            return Ok(Some(here.clone()));
        }
        let find = || verdict(&self.fault.craft(&self.crafts[k]), &self.fault.law(law));
        let found = match self.known {
            Some((known, number)) => kept(&known.verdicts, self.key(k, number, None), find),
            None => find(),
        };
        found.map(Some)
    }

    fn key(&self, k: usize, law: usize, waves: Option<(String, u64)>) -> Key {
        let fault = LinearFault {
            left_out: Vec::new(),
            ..self.fault.clone()
        };
        Key {
            fault,
            law,
            k,
            waves,
        }
    }

    /// What fails in the linear loop at a speed of the grid; none where all needs are met, or without linear form.
    ///
    /// # Errors
    /// As [`Descent::search`].
    pub fn failing(&self, k: usize) -> Result<Option<String>> {
        let waves = (self.stage.sea.name.clone(), self.heading_deg.to_bits());
        match self.known {
            Some((known, law)) => {
                let key = self.key(k, law, Some(waves));
                kept(&known.failing, key, || self.find_failing(k))
            }
            None => self.find_failing(k),
        }
    }

    fn find_failing(&self, k: usize) -> Result<Option<String>> {
        let (Some(v), Some(law)) = (self.linear(k)?, self.laws.and_then(|l| l.get(k))) else {
            return Ok(None);
        };
        if let Some(why) = self.unfit(&v) {
            return Ok(Some(why));
        }
        let ride = self.ride(self.fault.craft(&self.crafts[k]), &self.fault.law(law))?;
        Ok(match ride {
            Some(ride) => self.rides_badly(&ride),
            None => Some("no ride can be forecast: the loop is unstable at held speed".to_owned()),
        })
    }

    /// Why a loop does not do, by poles and margin.
    fn unfit(&self, v: &LinearVerdict) -> Option<String> {
        if let Some([re, im]) = v.growing_1_s {
            let motion = v
                .motion
                .as_ref()
                .map_or(String::new(), |m| format!(" of {m}"));
            return Some(if im > 0.0 {
                format!("unstable: pole {re:+.3} {im:+.2}i 1/s{motion}")
            } else {
                format!("unstable: pole {re:+.3} 1/s{motion}")
            });
        }
        let needed = self.limits.disk_margin;
        let disk = v.disk.filter(|d| *d < needed)?;
        Some(format!("disk margin {disk:.2}, {needed:.2} needed"))
    }

    /// The ride, at held speed where surge alone runs away; none where that is unstable too.
    fn ride(&self, craft: LoopCraft, law: &LinearLaw) -> Result<Option<RideForecast>> {
        let held = at_held_speed(&craft);
        for craft in [craft, held] {
            let speed = Arc::new(AtSpeed::new(Arc::new(craft), &law.channels, &law.signals)?);
            let inside = speed.law(law)?;
            if !inside.is_stable() {
                continue;
            }
            let sea = speed.at_sea(
                &self.stage.sea,
                &self.stage.sea_folder,
                deg(self.heading_deg),
                &Fineness::default(),
                DragModel::Gaussian,
            )?;
            let found = sea.evaluate(&inside, &self.stage.spectral_options())?;
            let points = &self.stage.model.craft.points;
            return Ok(Some(found.ride(points, EXPOSURE_S)));
        }
        Ok(None)
    }

    fn rides_badly(&self, ride: &RideForecast) -> Option<String> {
        for m in &ride.motions {
            let most = match m.name.as_str() {
                "roll" => self.limits.roll_rms_deg,
                "pitch" => self.limits.pitch_rms_deg,
                _ => continue,
            };
            if m.rms.is_nan() || m.rms > most {
                return Some(format!(
                    "{} RMS {:.2} deg, at most {most:.2}",
                    m.name, m.rms
                ));
            }
        }
        let most = self.limits.vertical_rms_m_s2;
        let over = ride.points.iter().find(|p| p.vertical_rms_m_s2 > most);
        over.map(|p| {
            format!(
                "vertical acceleration RMS {:.2} m/s2 at {}, at most {most:.2}",
                p.vertical_rms_m_s2, p.name
            )
        })
    }
}

/// Speeds from `from_kn` down in steps of `step_kn` to at least `least_kn`; the first is `from_kn` itself.
pub(super) fn grid_kn(from_kn: f64, least_kn: f64, step_kn: f64) -> Vec<f64> {
    let steps = ((from_kn - least_kn) / step_kn + 1e-9).floor().max(0.0) as usize;
    (0..=steps).map(|k| from_kn - k as f64 * step_kn).collect()
}
