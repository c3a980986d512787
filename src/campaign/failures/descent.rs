//! The speed to come down to: the highest at which the loop with the fault does what is needed.
//!
//! # Equation
//! ```text
//! U* = max { U_k : stable, disk margin >= needed, RMS within limits },   U_k = U, U - dU, ... >= U_least
//! ```
//!
//! # Symbols
//! U_k speeds of the grid (kn). The speed just above U* on the grid does not hold; between the two nothing is said.
//!
//! # Valid when
//! The linear loop about level trim at each speed, limits and drag linearised in the sea. A law that moves nothing
//! has no disk margin to keep; it must be stable and keep the ride.
//!
//! # Source
//! Common practice, no source: trial down a grid. A bisection would be misled where a band of speeds in between holds.
//!
//! # Checked by
//! `the_speed_to_come_down_to_holds_and_the_next_does_not` (tests/failures.rs)

use std::sync::Arc;

use serde::Serialize;

use crate::campaign::stage::Stage;
use crate::closed_loop::evaluate::Options;
use crate::closed_loop::faulted::{LinearFault, verdict};
use crate::closed_loop::{AtSpeed, DragModel, Fineness, LoopCraft};
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::spec::failures::FailureLimitsSpec;
use crate::units::{deg, to_kn};

/// Exposure of the forecast, which RMS do not depend on, s.
const EXPOSURE_S: f64 = 3600.0;

/// What must hold at the speed to come down to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Needs {
    /// Disk margin.
    pub disk: f64,
    /// Roll RMS, deg.
    pub roll_rms_deg: f64,
    /// Pitch RMS, deg.
    pub pitch_rms_deg: f64,
    /// Vertical acceleration RMS at any point, m/s2.
    pub vertical_rms_m_s2: f64,
}

impl Needs {
    /// Of the limits of a file.
    pub fn of(limits: &FailureLimitsSpec) -> Self {
        Needs {
            disk: limits.disk_margin,
            roll_rms_deg: limits.roll_rms_deg,
            pitch_rms_deg: limits.pitch_rms_deg,
            vertical_rms_m_s2: limits.vertical_rms_m_s2,
        }
    }
}

/// What the search found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ComeDown {
    /// Highest speed of the grid at which all needs are met, kn; none where there is no such speed.
    pub speed_kn: Option<f64>,
    /// What fails at the speed of the row, in words; none where nothing does.
    pub fails: Option<String>,
    /// What fails one step above the speed found.
    pub fails_above: Option<String>,
}

/// A search.
pub struct Descent<'a> {
    /// Scenario.
    pub stage: &'a Stage,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Sound crafts, fastest first.
    pub crafts: &'a [LoopCraft],
    /// The law at each.
    pub laws: &'a [LinearLaw],
    /// The fault.
    pub fault: &'a LinearFault,
    /// What must hold.
    pub needs: Needs,
}

impl Descent<'_> {
    /// Looks down the grid.
    ///
    /// # Errors
    /// Poles that are not found; a sea out of range.
    pub fn search(&self) -> Result<ComeDown> {
        let (mut fails, mut above) = (None, None);
        for k in 0..self.crafts.len() {
            let Some(why) = self.failing(k)? else {
                return Ok(ComeDown {
                    speed_kn: Some(to_kn(self.crafts[k].speed_m_s)),
                    fails,
                    fails_above: above,
                });
            };
            if k == 0 {
                fails = Some(why.clone());
            }
            above = Some(why);
        }
        Ok(ComeDown {
            speed_kn: None,
            fails,
            fails_above: above,
        })
    }

    /// What fails at a speed of the grid; none where all needs are met.
    ///
    /// # Errors
    /// As [`Descent::search`].
    pub fn failing(&self, k: usize) -> Result<Option<String>> {
        let craft = self.fault.craft(&self.crafts[k]);
        let law = self.fault.law(&self.laws[k]);
        let v = verdict(&craft, &law)?;
        if let Some([re, im]) = v.growing_1_s {
            let motion = v.motion.map_or(String::new(), |m| format!(" of {m}"));
            return Ok(Some(if im > 0.0 {
                format!("unstable: pole {re:+.3} {im:+.2}i 1/s{motion}")
            } else {
                format!("unstable: pole {re:+.3} 1/s{motion}")
            }));
        }
        if let Some(disk) = v.disk.filter(|d| *d < self.needs.disk) {
            return Ok(Some(format!(
                "disk margin {disk:.2}, {:.2} needed",
                self.needs.disk
            )));
        }
        self.rides_badly(craft, &law)
    }

    fn rides_badly(&self, craft: LoopCraft, law: &LinearLaw) -> Result<Option<String>> {
        let speed = Arc::new(AtSpeed::new(Arc::new(craft), &law.channels, &law.signals)?);
        let inside = speed.law(law)?;
        if !inside.is_stable() {
            // surge alone runs away: the ride at held speed cannot be told by the spectral method
            return Ok(None);
        }
        let sea = speed.at_sea(
            &self.stage.sea,
            &self.stage.sea_folder,
            deg(self.heading_deg),
            &Fineness::default(),
            DragModel::Gaussian,
        )?;
        let found = sea.evaluate(&inside, &Options::default())?;
        let ride = found.ride(&self.stage.model.craft.points, EXPOSURE_S);
        for m in &ride.motions {
            let most = match m.name.as_str() {
                "roll" => self.needs.roll_rms_deg,
                "pitch" => self.needs.pitch_rms_deg,
                _ => continue,
            };
            if m.rms > most {
                return Ok(Some(format!(
                    "{} RMS {:.2} deg, at most {most:.2}",
                    m.name, m.rms
                )));
            }
        }
        let most = self.needs.vertical_rms_m_s2;
        let over = ride.points.iter().find(|p| p.vertical_rms_m_s2 > most);
        Ok(over.map(|p| {
            format!(
                "vertical acceleration RMS {:.2} m/s2 at {}, at most {most:.2}",
                p.vertical_rms_m_s2, p.name
            )
        }))
    }
}

/// Speeds from `from_kn` down in steps of `step_kn` to at least `least_kn`; the first is `from_kn` itself.
pub(super) fn grid_kn(from_kn: f64, least_kn: f64, step_kn: f64) -> Vec<f64> {
    let steps = ((from_kn - least_kn) / step_kn + 1e-9).floor().max(0.0) as usize;
    (0..=steps).map(|k| from_kn - k as f64 * step_kn).collect()
}
