//! The judge of control laws: craft and law in one circle, without simulation.
//!
//! ```text
//! controller file -> law at each speed -> its linear form -> stable? -> margins, rides -> score
//! ```
//! A law that is unstable at any speed asked for is hopeless by its growth rates. Seas, transfers and
//! the craft's side of the loop are computed once; a law costs milliseconds.
//!
//! # Checked by
//! `the_search_grid_is_fine_enough`, `a_judged_law_is_the_written_law` (tests/tuning_craft.rs).

use std::path::{Path, PathBuf};
use std::sync::Arc;

use nalgebra::Vector3;
use serde_json::Value;

use super::objective::{Objective, WATCHES, Watch, Watched, excess, watched};
use super::rig::Rig;
use super::score::{HOPELESS, Score};
use crate::closed_loop::{DragModel, Evaluation, Fineness, LawInLoop, LoopCraft, Options, Output};
use crate::control;
use crate::control::linear::LinearLaw;
use crate::control::lqr::LqrMatrices;
use crate::design;
use crate::design::lqr::LqrPlants;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::metrics::pool::Quantity;
use crate::metrics::sickness::{LOWEST_HZ, msi_1976_percent};
use crate::metrics::weighting::Weighting;
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::tuning::TuningSpec;
use crate::spec::validate::TuningBundle;
use crate::units::{deg, kn, to_deg};

/// Exposure to motion, s: two hours, the usual one.
const EXPOSURE_S: f64 = 7200.0;
/// Frequencies of a direction and directions of a spread sea: a search ranks laws, it does not print.
const FINENESS: Fineness = Fineness {
    frequencies: 70,
    directions: 7,
    narrow_step: 1.0,
};

/// Limits, drag and noise count; the iteration may end a little earlier than for print.
const OPTIONS: Options = Options {
    limits: true,
    drag: true,
    noise: true,
    tolerance: 3e-3,
    iterations: 40,
};

/// How much is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// What objective and limits ask for.
    Asked,
    /// All margins and poles, for tables and sweeps.
    Whole,
}

/// Judges controller files of one kind of law.
pub struct CraftJudge {
    /// What is made small.
    pub objective: Objective,
    /// What is watched.
    pub watched: Vec<Watched>,
    rigs: Vec<Rig>,
    plants: Option<LqrPlants>,
    model: Arc<CraftModel>,
    folder: PathBuf,
}

/// What one law does, in full.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Assessment {
    /// Largest growth rate of all speeds, 1/s.
    pub growth_1_s: Option<f64>,
    /// Values of the objective's terms, case by case; empty where the loop is unstable.
    pub terms: Vec<Vec<f64>>,
    /// Weights and objectives of the cases judged.
    pub cases: Vec<(f64, f64)>,
    /// Watched numbers, the worst of speeds and cases.
    pub watched: Vec<Option<f64>>,
    /// Fin rate over fins and cases, RMS, deg/s.
    pub fin_rate_deg_s: f64,
    /// Doubts of the method, one line each.
    pub doubts: Vec<String>,
    /// Sum of growth rates of unstable speeds, 1/s.
    pub unstable_1_s: f64,
}

impl CraftJudge {
    /// Prepares craft, seas and law of a tuning. `speeds_kn` are all its speeds, `document` its
    /// controller.
    ///
    /// # Errors
    /// A speed without trim, a law that does not fit the craft or has no linear form, a sea out of range.
    pub fn new(
        bundle: &TuningBundle,
        model: Arc<CraftModel>,
        speeds_kn: &[f64],
        document: &Value,
    ) -> Result<Self> {
        let tuning = &bundle.tuning.spec;
        let spec = law_of(document)?;
        let folder = bundle.controller.source.folder().to_owned();
        let moves_model = |f: &crate::spec::tuning::FreeSpec| f.key.starts_with("law.lqr.sea");
        let plants = if tuning.free.iter().any(moves_model) {
            None
        } else {
            design::prepare(&spec, &model)?
        };
        let mut judge = CraftJudge {
            objective: Objective::new(tuning, speeds_kn),
            watched: watched(&tuning.limits),
            rigs: Vec::new(),
            plants,
            model,
            folder,
        };
        let matrices = judge.matrices(&spec)?;
        for (k, &speed_kn) in speeds_kn.iter().enumerate() {
            let craft = Arc::new(LoopCraft::new(&judge.model, kn(speed_kn), &tuning.course)?);
            let law = judge.law_at(&spec, matrices.clone(), &craft)?;
            let mut rig = Rig::new(craft, &law.channels, &law.signals)?;
            judge.add_seas(&mut rig, k, bundle)?;
            judge.rigs.push(rig);
        }
        Ok(judge)
    }

