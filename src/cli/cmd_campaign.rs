//! `campaign`: thousands of cases on all cores, kept on disk, told with intervals.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_compare::on_threads;
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, campaign_tables, output};
use crate::campaign::batch::execute::{self, Watcher};
use crate::campaign::batch::export::{self, CsvTable, ParquetTable};
use crate::campaign::batch::grid::{Shard, Spot};
use crate::campaign::batch::head::{Head, Target};
use crate::campaign::batch::inputs;
use crate::campaign::batch::rig::Rig;
use crate::campaign::batch::row::{Ending, Row};
use crate::campaign::batch::store::{Book, Store};
use crate::campaign::batch::summary::{Summary, summarise};
use crate::campaign::lines::hash_of_file;
use crate::error::{Error, Result};
use crate::report::campaign::figures;
use crate::sim::record::Record;
use crate::spec::campaign::DrawsSpec;
use crate::spec::validate::campaign_bundle;

/// Options of `campaign`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright campaign scenarios/campaign.json --out out/campaign\n\
                  The same command goes on where a run was stopped or killed; rows.jsonl in the folder \
                  holds one line a case.\n\
                  Example: ridewright campaign scenarios/campaign.json --shard 2/4 --out out/part2\n\
                  Example: ridewright campaign scenarios/campaign.json --case 17 --out out/case17"
)]
pub struct Options {
    /// Campaign file (`ridewright.campaign/1`).
    #[arg(value_name = "CAMPAIGN.json")]
    pub campaign: PathBuf,
    /// Threads to run cases on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Run only this part of the cases, e.g. --shard 2/4; `merge` puts all parts together.
    #[arg(long, value_name = "K/N", value_parser = shard)]
    pub shard: Option<Shard>,
    /// Run this case only, by its number (no unit), and write its time history.
    #[arg(long, value_name = "NUMBER", conflicts_with = "shard")]
    pub case: Option<usize>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

fn shard(text: &str) -> std::result::Result<Shard, String> {
    Shard::read(text).map_err(|e| e.to_string())
}

/// Runs, or goes on, and tells what is there.
///
/// # Errors
/// What is wrong with the campaign or its files; a store that cannot be written or is another's.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = campaign_bundle(&options.campaign)?;
    let out = output::folder(&options.output)?;
    let rig = Rig::new(&bundle, cache)?;
    for w in rig.warnings() {
        shell.warn(&w, None);
    }
    if let Some(case) = options.case {
        return one(&rig, case, options, out.as_deref(), shell);
    }
    let Some(dir) = out else {
        return Err(Error::with_hint(
            "a campaign needs a folder for its rows",
            "say --out DIR; the same command goes on where it was stopped",
        ));
    };
    let shard = options.shard.unwrap_or(Shard::WHOLE);
    let head = inputs::head(&bundle, &rig, target()?, shard);
    let watched = match &rig.spec.draws {
        DrawsSpec::Fixed { .. } => None,
        DrawsSpec::Until { quantity, .. } => head.columns.iter().position(|c| c == quantity),
    };
    let store = Store::open(&dir, head, watched)?;
    if store.read_back() > 0 {
        shell.talk(&format!(
            "{} rows are in {} already: going on",
            store.read_back(),
            store.path().display()
        ));
    }
    let view = Bar {
        bar: Progress::rated(shell, "cases"),
    };
    let done = on_threads(options.threads, || execute::execute(&rig, store, &view))?;
    view.bar.finish();
    let rows = done?;
    let path = rows.settle()?;
    if shard != Shard::WHOLE {
        return part(&path, shard, options, shell);
    }
    tell(&path, &dir, &options.output, shell)
}

/// The progress bar as a watcher.
struct Bar {
    bar: Progress,
}

impl Watcher for Bar {
    fn begin(&self, wanted: usize, there: usize) {
        self.bar.more(wanted, there);
    }

    fn done(&self, _: Ending) {
        self.bar.step();
    }
}

/// This program on this machine.
pub(super) fn target() -> Result<Target> {
    let processor = format!("{}-{}", std::env::consts::ARCH, std::env::consts::OS);
    Ok(Target::here(own_hash()?, processor))
}

/// Hash of this program's file.
pub(super) fn own_hash() -> Result<String> {
    let program = std::env::current_exe()
        .map_err(|e| Error::new(format!("cannot find this program's own file: {e}")))?;
    hash_of_file(&program).ok_or_else(|| {
        Error::new(format!(
            "cannot read this program's own file {}",
            program.display()
        ))
    })
}

/// A finished part.
#[derive(Serialize)]
struct Part {
    shard: String,
    store: String,
    cases: usize,
    completed: usize,
}

