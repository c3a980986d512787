//! The ride of a scenario by the spectral method: every law at every speed and heading.

use std::sync::Arc;

use rayon::prelude::*;
use serde::Serialize;

use super::compare::Selection;
use super::judge::EXPOSURE_S;
use super::stage::{LawPlan, SpeedStage, Stage};
use crate::closed_loop::evaluate::SurfaceWork;
use crate::closed_loop::{AtSpeed, DragModel, Evaluation, Fineness, LawInLoop, LoopCraft, Output};
use crate::error::Result;
use crate::metrics::forecast::RideForecast;
use crate::units::{deg, kn};

/// Encounter frequencies of the spectra: up to 3 rad/s.
const SPECTRUM_STEPS: usize = 120;
const SPECTRUM_STEP_RAD_S: f64 = 0.025;
/// Half width of the triangle that a slice of the sea is spread over, rad/s.
const SPECTRUM_WIDTH_RAD_S: f64 = 0.06;

/// Density of one response over the encounter frequency.
#[derive(Clone, Debug, Serialize)]
pub struct Spectrum {
    /// Of what.
    pub of: String,
    /// Unit of the density.
    pub unit: &'static str,
    /// Encounter frequencies, rad/s.
    pub omega_e_rad_s: Vec<f64>,
    /// Density.
    pub density: Vec<f64>,
}

/// One law at one speed and heading.
#[derive(Clone, Debug, Serialize)]
pub struct PredictedCell {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// Nothing grows; without it there is no ride.
    pub stable: bool,
    /// Nothing speaks against the numbers.
    pub trusted: bool,
    /// What does, in words.
    pub doubts: Vec<String>,
    /// Largest share of the time that a fin is at an angle or rate limit.
    pub limit_frac: f64,
    /// Passes until limits and drag stood still.
    pub iterations: usize,
    /// The ride.
    pub ride: Option<RideForecast>,
    /// Spectra of heave, pitch, vertical acceleration at the point asked for and a forward fin.
    #[serde(skip)]
    pub spectra: Vec<Spectrum>,
}

impl PredictedCell {
    /// RMS of a motion in the unit of its name, m or deg.
    pub fn motion(&self, name: &str) -> Option<f64> {
        let ride = self.ride.as_ref()?;
        ride.motions.iter().find(|m| m.name == name).map(|m| m.rms)
    }

    /// RMS of the vertical acceleration at a point, m/s2.
    pub fn vertical(&self, point: &str) -> Option<f64> {
        let ride = self.ride.as_ref()?;
        let p = ride.points.iter().find(|p| p.name == point)?;
        Some(p.vertical_rms_m_s2)
    }

    /// Largest RMS angle of any surface but a rudder, deg.
    pub fn fins_deg(&self) -> Option<f64> {
        let ride = self.ride.as_ref()?;
        let fins = ride.surfaces.iter().filter(|s| !s.name.contains("rudder"));
        Some(fins.map(|s| s.rms_deg).fold(0.0, f64::max))
    }
}

/// Everything predicted for a scenario.
#[derive(Clone, Debug, Serialize)]
pub struct Prediction {
    /// Name of the craft.
    pub craft: String,
    /// Name of the sea.
    pub sea: String,
    /// Point at which spectra show the vertical acceleration.
    pub point: String,
    /// Laws, the baseline first.
    pub laws: Vec<String>,
    /// Laws that have no linear form, and why.
    pub refused: Vec<String>,
    /// Every law at every speed and heading.
    pub cells: Vec<PredictedCell>,
}

/// A law made ready at one speed.
pub struct LawAtSpeed {
    /// The craft, prepared for what the law reads and moves.
    pub speed: Arc<AtSpeed>,
    /// The law.
    pub law: LawInLoop,
}

impl LawAtSpeed {
    /// The law of `plan` about trim at a speed of a stage.
    ///
    /// # Errors
    /// A law without linear form; a craft without trim.
    pub fn new(stage: &Stage, speed: &SpeedStage, plan: &LawPlan) -> Result<Self> {
        let craft = LoopCraft::new(&stage.model, kn(speed.speed_kn), &stage.scenario.course)?;
        let mut law = plan.make()?;
        law.reset(&craft.setup)?;
        let linear = law.linear()?;
        let speed = AtSpeed::new(Arc::new(craft), &linear.channels, &linear.signals)?;
        let law = speed.law(&linear)?;
        Ok(LawAtSpeed {
            speed: Arc::new(speed),
            law,
        })
    }
}

