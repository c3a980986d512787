//! `failures`: every single fault and chosen pairs, law by law, ranked by severity.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_campaign::target;
use super::cmd_compare::on_threads;
use super::output::Head;
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, failures_tables, output};
use crate::campaign::batch::inputs;
use crate::campaign::failures::{
    Journal, Looks, Matrix, Severity, count, in_seas, journal, matrix,
};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::report::failures::figure;
use crate::spec::validate::{FailuresBundle, failures_bundle};

/// Options of `failures`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright failures scenarios/failures.json --seeds 1 --out out/failures\n\
                  With --out a stopped run loses no finished row: the same command goes on.\n\
                  Exit status 1 when a fault passes a limit before the craft has slowed down, or ends a run."
)]
pub struct Options {
    /// Failures file (`ridewright.failures/1`): its scenario, faults and limits.
    #[arg(value_name = "FAILURES.json")]
    pub failures: PathBuf,
    /// Seeds of each row at the first look, a count (no unit): the first of the scenario, and the numbers after its
    /// greatest when it has fewer; all of the scenario when absent. What the file says under `until_decided` follows.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=10_000))]
    pub seeds: Option<u16>,
    /// Only the law of this name, e.g. --only "modal PID".
    #[arg(long, value_name = "NAME")]
    pub only: Option<String>,
    /// Threads, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// What the verb tells as JSON.
#[derive(Debug, Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    head: Head,
    name: &'a str,
    matrix: &'a Matrix,
}

/// Tries every fault.
///
/// # Errors
/// What is wrong with the files; a craft without trim; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let b = failures_bundle(&options.failures)?;
    let out = output::folder(&options.output)?;
    let mut stage = Stage::new(&b.scenario, cache)?;
    stage.for_many_seas();
    if let Some(only) = &options.only {
        stage.laws.retain(|l| l.spec.name == *only);
        if stage.laws.is_empty() {
            let told = format!("no law of the scenario is named `{only}`");
            return Err(Error::with_hint(told, "leave --only away to see all"));
        }
    }
    for w in &stage.model.warnings {
        shell.warn(w, None);
    }
    let spec = &b.failures.spec;
    let own = &stage.scenario.seeds;
    let first = options.seeds.map_or(own.len(), usize::from);
    let looks = Looks::new(own, first, spec.until_decided.map(|u| u.most as usize));
    let journal = out
        .as_deref()
        .map(|dir| Journal::open(dir, &head(&b, &looks)?))
        .transpose()?;
    if let Some(n) = journal.as_ref().map(Journal::read_back).filter(|n| *n > 0) {
        shell.talk(&format!("goes on: {n} rows were there"));
    }
    let stages = in_seas(&stage, &b.seas);
    let progress = Progress::new(shell, count(&stages, spec), "rows");
    let found = on_threads(options.threads, || {
        matrix(&stages, spec, &looks, journal.as_ref(), &|| {
            progress.step();
        })
    })??;
    progress.finish();
    let told = Told {
        head: Head::new(&found.craft, &stage.model.warnings),
        name: &spec.name,
        matrix: &found,
    };
    if options.output.json {
        shell.json(&told)?;
    } else {
        shell.data(&failures_tables::all(&found, &spec.name))?;
    }
    if let Some(dir) = &out {
        output::write_json(dir, "failures", &told)?;
        if let Some(f) = figure(&found, "Invented demonstration craft and sea.") {
            f.write(dir, "failures")?;
        }
        journal.map_or(Ok(()), Journal::finish)?;
        shell.talk(&format!(
            "\nwritten into {}: failures.json and a picture, as PNG and SVG",
            dir.display()
        ));
    }
    shell.caution();
    let worst = found.rows.first().map_or(Severity::None, |r| r.severity);
    Ok(if worst >= Severity::LimitPassed {
        Status::NotMet
    } else {
        Status::Met
    })
}

fn head(bundle: &FailuresBundle, looks: &Looks) -> Result<journal::Head> {
    let inputs = inputs::inputs(
        bundle.failures.source.folder(),
        &bundle.sources(),
        &bundle.seas,
        &bundle.scenario.controllers,
    );
    Ok(journal::Head::new(inputs, target()?, looks.clone()))
}
