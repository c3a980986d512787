//! What a tuning found, as numbers and as controller files.

use serde::Serialize;
use serde_json::Value;

use super::output;
use crate::error::Result;
use crate::spec::controller::{ControllerSpec, ProvenanceSpec};
use crate::spec::validate::TuningBundle;
use crate::tuning::confirm::Confirmation;
use crate::tuning::judge::{Assessment, CraftJudge, Depth, content_hash, law_of};
use crate::tuning::layout::Layout;
use crate::tuning::objective::Watched;
use crate::tuning::tune::{StageReport, Tuned};

/// Everything a tuning found, as JSON.
#[derive(Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    pub(super) head: output::Head,
    pub(super) tuning: String,
    pub(super) objective: String,
    pub(super) inputs_hash: String,
    pub(super) evaluations: usize,
    pub(super) from_journal: usize,
    pub(super) is_whole: bool,
    pub(super) stages: Vec<StageReport>,
    pub(super) start: Law,
    pub(super) found: Law,
    pub(super) watched: Vec<Watched>,
    pub(super) limits_met: bool,
    pub(super) front: Vec<FrontPoint>,
    pub(super) confirmation: Option<Confirmation>,
    pub(super) controller: ControllerSpec,
}

/// A law in numbers.
#[derive(Serialize)]
pub(super) struct Law {
    pub(super) name: String,
    pub(super) ride: Option<f64>,
    pub(super) fin_rate_rms_deg_s: f64,
    /// Mean over cases of each term of the objective.
    pub(super) terms: Vec<TermValue>,
    /// In the order of `watched`.
    pub(super) watched: Vec<Option<f64>>,
    pub(super) growth_1_s: Option<f64>,
    pub(super) doubts: Vec<String>,
}

/// A term of the objective.
#[derive(Serialize)]
pub(super) struct TermValue {
    pub(super) name: String,
    pub(super) unit: &'static str,
    pub(super) value: Option<f64>,
    pub(super) acceptable: f64,
}

/// A point of the front.
#[derive(Serialize)]
pub(super) struct FrontPoint {
    pub(super) ride: f64,
    pub(super) fin_rate_rms_deg_s: f64,
    pub(super) file: String,
    #[serde(skip)]
    pub(super) controller: ControllerSpec,
}

/// What a report is made from.
pub(super) struct Of<'a> {
    pub(super) bundle: &'a TuningBundle,
    pub(super) layout: &'a Layout,
    pub(super) judge: &'a CraftJudge,
    pub(super) tuned: &'a Tuned,
    pub(super) command: String,
    pub(super) inputs_hash: String,
}

impl Report {
    /// Numbers of start and winner in full, and the laws dressed as files.
    pub(super) fn new(of: &Of<'_>, from_journal: usize) -> Result<Self> {
        let (tuning, tuned) = (&of.bundle.tuning.spec, of.tuned);
        let start = &of.bundle.controller.spec;
        let name = (tuning.result.clone()).unwrap_or_else(|| format!("{}, tuned", start.name));
        let limits_met = tuned.winner.score.is_met();
        let provenance = of.provenance(limits_met)?;
        Ok(Report {
            head: output::Head::new(&of.bundle.craft.spec.name, &[]),
            tuning: tuning.name.clone(),
            objective: of.judge.objective.words(),
            inputs_hash: of.inputs_hash.clone(),
            evaluations: tuned.evaluations,
            from_journal,
            is_whole: tuned.is_whole,
            stages: tuned.stages.clone(),
            start: of.law(&of.layout.document, &start.name)?,
            found: of.law(&tuned.winner.document, &name)?,
            watched: of.judge.watched.clone(),
            limits_met,
            front: of.front(&name, &provenance)?,
            confirmation: None,
            controller: dressed(
                &tuned.winner.document,
                &name,
                of.note(&start.name),
                &provenance,
            )?,
        })
    }
}

impl Of<'_> {
    fn law(&self, document: &Value, name: &str) -> Result<Law> {
        let every = &self.layout.common.speeds;
        let a = self.judge.assess(&law_of(document)?, every, Depth::Whole)?;
        Ok(in_numbers(self.judge, &a, name))
    }

    fn provenance(&self, limits_met: bool) -> Result<ProvenanceSpec> {
        let ended = match (self.tuned.is_whole, limits_met) {
            (true, true) => "to its end, all limits met",
            (false, true) => "by its time, all limits met",
            (true, false) => "to its end, not all limits met",
            (false, false) => "by its time, not all limits met",
        };
        Ok(ProvenanceSpec {
            made_by: format!("ridewright {}", env!("CARGO_PKG_VERSION")),
            command: self.command.clone(),
            tuning: self.bundle.tuning.spec.name.clone(),
            craft: self.bundle.craft.spec.name.clone(),
            craft_hash: content_hash(&self.bundle.craft.spec)?,
            inputs_hash: self.inputs_hash.clone(),
            objective: self.judge.objective.words(),
            seed: self.bundle.tuning.spec.search.seed,
            evaluations: self.tuned.evaluations,
            ended: ended.to_owned(),
        })
    }

    fn note(&self, start: &str) -> String {
        let before = &self.tuned.start.score;
        let before = if before.is_judged() {
            format!("has {:.3}", before.ride)
        } else {
            "is unstable".to_owned()
        };
        format!(
            "Found by search: {}; {:.3} where `{start}` {before}. See provenance.",
            self.judge.objective.words(),
            self.tuned.winner.score.ride
        )
    }

    fn front(&self, name: &str, provenance: &ProvenanceSpec) -> Result<Vec<FrontPoint>> {
        let mut front = Vec::new();
        for (i, p) in self.tuned.front.iter().enumerate() {
            let (ride, work) = (p.score.ride, p.score.work);
            let note = format!(
                "Point {} of a front of ride against fin work: objective {ride:.3}, fin rate {work:.2} deg/s \
                 RMS. See provenance.",
                i + 1
            );
            let name = format!("{name}, front {}", i + 1);
            front.push(FrontPoint {
                ride,
                fin_rate_rms_deg_s: work,
                file: format!("front_{:02}.json", i + 1),
                controller: dressed(&p.document, &name, note, provenance)?,
            });
        }
        Ok(front)
    }
}

fn dressed(
    document: &Value,
    name: &str,
    note: String,
    provenance: &ProvenanceSpec,
) -> Result<ControllerSpec> {
    Ok(ControllerSpec {
        name: name.to_owned(),
        note,
        provenance: Some(provenance.clone()),
        ..law_of(document)?
    })
}

pub(super) fn in_numbers(judge: &CraftJudge, a: &Assessment, name: &str) -> Law {
    let score = judge.score_of(a);
    let terms = judge
        .objective
        .terms
        .iter()
        .zip(score.readings.iter().skip(1));
    Law {
        name: name.to_owned(),
        ride: score.is_judged().then_some(score.ride),
        fin_rate_rms_deg_s: score.work,
        terms: terms
            .map(|(t, value)| TermValue {
                name: t.name.clone(),
                unit: t.unit,
                value: *value,
                acceptable: t.acceptable,
            })
            .collect(),
        watched: a.watched.clone(),
        growth_1_s: a.growth_1_s,
        doubts: a.doubts.clone(),
    }
}