    fn add_seas(&self, rig: &mut Rig, speed: usize, bundle: &TuningBundle) -> Result<()> {
        for (i, case) in self.objective.cases.iter().enumerate() {
            if case.speed != speed {
                continue;
            }
            let sea = &bundle.seas[case.case];
            let folder = sea.source.folder();
            let mu = deg(case.heading_deg);
            let at = rig
                .at
                .at_sea(&sea.spec, folder, mu, &FINENESS, DragModel::Gaussian);
            rig.seas
                .push((i, at.map_err(|e| e.in_file(&sea.source.path))?));
        }
        Ok(())
    }

    /// Solved gains of a law that needs them.
    fn matrices(&self, spec: &ControllerSpec) -> Result<Option<LqrMatrices>> {
        let LawSpec::Lqr(numbers) = &spec.law else {
            return Ok(None);
        };
        match &self.plants {
            Some(plants) => Ok(Some(plants.solve(numbers)?.0)),
            None => match design::prepare(spec, &self.model)? {
                Some(plants) => Ok(Some(plants.solve(numbers)?.0)),
                None => Ok(None),
            },
        }
    }

    fn law_at(
        &self,
        spec: &ControllerSpec,
        matrices: Option<LqrMatrices>,
        craft: &LoopCraft,
    ) -> Result<LinearLaw> {
        let mut law = control::from_spec(spec, &self.folder, matrices)?;
        law.reset(&craft.setup)?;
        law.linear()
    }

    /// The craft at one of the speeds.
    pub fn craft(&self, speed: usize) -> &Arc<LoopCraft> {
        &self.rigs[speed].craft
    }

    /// The law's linear form at every speed.
    ///
    /// # Errors
    /// A law that cannot be made.
    pub fn linear(&self, spec: &ControllerSpec) -> Result<Vec<LinearLaw>> {
        let matrices = self.matrices(spec)?;
        let each = self.rigs.iter();
        each.map(|r| self.law_at(spec, matrices.clone(), &r.craft))
            .collect()
    }

    /// Judges the controller in `document` at some of the speeds.
    pub fn score(&self, document: &Value, speeds: &[usize], depth: Depth) -> Score {
        let assessed = law_of(document).and_then(|spec| self.assess(&spec, speeds, depth));
        match assessed {
            Ok(a) => self.score_of(&a),
            // a Riccati equation without an answer, a law that refuses its numbers
            Err(_) => Score::hopeless(1e5, vec![None; self.readings()]),
        }
    }

    /// Readings of a score: growth rate, terms, watched numbers.
    pub fn readings(&self) -> usize {
        1 + self.objective.terms.len() + WATCHES.len()
    }

    /// The score of an assessment.
    pub fn score_of(&self, a: &Assessment) -> Score {
        let mut readings = vec![a.growth_1_s];
        let weights: f64 = a.cases.iter().map(|c| c.0).sum();
        for t in 0..self.objective.terms.len() {
            let sum = a
                .cases
                .iter()
                .zip(&a.terms)
                .map(|(c, v)| c.0 * v[t])
                .sum::<f64>();
            readings.push((weights > 0.0 && a.unstable_1_s <= 0.0).then(|| sum / weights));
        }
        readings.extend(&a.watched);
        if a.unstable_1_s > 0.0 {
            return Score::hopeless(HOPELESS * a.unstable_1_s, readings);
        }
        let ride = self.objective.of_all(&a.cases);
        let excess = excess(&self.watched, &a.watched);
        Score::new(ride, a.fin_rate_deg_s, excess, readings)
    }

