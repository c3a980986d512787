//! `rare`: probabilities of events that ordinary campaigns are too short to count.

use std::path::{Path, PathBuf};

use super::args::OutputArgs;
use super::cmd_campaign::target;
use super::cmd_compare::on_threads;
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, output, rare_tables};
use crate::campaign::batch::export::{self, CsvTable};
use crate::campaign::batch::inputs;
use crate::campaign::rare::journal::{FILE, Head, Journal};
use crate::campaign::rare::study::{Found, Study};
use crate::campaign::rare::told::{Told, tell};
use crate::error::{Error, Result};
use crate::report::rare::figure;
use crate::spec::validate::{RareBundle, rare_bundle};

/// Options of `rare`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright rare scenarios/rare.json --out out/rare\n\
                  The same command goes on where it was stopped or killed; rare.jsonl in the folder holds one \
                  line a run."
)]
pub struct Options {
    /// Rare-event file (`ridewright.rare/1`).
    #[arg(value_name = "RARE.json")]
    pub rare: PathBuf,
    /// Threads to run on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Searches, or goes on, and tells what was found.
///
/// # Errors
/// What is wrong with the file or those it names; a journal that cannot be written or is another's.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = rare_bundle(&options.rare)?;
    let Some(dir) = output::folder(&options.output)? else {
        return Err(Error::with_hint(
            "a search needs a folder for its runs",
            "say --out DIR; the same command goes on where it was stopped",
        ));
    };
    let study = Study::new(&bundle, cache)?;
    for w in &study.stage.model.warnings {
        shell.warn(w, None);
    }
    let journal = Journal::open(&dir, &head(&bundle)?)?;
    let most = study.most_runs();
    if journal.read_back() > 0 {
        shell.talk(&format!(
            "{} runs are in {} already: going on",
            journal.read_back(),
            journal.path().display()
        ));
    }
    shell.talk(&format!(
        "at most {most} runs of {} s, fewer where the event is less rare than the levels reach",
        crate::spec::number(study.run_s())
    ));
    let progress = Progress::rated(shell, "runs");
    progress.more(most, 0);
    let found = on_threads(options.threads, || {
        study.work(&journal, &|| progress.step())
    })?;
    progress.finish();
    let found = found?;
    let told = tell(&study, &found);
    if options.output.json {
        shell.json(&told)?;
    } else {
        shell.data(&rare_tables::all(&told))?;
    }
    write(&dir, &study, &found, &told)?;
    shell.talk(&format!(
        "\nwritten into {}: {FILE}, rare.json, rare_exceedance as PNG and SVG, and the time history of the run \
         that went furthest towards each event",
        dir.display()
    ));
    shell.caution();
    Ok(if told.events.iter().all(is_met) {
        Status::Met
    } else {
        Status::NotMet
    })
}

/// The event was met, and plain runs do not contradict.
fn is_met(e: &crate::campaign::rare::told::EventTold) -> bool {
    e.repetitions_with_it > 0 && e.plain.as_ref().is_none_or(|p| p.agrees)
}

fn head(bundle: &RareBundle) -> Result<Head> {
    let inputs = inputs::inputs(
        bundle.rare.source.folder(),
        &bundle.sources(),
        std::slice::from_ref(&bundle.sea),
        std::slice::from_ref(&bundle.law),
    );
    Ok(Head::new(inputs, target()?))
}

fn write(dir: &Path, study: &Study, found: &Found, told: &Told) -> Result<()> {
    output::write_json(dir, "rare", told)?;
    figure(told).write(dir, "rare_exceedance")?;
    for k in 0..told.events.len() {
        let Some(run) = study.furthest(k, found)? else {
            continue;
        };
        let columns = export::history_columns(&run.record);
        let path = dir.join(format!("furthest_{}.csv", k + 1));
        output::replace_with(&path, |file| {
            let mut table = CsvTable::new(file, &columns)?;
            let samples = 0..run.record.len();
            samples
                .map(|i| export::history_cells(&run.record, i))
                .try_for_each(|cells| table.put(&cells))?;
            table.finish()
        })?;
    }
    Ok(())
}
