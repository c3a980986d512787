//! One craft, law and sea judged by a criteria set without simulation.
//!
//! # Valid when
//! As [`crate::closed_loop::trust`], with one refinement: slow motion, and a wandering phase of the waves, are reasons
//! for doubt only where they are part of a number that a limit is set for and that comes to half its limit at least.
//! That is how the method has been compared with simulation, quantity by quantity (`controllers/AGREEMENT.md`).

use super::Question;
use super::search::Probed;
use crate::campaign::judge::EXPOSURE_S;
use crate::closed_loop::evaluate::SurfaceWork;
use crate::closed_loop::trust::{Doubt, SLOW_SHARE};
use crate::closed_loop::{AtSea, DragModel, Evaluation, Fineness, LawInLoop, Options};
use crate::error::{Error, Result};
use crate::math::stats::Interval;
use crate::metrics::criteria::{Judgement, Verdict, judge};
use crate::metrics::forecast::RideForecast;
use crate::metrics::pool::{CaseNumbers, Entry, Quantity};
use crate::spec::criteria::{CriteriaSpec, LimitSpec};
use nalgebra::Vector3;
use serde::Serialize;

/// Share of its limit from which a number can become the limiting one by the errors of the method.
const NEAR_LIMIT: f64 = 0.5;

/// How the ride is found.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Method {
    /// Limits of the servos, drag changed by the law, noise.
    pub options: Options,
    /// Drag with fins at trim.
    pub drag: DragModel,
    /// How finely seas are cut.
    pub fineness: Fineness,
}

/// A reason not to trust a number.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Why {
    /// Without its numbers, as many seas may share it.
    pub reason: &'static str,
    /// With them.
    pub told: String,
}

impl From<&Doubt> for Why {
    fn from(doubt: &Doubt) -> Self {
        Why {
            reason: doubt.reason(),
            told: doubt.to_string(),
        }
    }
}

/// What was found at one height.
#[derive(Clone, Debug)]
pub struct Probe {
    /// Height, m.
    pub hs_m: f64,
    /// The limit that is nearest or exceeded most.
    pub worst: Verdict,
    /// Every limit judged.
    pub verdicts: Vec<Verdict>,
    /// Why not to trust it.
    pub doubts: Vec<Why>,
    /// Largest share of the time that a surface is at a limit.
    pub at_limits_frac: f64,
}

impl Probed for Probe {
    fn ratio(&self) -> f64 {
        self.worst.value.value / self.worst.limit
    }

    fn is_trusted(&self) -> bool {
        self.doubts.is_empty()
    }
}

/// Judges `law` in `unit`, a sea of 1 m without drag in its transfers, made `hs_m` high.
///
/// # Errors
/// A limit for which the craft has no number; an unstable loop.
pub fn probe(
    unit: &AtSea,
    law: &LawInLoop,
    points: &[(String, Vector3<f64>)],
    question: &Question<'_>,
    hs_m: f64,
) -> Result<Probe> {
    let (set, method) = (question.set, &question.method);
    let sea = unit.times(hs_m, method.drag)?;
    let found = sea.evaluate(law, &method.options)?;
    let ride = found.ride(points, EXPOSURE_S);
    let judged = judge(set, &numbers(&ride), EXPOSURE_S);
    let worst = worst(&judged)?.clone();
    let shares = found.surfaces.iter().map(SurfaceWork::limit_share);
    Ok(Probe {
        hs_m,
        doubts: doubts(&found, &ride, set, &judged.verdicts),
        at_limits_frac: shares.fold(0.0, f64::max),
        worst,
        verdicts: judged.verdicts,
    })
}

/// The verdict with the least margin.
///
/// # Errors
/// A limit that could not be judged.
pub fn worst(judged: &Judgement) -> Result<&Verdict> {
    if let Some(what) = judged.not_judged.first() {
        return Err(Error::with_hint(
            format!("`{}` limits {what}, which this craft has not", judged.set),
            "give the craft a point or surface of that name, or take the limit out of the criteria file",
        ));
    }
    judged
        .verdicts
        .iter()
        .min_by(|a, b| a.margin_frac.total_cmp(&b.margin_frac))
        .ok_or_else(|| Error::new(format!("`{}` limits nothing", judged.set)))
}