fn part(path: &Path, shard: Shard, options: &Options, shell: &mut Shell) -> Result<Status> {
    let mut book = Book::open(path)?;
    let (mut cases, mut completed) = (0, 0);
    book.each(|row| {
        cases += 1;
        completed += usize::from(row.outcome == Ending::Completed);
        Ok(())
    })?;
    if options.output.json {
        shell.json(&Part {
            shard: shard.to_string(),
            store: path.display().to_string(),
            cases,
            completed,
        })?;
    } else {
        shell.data(&format!(
            "shard {shard}: {cases} cases, {completed} completed, in {}",
            path.display()
        ))?;
    }
    shell.talk("`ridewright merge DIR... --out DIR` puts all shards together");
    Ok(if cases == completed {
        Status::Met
    } else {
        Status::NotMet
    })
}

/// Tells a finished store: tables or JSON, summary and pictures into `dir`.
///
/// # Errors
/// When the store cannot be read or something not be written.
pub(super) fn tell(
    path: &Path,
    dir: &Path,
    options: &OutputArgs,
    shell: &mut Shell,
) -> Result<Status> {
    let told = summarise(&mut Book::open(path)?)?;
    for (words, rows) in &told.warnings {
        shell.warn(&format!("{words} ({rows} of {} rows)", told.cases), None);
    }
    if options.json {
        shell.json(&told)?;
    } else {
        campaign_tables::print(&told, shell)?;
    }
    output::write_json(dir, "summary", &told)?;
    let count = draw(&told, dir)?;
    shell.talk(&format!(
        "\nwritten into {}: rows.jsonl, summary.json and {count} pictures, each as PNG and SVG",
        dir.display()
    ));
    shell.caution();
    Ok(if told.cases == told.completed {
        Status::Met
    } else {
        Status::NotMet
    })
}

fn draw(told: &Summary, dir: &Path) -> Result<usize> {
    let all = figures(
        told,
        "Invented demonstration craft and seas where the files say so",
    );
    for (stem, figure) in &all {
        figure.write(dir, stem)?;
    }
    Ok(all.len())
}

/// One case with its number and words.
#[derive(Serialize)]
struct One {
    words: String,
    columns: Vec<String>,
    uncertain: Vec<String>,
    row: Row,
}

fn one(
    rig: &Rig,
    case: usize,
    options: &Options,
    out: Option<&Path>,
    shell: &mut Shell,
) -> Result<Status> {
    let Some(spot) = rig.grid.spot(case) else {
        return Err(Error::with_hint(
            format!("there is no case {case}"),
            format!(
                "cases of this campaign run from 0 to {}",
                rig.grid.cases() - 1
            ),
        ));
    };
    let run = rig.run(&spot)?;
    let row = rig.judged(&spot, &run);
    for w in &row.warnings {
        shell.warn(w, None);
    }
    let told = One {
        words: rig.grid.words(case),
        columns: rig.columns.clone(),
        uncertain: rig.draws.of().iter().map(|u| u.name().into()).collect(),
        row,
    };
    if options.output.json {
        shell.json(&told)?;
    } else {
        shell.data(&campaign_tables::case(
            &told.words,
            &told.columns,
            &told.uncertain,
            &told.row,
        ))?;
    }
    if let Some(dir) = out {
        write_history(dir, rig, &spot, &run.record)?;
        output::write_json(dir, &format!("case_{case}"), &told)?;
        shell.talk(&format!(
            "written into {}: history_{case}.csv, history_{case}.parquet, case_{case}.json",
            dir.display()
        ));
    }
    shell.caution();
    Ok(if run.outcome.is_completed() {
        Status::Met
    } else {
        Status::NotMet
    })
}

/// A case's time history as CSV and Parquet.
fn write_history(dir: &Path, rig: &Rig, spot: &Spot, record: &Record) -> Result<()> {
    let columns = export::history_columns(record);
    let about = [("case", rig.grid.words(spot.case))];
    let name = |ending: &str| dir.join(format!("history_{}.{ending}", spot.case));
    output::replace_with(&name("csv"), |file| {
        let mut table = CsvTable::new(file, &columns)?;
        (0..record.len()).try_for_each(|i| table.put(&export::history_cells(record, i)))?;
        table.finish()
    })?;
    output::replace_with(&name("parquet"), |file| {
        let mut table = ParquetTable::new(file, &columns, &about)?;
        (0..record.len()).try_for_each(|i| table.put(export::history_cells(record, i)))?;
        table.finish()
    })
}

/// What an exported file says of itself.
pub(super) fn about(head: &Head) -> Vec<(&'static str, String)> {
    vec![
        ("campaign", head.campaign.clone()),
        ("seed", head.seed.to_string()),
        ("program", format!("ridewright {}", head.target.version)),
        ("caution", crate::caution::CAUTION.to_owned()),
    ]
}