    /// Everything about a law at some of the speeds.
    ///
    /// # Errors
    /// A law that cannot be made.
    pub fn assess(
        &self,
        spec: &ControllerSpec,
        speeds: &[usize],
        depth: Depth,
    ) -> Result<Assessment> {
        let matrices = self.matrices(spec)?;
        let mut a = Assessment {
            watched: vec![None; WATCHES.len()],
            ..Assessment::default()
        };
        let mut work = (0.0, 0.0);
        for &k in speeds {
            let rig = &self.rigs[k];
            let law = self.law_at(spec, matrices.clone(), &rig.craft)?;
            let ready = rig.at.law(&law)?;
            let watches_damping = self.watched[Watch::Damping as usize].limit.is_some();
            if depth == Depth::Whole || watches_damping || !ready.is_stable() {
                self.poles(rig, &law, &mut a)?;
            }
            if !ready.is_stable() {
                a.unstable_1_s += a.growth_1_s.unwrap_or(1.0).max(1e-3);
                continue;
            }
            let margins = WATCHES.iter().zip(&self.watched);
            let wants = margins
                .clone()
                .any(|(w, n)| w.is_margin() && n.limit.is_some());
            if depth == Depth::Whole || wants {
                let mut found = vec![None; WATCHES.len()];
                rig.margins(&ready, &mut found);
                self.worst(&mut a.watched, &found);
            }
            if a.unstable_1_s <= 0.0 {
                self.rides(rig, &ready, depth, &mut a, &mut work)?;
            }
        }
        a.fin_rate_deg_s = if work.0 > 0.0 {
            (work.1 / work.0).sqrt()
        } else {
            0.0
        };
        Ok(a)
    }

    fn poles(&self, rig: &Rig, law: &LinearLaw, a: &mut Assessment) -> Result<()> {
        let (growth, damping) = rig.growth_and_damping(law)?;
        a.growth_1_s = Some(a.growth_1_s.map_or(growth, |g| g.max(growth)));
        let mut found = vec![None; WATCHES.len()];
        found[Watch::Damping as usize] = damping;
        self.worst(&mut a.watched, &found);
        Ok(())
    }

    /// Keeps the worse of what was known and what was found.
    fn worst(&self, known: &mut [Option<f64>], found: &[Option<f64>]) {
        for ((k, f), w) in known.iter_mut().zip(found).zip(&self.watched) {
            let Some(f) = *f else { continue };
            *k = Some(match *k {
                None => f,
                Some(k) if w.is_least => k.min(f),
                Some(k) => k.max(f),
            });
        }
    }

    fn rides(
        &self,
        rig: &Rig,
        law: &LawInLoop,
        depth: Depth,
        a: &mut Assessment,
        work: &mut (f64, f64),
    ) -> Result<()> {
        let asks_contacts = self.watched[Watch::Contacts as usize].limit.is_some();
        for (i, sea) in &rig.seas {
            let e = sea.evaluate(law, &OPTIONS)?;
            let case = &self.objective.cases[*i];
            let values: Vec<f64> = self
                .objective
                .terms
                .iter()
                .map(|t| value(&e, &rig.craft, t.quantity, &t.of))
                .collect::<Result<_>>()?;
            a.cases.push((case.weight, self.objective.of_case(&values)));
            a.terms.push(values);
            let mut found = vec![None; WATCHES.len()];
            let most = |f: &dyn Fn(&crate::closed_loop::evaluate::SurfaceWork) -> f64| {
                Some(e.surfaces.iter().map(f).fold(0.0, f64::max))
            };
            found[Watch::FinRms as usize] = most(&|w| to_deg(w.angle_rms_rad));
            found[Watch::FinRate as usize] = most(&|w| to_deg(w.rate_rms_rad_s));
            found[Watch::AtLimits as usize] = most(&|w| w.limit_share());
            if asks_contacts || depth == Depth::Whole {
                let points = e.contacts_per_h();
                found[Watch::Contacts as usize] =
                    Some(points.iter().map(|p| p.1).fold(0.0, f64::max));
            }
            self.worst(&mut a.watched, &found);
            let n = e.surfaces.len().max(1) as f64;
            let square: f64 = e
                .surfaces
                .iter()
                .map(|w| to_deg(w.rate_rms_rad_s).powi(2))
                .sum();
            work.0 += case.weight;
            work.1 += case.weight * square / n;
            if depth == Depth::Whole {
                for doubt in e.doubts() {
                    a.doubts.push(format!(
                        "{} kn, {} deg: {doubt}",
                        crate::spec::number(case.speed_kn),
                        crate::spec::number(case.heading_deg)
                    ));
                }
            }
        }
        Ok(())
    }
}