/// Predicts all cells; `point` names the place of the acceleration spectrum. Laws without a linear
/// form are named in the result and left out.
///
/// # Errors
/// A sea out of range, a craft without trim.
pub fn predict(stage: &Stage, selection: &Selection, point: &str) -> Result<Prediction> {
    let wanted =
        |list: &[f64], v: f64| list.is_empty() || list.iter().any(|x| (x - v).abs() < 1e-9);
    let mut out = Prediction {
        craft: stage.model.craft.spec.name.clone(),
        sea: stage.sea.name.clone(),
        point: point.to_owned(),
        laws: Vec::new(),
        refused: Vec::new(),
        cells: Vec::new(),
    };
    let mut plans = Vec::new();
    for plan in &stage.laws {
        let name = &plan.spec.name;
        if selection.law.as_ref().is_some_and(|l| l != name) {
            continue;
        }
        match refusal(stage, plan) {
            None => {
                out.laws.push(name.clone());
                plans.push(plan);
            }
            Some(why) => out.refused.push(why),
        }
    }
    for speed in &stage.speeds {
        if !wanted(&selection.speeds_kn, speed.speed_kn) {
            continue;
        }
        let laws = plans
            .iter()
            .map(|p| LawAtSpeed::new(stage, speed, p))
            .collect::<Result<Vec<_>>>()?;
        let headings: Vec<f64> = stage
            .scenario
            .headings_deg
            .iter()
            .copied()
            .filter(|h| wanted(&selection.headings_deg, *h))
            .collect();
        let cells: Vec<Result<Vec<PredictedCell>>> = headings
            .par_iter()
            .map(|heading_deg| {
                laws.iter()
                    .zip(&plans)
                    .map(|(l, p)| cell(stage, l, &p.spec.name, speed.speed_kn, *heading_deg, point))
                    .collect()
            })
            .collect();
        for c in cells {
            out.cells.extend(c?);
        }
    }
    Ok(out)
}

/// Why a law cannot be judged without simulation.
pub(super) fn refusal(stage: &Stage, plan: &LawPlan) -> Option<String> {
    let setup = &stage.speeds.first()?.setup;
    let mut law = plan.make().ok()?;
    // an outside program is not started for a question it cannot answer
    if law.info().kind == "external" {
        return Some(format!(
            "`{}` is a program of its own: simulate it",
            plan.spec.name
        ));
    }
    law.reset(setup).ok()?;
    law.linear().err().map(|e| e.to_string())
}

fn cell(
    stage: &Stage,
    law: &LawAtSpeed,
    name: &str,
    speed_kn: f64,
    heading_deg: f64,
    point: &str,
) -> Result<PredictedCell> {
    let mut cell = PredictedCell {
        speed_kn,
        heading_deg,
        law: name.to_owned(),
        stable: law.law.is_stable(),
        trusted: false,
        doubts: Vec::new(),
        limit_frac: 0.0,
        iterations: 0,
        ride: None,
        spectra: Vec::new(),
    };
    if !cell.stable {
        let n = law.law.unstable;
        let s = if n == 1 { "" } else { "s" };
        cell.doubts
            .push(format!("unstable: {n} growing pole{s}, so no RMS exists"));
        return Ok(cell);
    }
    let sea = law.speed.at_sea(
        &stage.sea,
        &stage.sea_folder,
        deg(heading_deg),
        &Fineness::default(),
        DragModel::Gaussian,
    )?;
    let found = sea.evaluate(&law.law, &stage.spectral_options())?;
    let found = found.with_second_order()?;
    let points = &stage.model.craft.points;
    cell.doubts = found.doubts().iter().map(ToString::to_string).collect();
    cell.trusted = cell.doubts.is_empty();
    let shares = found.surfaces.iter().map(SurfaceWork::limit_share);
    cell.limit_frac = shares.fold(0.0, f64::max);
    cell.iterations = found.iterations;
    cell.ride = Some(found.ride(points, EXPOSURE_S));
    let at = points.iter().find(|p| p.0 == point);
    cell.spectra = spectra(&found, at.map(|p| (p.0.as_str(), p.1)));
    Ok(cell)
}

fn spectra(found: &Evaluation<'_>, point: Option<(&str, nalgebra::Vector3<f64>)>) -> Vec<Spectrum> {
    let deg2 = 1f64.to_degrees().powi(2);
    let mut asked = vec![
        ("Heave at O".to_owned(), "m² s", Output::Motion(2), 1.0),
        ("Pitch".to_owned(), "deg² s", Output::Motion(4), deg2),
        ("Roll".to_owned(), "deg² s", Output::Motion(3), deg2),
    ];
    if let Some((name, r_m)) = point {
        asked.push((
            format!("Vertical acceleration, {name}"),
            "m² s⁻³",
            Output::Acceleration { r_m, axis: 2 },
            1.0,
        ));
    }
    let omega: Vec<f64> = (0..=SPECTRUM_STEPS)
        .map(|k| SPECTRUM_STEP_RAD_S * k as f64)
        .collect();
    asked
        .into_iter()
        .map(|(of, unit, output, scale)| Spectrum {
            of,
            unit,
            density: found
                .density(output, &omega, SPECTRUM_WIDTH_RAD_S)
                .iter()
                .map(|v| v * scale)
                .collect(),
            omega_e_rad_s: omega.clone(),
        })
        .collect()
}