/// A forecast as the flat list that criteria read.
pub fn numbers(ride: &RideForecast) -> CaseNumbers {
    let mut entries = Vec::new();
    let mut put = |quantity, of: &str, unit, value: f64| {
        entries.push(Entry {
            quantity,
            of: of.to_owned(),
            unit,
            value: Interval::exact(value),
        });
    };
    for m in &ride.motions {
        put(Quantity::MotionRms, &m.name, m.unit, m.rms);
    }
    for p in &ride.points {
        for (quantity, unit, value) in [
            (Quantity::VerticalRms, "m/s2", p.vertical_rms_m_s2),
            (
                Quantity::VerticalVelocityRms,
                "m/s",
                p.vertical_velocity_rms_m_s,
            ),
            (Quantity::LateralRms, "m/s2", p.lateral_rms_m_s2),
            (Quantity::WeightedVertical, "m/s2", p.weighted_vertical_m_s2),
            (Quantity::Msdv, "m/s1.5", p.msdv_m_s1_5),
            (Quantity::MeanFrequency, "Hz", p.mean_frequency_hz),
            (Quantity::Mii, "1/min", p.mii_per_min),
        ] {
            put(quantity, &p.name, unit, value);
        }
    }
    for e in &ride.events {
        put(Quantity::EventRate, &e.name, "1/h", e.rate_per_h);
    }
    CaseNumbers {
        records: 0,
        completed: true,
        in_validity: true,
        entries,
    }
}

/// Why not to trust the `verdicts` of a ride.
fn doubts(
    found: &Evaluation<'_>,
    ride: &RideForecast,
    set: &CriteriaSpec,
    verdicts: &[Verdict],
) -> Vec<Why> {
    let near = || {
        let near = verdicts
            .iter()
            .filter(|v| v.value.value > NEAR_LIMIT * v.limit);
        near.map(|v| (&set.criteria[v.criterion].limit, &*v.of))
    };
    let counts = |d: &&Doubt| match d {
        Doubt::Slow { .. } => false,
        Doubt::WavePhase { of, .. } => near().any(|(limit, _)| parts(limit).contains(of)),
        _ => true,
    };
    let all = found.doubts_by_output();
    let mut out: Vec<Why> = all.iter().filter(counts).map(Why::from).collect();
    for (limit, of) in near() {
        for (share, motion) in slow_parts(ride, limit, of) {
            let slow = Why::from(&Doubt::Slow { motion, share });
            if share > SLOW_SHARE && !out.contains(&slow) {
                out.push(slow);
            }
        }
    }
    out
}

/// Motions that a limited number is made of.
fn parts(limit: &LimitSpec) -> &'static [&'static str] {
    match limit {
        LimitSpec::RollRmsDeg(_) | LimitSpec::LateralRmsG(_) | LimitSpec::MiiPerMin(_) => &["roll"],
        LimitSpec::PitchRmsDeg(_) => &["pitch"],
        LimitSpec::EventsPerH(_) => &["heave", "pitch"],
        _ => &["vertical acceleration"],
    }
}

/// Share of slow variance of what a limited number is made of.
fn slow_parts(ride: &RideForecast, limit: &LimitSpec, of: &str) -> Vec<(f64, String)> {
    // velocity is taken above 0.02 Hz: nothing slow is in it
    if let LimitSpec::VerticalVelocityRmsMS(_) = limit {
        return Vec::new();
    }
    let share = |part: &&str| match *part {
        "vertical acceleration" => {
            let p = ride.points.iter().find(|p| p.name == of);
            let slow = p.map_or(0.0, |p| p.slow_frac);
            (slow, format!("the vertical acceleration, {of}"))
        }
        motion => {
            let m = ride.motions.iter().find(|m| m.name == motion);
            (m.map_or(0.0, |m| m.slow_frac), motion.to_owned())
        }
    };
    parts(limit).iter().map(share).collect()
}