/// The controller in a document.
///
/// # Errors
/// When it is none.
pub fn law_of(document: &Value) -> Result<ControllerSpec> {
    serde_json::from_value(document.clone())
        .map_err(|e| Error::new(format!("the controller cannot be read back: {e}")))
}

/// One ride number of an evaluation, in the unit of its term.
fn value(e: &Evaluation<'_>, craft: &LoopCraft, quantity: Quantity, of: &str) -> Result<f64> {
    let motion = |i: usize| e.rms(Output::Motion(i));
    if quantity == Quantity::MotionRms {
        return Ok(match of {
            "heave" => motion(2),
            "roll" => to_deg(motion(3)),
            _ => to_deg(motion(4)),
        });
    }
    let point = craft.points.iter().find(|p| p.name == of);
    let r_m: Vector3<f64> = point
        .map(|p| p.r_m)
        .ok_or_else(|| Error::new(format!("the craft has no point `{of}`")))?;
    let vertical = Output::Acceleration { r_m, axis: 2 };
    let hz = |omega: f64| omega / std::f64::consts::TAU;
    Ok(match quantity {
        Quantity::LateralRms => e.rms(Output::Felt { r_m, axis: 1 }),
        Quantity::WeightedVertical => {
            let wk = |omega: f64| Weighting::Wk.factor(hz(omega)).powi(2);
            e.weighted(vertical, wk).sqrt()
        }
        Quantity::Msi1976 => {
            let above = |omega: f64| hz(omega) >= LOWEST_HZ;
            let acceleration = e.weighted(vertical, |w| f64::from(u8::from(above(w))));
            let velocity = e.weighted(vertical, |w| if above(w) { 1.0 / (w * w) } else { 0.0 });
            let f_hz = hz((acceleration / velocity.max(1e-300)).sqrt());
            msi_1976_percent(e.rms(vertical), f_hz, EXPOSURE_S)
        }
        _ => e.rms(vertical),
    })
}

/// Hash of everything that scores depend on: the files' contents and the program's version.
///
/// # Errors
/// When a file cannot be written as JSON.
pub fn inputs_hash(bundle: &TuningBundle, extra: &[&[u8]]) -> Result<String> {
    let mut hash = crate::math::hash::Hash::default();
    hash.bytes(env!("CARGO_PKG_VERSION").as_bytes());
    let tuning = TuningSpec {
        confirm: None,
        ..bundle.tuning.spec.clone()
    };
    put(&mut hash, &tuning)?;
    put(&mut hash, &bundle.craft.spec)?;
    let law = ControllerSpec {
        provenance: None,
        ..bundle.controller.spec.clone()
    };
    put(&mut hash, &law)?;
    for sea in &bundle.seas {
        put(&mut hash, &sea.spec)?;
    }
    for bytes in extra {
        hash.bytes(bytes);
    }
    Ok(format!("{:032x}", hash.finish()))
}

/// Hash of what one file says.
///
/// # Errors
/// When it cannot be written as JSON.
pub fn content_hash(spec: &impl serde::Serialize) -> Result<String> {
    let mut hash = crate::math::hash::Hash::default();
    put(&mut hash, spec)?;
    Ok(format!("{:032x}", hash.finish()))
}

fn put(hash: &mut crate::math::hash::Hash, spec: &impl serde::Serialize) -> Result<()> {
    let bytes = serde_json::to_vec(spec)
        .map_err(|e| Error::new(format!("an input cannot be written as JSON: {e}")))?;
    hash.bytes(&(bytes.len() as u64).to_le_bytes());
    hash.bytes(&bytes);
    Ok(())
}

/// Files of measured spectra that the seas name; their bytes belong to the inputs.
pub fn measured_spectra(bundle: &TuningBundle) -> Vec<PathBuf> {
    let mut out = Vec::new();
    for sea in &bundle.seas {
        let Ok(value) = serde_json::to_value(&sea.spec) else {
            continue;
        };
        files_in(&value, sea.source.folder(), &mut out);
    }
    out
}

fn files_in(node: &Value, folder: &Path, out: &mut Vec<PathBuf>) {
    match node {
        Value::String(text) => {
            let path = folder.join(text);
            if path
                .extension()
                .is_some_and(|e| e.eq_ignore_ascii_case("csv"))
            {
                out.push(path);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| files_in(v, folder, out)),
        Value::Object(map) => map.values().for_each(|v| files_in(v, folder, out)),
        _ => {}
    }
}
