//! `tune` for several loadings: a search for each, joined to one law.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::Status;
use super::args::OutputArgs;
use super::cmd_tune::{self, Options, Part};
use super::output::{self, Head, write_json};
use super::shell::Shell;
use super::tune_report::Report;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Problem, Result};
use crate::spec::controller::{ControllerSpec, ProvenanceSpec};
use crate::spec::craft::CraftSpec;
use crate::spec::load::Loaded;
use crate::spec::locate;
use crate::spec::validate::TuningBundle;
use crate::tuning::judge::content_hash;
use crate::tuning::loadings::{self, displacement_t, join};

/// What was found for all loadings, as JSON.
#[derive(Serialize)]
struct Joint {
    #[serde(flatten)]
    head: Head,
    tuning: String,
    /// The craft of the tuning first.
    loadings: Vec<Searched>,
    controller: ControllerSpec,
}

/// What was found for one loading.
#[derive(Serialize)]
struct Searched {
    displacement_t: f64,
    #[serde(flatten)]
    report: Report,
}

/// Searches, confirms and joins.
///
/// # Errors
/// As [`cmd_tune::run`]; loadings of one weight.
pub(super) fn run(
    options: &Options,
    bundle: &TuningBundle,
    out: Option<&Path>,
    cache: Option<&Path>,
    shell: &mut Shell,
) -> Result<Status> {
    let each = bundle.each_loading();
    let models = each
        .iter()
        .map(|b| cmd_tune::model(b, cache, shell))
        .collect::<Result<Vec<_>>>()?;
    must_differ(bundle, &models)?;
    // folders before the first long wait
    let folders = (1..=each.len())
        .map(|k| out.map(|dir| folder(options, dir, k)).transpose())
        .collect::<Result<Vec<_>>>()?;
    let mut found = Vec::new();
    for ((part, model), out) in each.iter().zip(&models).zip(&folders) {
        let displacement_t = displacement_t(model.craft.mass.mass_kg);
        let name = &part.craft.spec.name;
        shell.talk(&format!(
            "loading {} of {}: {name}, {displacement_t:.1} t",
            found.len() + 1,
            each.len()
        ));
        let part = Part {
            bundle: part,
            model,
            within_s: options.within_s.map(|s| s / each.len() as f64),
            out: out.as_deref(),
        };
        found.push(Searched {
            displacement_t,
            report: cmd_tune::whole(options, &part, shell)?,
        });
    }
    let joint = joint(bundle, &models, found)?;
    tell(options, &joint, out, shell)
}

/// Two loadings of one weight have no gains between them: told before the search.
fn must_differ(bundle: &TuningBundle, models: &[CraftModel]) -> Result<()> {
    let told: Vec<f64> = models
        .iter()
        .map(|m| displacement_t(m.craft.mass.mass_kg))
        .collect();
    let mut bad = Vec::new();
    for (i, t) in told.iter().enumerate().skip(1) {
        if let Some(same) = told[..i].iter().position(|u| u.total_cmp(t).is_eq()) {
            let other = match same {
                0 => "`craft`".to_owned(),
                k => format!("loadings[{}]", k - 1),
            };
            let words = format!("weighs {t} t, as {other} does: gains go with weight alone");
            let p = Problem::at(format!("loadings[{}]", i - 1), words);
            bad.push(p.hint("leave one of them out, or tune each without `loadings`"));
        }
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(Error::from(locate(bad, &bundle.tuning.source)))
    }
}

/// `loading_1` for the craft of the tuning, and so on.
fn folder(options: &Options, dir: &Path, k: usize) -> Result<PathBuf> {
    let dir = dir.join(format!("loading_{k}"));
    output::folder(&OutputArgs {
        out: Some(dir.clone()),
        ..options.output.clone()
    })?;
    Ok(dir)
}

fn joint(bundle: &TuningBundle, models: &[CraftModel], found: Vec<Searched>) -> Result<Joint> {
    let parts: Vec<loadings::Part<'_>> = models
        .iter()
        .zip(&found)
        .map(|(m, f)| loadings::Part {
            displacement_kg: m.craft.mass.mass_kg,
            law: &f.report.controller,
        })
        .collect();
    let mut controller = join(&parts)?;
    controller.note = note(&found);
    controller.provenance = provenance(bundle, &found)?;
    Ok(Joint {
        head: Head::new(&bundle.craft.spec.name, &[]),
        tuning: bundle.tuning.spec.name.clone(),
        loadings: found,
        controller,
    })
}

fn note(found: &[Searched]) -> String {
    let mut text = "Found by a search in each loading, objective after it: ".to_owned();
    for (k, f) in found.iter().enumerate() {
        let comma = if k == 0 { "" } else { ", " };
        let ride = f
            .report
            .found
            .ride
            .map_or("unstable".to_owned(), |r| format!("{r:.3}"));
        let _ = write!(text, "{comma}{ride} at {:.1} t", f.displacement_t);
    }
    text + ". See provenance."
}

/// That of the first search with what all of them have to say.
fn provenance(bundle: &TuningBundle, found: &[Searched]) -> Result<Option<ProvenanceSpec>> {
    let of = |f: &Searched| f.report.controller.provenance.clone();
    let each: Vec<ProvenanceSpec> = found.iter().filter_map(of).collect();
    let Some(first) = each.first() else {
        return Ok(None);
    };
    let list = |word: &dyn Fn(&ProvenanceSpec) -> String| {
        let words: Vec<String> = each.iter().map(word).collect();
        words.join("; ")
    };
    let crafts = std::iter::once(&bundle.craft).chain(&bundle.loadings);
    let crafts: Vec<&CraftSpec> = crafts.map(|c: &Loaded<CraftSpec>| &c.spec).collect();
    let hashes: Vec<&String> = each.iter().map(|p| &p.inputs_hash).collect();
    Ok(Some(ProvenanceSpec {
        craft: list(&|p| p.craft.clone()),
        craft_hash: content_hash(&crafts)?,
        inputs_hash: content_hash(&hashes)?,
        evaluations: each.iter().map(|p| p.evaluations).sum(),
        ended: list(&|p| format!("{}: {}", p.craft, p.ended)),
        ..first.clone()
    }))
}

fn tell(options: &Options, joint: &Joint, out: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    if options.output.json {
        shell.json(joint)?;
    } else {
        let told: Vec<String> = (joint.loadings.iter())
            .map(|f| format!("{} at {:.1} t", f.report.head.craft, f.displacement_t))
            .collect();
        shell.data(&format!(
            "\n{}: gains for {}",
            joint.controller.name,
            told.join(", ")
        ))?;
    }
    if let Some(dir) = out {
        cmd_tune::write_law(&dir.join("found.json"), &joint.controller)?;
        write_json(dir, "tuning", joint)?;
        shell.talk(&format!(
            "wrote into {}: found.json, tuning.json and a folder for each loading",
            dir.display()
        ));
    }
    cmd_tune::end(options, &joint.controller, shell)?;
    let all_met = joint
        .loadings
        .iter()
        .all(|f| matches!(cmd_tune::status(&f.report), Status::Met));
    Ok(if all_met { Status::Met } else { Status::NotMet })
}
