//! `tune`: gains by search, with a front, confirmed by simulation.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use serde_json::Value;

use super::args::OutputArgs;
use super::cmd_campaign::own_hash;
use super::cmd_compare::on_threads;
use super::output::{self, replace, write_json};
use super::progress::Progress;
use super::shell::Shell;
use super::tune_report::{Of, Report};
use super::{Status, tune_loadings, tune_tables as tables};
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::report::chart::Heading;
use crate::report::front::{FrontPicture, front_picture};
use crate::spec::controller::ControllerSpec;
use crate::spec::locate;
use crate::spec::validate::{TuningBundle, tuning_bundle};
use crate::tuning::confirm::{Confirmation, Trial, Verdict};
use crate::tuning::judge::{CraftJudge, Depth, inputs_hash, measured_spectra};
use crate::tuning::layout::Layout;
use crate::tuning::store::Journal;
use crate::tuning::tune::{Clock, Job, Tuned, count, tune};

/// Options of `tune`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright tune scenarios/tune_pid.json --out out/tune --within-s 60\n\
                  Laws are judged by the spectral method to first order of the waves; the one found is simulated.\n\
                  Stopped at any moment, the same command goes on from the journal in the folder of --out.\n\
                  With `loadings` in the file each loading is searched and confirmed by itself, in loading_1, loading_2 ...\n\
                  of the folder of --out and in equal shares of --within-s; the law found has gains for all of them.\n\
                  Exit status 1: a limit is not met, or simulation does not confirm the improvement."
)]
pub struct Options {
    /// Tuning file (`ridewright.tuning/1`).
    #[arg(value_name = "TUNING.json")]
    pub tuning: PathBuf,
    /// Time for the search in seconds; what is best by then is taken, e.g. --within-s 60. Without it the
    /// search ends by the evaluations of the file.
    #[arg(long, value_name = "S", value_parser = super::args::seconds)]
    pub within_s: Option<f64>,
    /// Threads to judge laws on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Leave out the simulation of what was found.
    #[arg(long)]
    pub no_confirm: bool,
    /// File to write the law found into, beside the folder of --out, e.g. --write controllers/pid.json.
    #[arg(long, value_name = "CONTROLLER.json")]
    pub write: Option<PathBuf>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// One craft to tune for.
pub(super) struct Part<'a> {
    /// Its tuning and files, without other loadings.
    pub(super) bundle: &'a TuningBundle,
    pub(super) model: &'a CraftModel,
    /// Time for its search, s.
    pub(super) within_s: Option<f64>,
    /// Its folder.
    pub(super) out: Option<&'a Path>,
}

/// Tunes and tells what came out.
///
/// # Errors
/// What is wrong with the tuning or its files; a folder that cannot be written; a journal of other inputs.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = tuning_bundle(&options.tuning)?;
    let out = output::folder(&options.output)?;
    if !bundle.loadings.is_empty() {
        return tune_loadings::run(options, &bundle, out.as_deref(), cache, shell);
    }
    let model = model(&bundle, cache, shell)?;
    let part = Part {
        bundle: &bundle,
        model: &model,
        within_s: options.within_s,
        out: out.as_deref(),
    };
    let report = whole(options, &part, shell)?;
    if options.output.json {
        shell.json(&report)?;
    }
    end(options, &report.controller, shell)?;
    Ok(status(&report))
}

/// Searches and confirms for one craft, prints the tables and writes into the folder.
///
/// # Errors
/// As [`run`].
pub(super) fn whole(options: &Options, part: &Part<'_>, shell: &mut Shell) -> Result<Report> {
    let layout = Layout::new(&part.bundle.tuning.spec, &part.bundle.controller.spec)?;
    let mut found = on_threads(options.threads, || search(options, part, &layout, shell))??;
    found.report.confirmation = confirm(options, part, &found, shell)?;
    if !options.output.json {
        tables::print(&found.report, &layout, shell)?;
    }
    if let Some(dir) = part.out {
        write(dir, &found, part.bundle, shell)?;
    }
    Ok(found.report)
}

/// Writes the law where it was asked for, and the caution.
///
/// # Errors
/// A file that cannot be written.
pub(super) fn end(options: &Options, law: &ControllerSpec, shell: &mut Shell) -> Result<()> {
    if let Some(file) = &options.write {
        write_law(file, law)?;
        shell.talk(&format!("wrote {}", file.display()));
    }
    shell.caution();
    Ok(())
}

/// Limits and confirmation.
pub(super) fn status(report: &Report) -> Status {
    let is_confirmed =
        (report.confirmation.as_ref()).is_none_or(|c| c.verdict == Verdict::Confirmed);
    if report.limits_met && is_confirmed {
        Status::Met
    } else {
        Status::NotMet
    }
}

/// Simulation of the law found, when it is asked for.
fn confirm(
    options: &Options,
    part: &Part<'_>,
    found: &Searched,
    shell: &mut Shell,
) -> Result<Option<Confirmation>> {
    let bundle = part.bundle;
    let Some(spec) = bundle
        .tuning
        .spec
        .confirm
        .as_ref()
        .filter(|_| !options.no_confirm)
    else {
        return Ok(None);
    };
    let (start, law) = (&bundle.controller.spec, &found.report.controller);
    let trial = Trial::new(bundle, spec, part.model, start, law)?;
    let judge = &found.judge;
    let bounds = if spec.least_reachable {
        judge.objective.cases.len()
    } else {
        0
    };
    let progress = Progress::new(shell, trial.count() + bounds, "runs and bounds");
    let done = || progress.step();
    let made = on_threads(options.threads, || {
        let mut made = trial.run(&judge.objective, &judge.watched, &done)?;
        if spec.least_reachable {
            made.with_least(&judge.least(law, bundle, &done)?);
        }
        Ok::<_, Error>(made)
    })??;
    progress.finish();
    Ok(Some(made))
}

/// The craft's model, its warnings told.
pub(super) fn model(
    bundle: &TuningBundle,
    cache: Option<&Path>,
    shell: &mut Shell,
) -> Result<CraftModel> {
    let physics = &bundle.tuning.spec.physics;
    let model = CraftModel::build(&bundle.craft.spec, physics, cache)
        .map_err(|e| Error::from(locate(e.problems, &bundle.craft.source)))?;
    for warning in &model.warnings {
        shell.warn(warning, None);
    }
    Ok(model)
}

/// A report with what it was made from.
struct Searched {
    report: Report,
    judge: CraftJudge,
    tuned: Tuned,
}

fn search(
    options: &Options,
    part: &Part<'_>,
    layout: &Layout,
    shell: &mut Shell,
) -> Result<Searched> {
    let bundle = part.bundle;
    let tuning = &bundle.tuning.spec;
    let began = Instant::now();
    let shared = Arc::new(part.model.clone());
    let judge = CraftJudge::new(bundle, shared, &layout.speeds_kn, &layout.document)?;
    let spectra = read_all(&measured_spectra(bundle))?;
    let bytes: Vec<&[u8]> = spectra.iter().map(Vec::as_slice).collect();
    let inputs = inputs_hash(bundle, &bytes)?;
    let mut journal = match part.out {
        // scores of another build may differ
        Some(dir) => Journal::open(
            &dir.join("journal.jsonl"),
            &format!("{inputs}, program {}", own_hash()?),
        )?,
        None => Journal::in_memory(),
    };
    let from_journal = journal.read_back();
    if from_journal > 0 {
        shell.talk(&format!(
            "{from_journal} laws were judged before and are not judged again"
        ));
    }
    let job = Job {
        layout,
        search: tuning.search,
        front: tuning.front,
    };
    let progress = Progress::new(shell, count(&job), "laws");
    let gone = || match part.within_s {
        Some(most) => began.elapsed().as_secs_f64() / most,
        None => 0.0,
    };
    let clock = Clock {
        gone: &gone,
        step: &|n| progress.steps(n),
    };
    let score = |document: &Value, speeds: &[usize]| judge.score(document, speeds, Depth::Asked);
    let tuned = tune(&job, &score, &mut journal, clock)?;
    progress.finish();
    shell.talk(&format!(
        "{:.1} s for {} laws",
        began.elapsed().as_secs_f64(),
        tuned.evaluations
    ));
    let of = Of {
        bundle,
        layout,
        judge: &judge,
        tuned: &tuned,
        command: command(options),
        inputs_hash: inputs,
    };
    let report = Report::new(&of, from_journal)?;
    Ok(Searched {
        report,
        judge,
        tuned,
    })
}

fn read_all(paths: &[PathBuf]) -> Result<Vec<Vec<u8>>> {
    let read = |p: &PathBuf| {
        std::fs::read(p).map_err(|e| Error::io("read this measured spectrum", p.clone(), &e))
    };
    paths.iter().map(read).collect()
}

/// The command that makes the file again; options that do not change it are left out.
fn command(options: &Options) -> String {
    let within = (options.within_s).map_or_else(String::new, |s| format!(" --within-s {s}"));
    let write = options.write.as_ref();
    let write = write.map_or_else(String::new, |f| format!(" --write {}", f.display()));
    format!(
        "ridewright tune {}{within}{write}",
        options.tuning.display()
    )
}

/// The law, the front's laws, the result and its pictures.
fn write(dir: &Path, found: &Searched, bundle: &TuningBundle, shell: &mut Shell) -> Result<()> {
    let report = &found.report;
    write_law(&dir.join("found.json"), &report.controller)?;
    for p in &report.front {
        write_law(&dir.join(&p.file), &p.controller)?;
    }
    write_json(dir, "tuning", report)?;
    front_picture(&picture(found, bundle)).write(dir, "front")?;
    shell.talk(&format!(
        "wrote into {}: found.json, {} laws of the front, tuning.json, front as PNG and SVG",
        dir.display(),
        report.front.len()
    ));
    Ok(())
}

pub(super) fn write_law(file: &Path, law: &ControllerSpec) -> Result<()> {
    let text = serde_json::to_string_pretty(law)
        .map_err(|e| Error::new(format!("cannot write the controller as JSON: {e}")))?;
    replace(file, &(text + "\n"))
}

fn picture(found: &Searched, bundle: &TuningBundle) -> FrontPicture {
    let tuned = &found.tuned;
    let place = |s: &crate::tuning::Score| s.is_judged().then_some([s.work, s.ride]);
    let of = |met: bool| {
        let some = tuned.cloud.iter().filter(|p| p.2 == met);
        some.map(|p| [p.0, p.1]).collect()
    };
    let courses = tuned.stages.iter().filter(|s| !s.course.is_empty());
    FrontPicture {
        heading: Heading::new(
            &found.report.tuning,
            format!("{}: {}", bundle.craft.spec.name, found.report.objective),
            &bundle.tuning.spec.note,
        ),
        work: (
            "fin rate, RMS over fins and cases".to_owned(),
            "deg/s".to_owned(),
        ),
        met: of(true),
        missed: of(false),
        front: tuned.front.iter().filter_map(|p| place(&p.score)).collect(),
        start: place(&tuned.start.score),
        winner: place(&tuned.winner.score),
        bound: Vec::new(),
        courses: courses
            .map(|s| (s.name.clone(), s.course.clone()))
            .collect(),
    }
}
