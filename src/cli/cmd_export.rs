//! `export`: a campaign's rows as CSV and Parquet.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_campaign::about;
use super::shell::Shell;
use super::{Status, output};
use crate::campaign::batch::export::{self, CsvTable, Kind, ParquetTable};
use crate::campaign::batch::grid::Shard;
use crate::campaign::batch::store::{Book, Standing, stores_at};
use crate::error::{Error, Problem, Result};

/// Options of `export`.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ridewright export out/campaign\n\
                  In Python: pandas.read_parquet(\"out/campaign/rows.parquet\")")]
pub struct Options {
    /// Folder of a campaign, or its rows.jsonl.
    #[arg(value_name = "DIR")]
    pub store: PathBuf,
    /// Output; beside the rows when no folder is given.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// What was written.
#[derive(Serialize)]
struct Written {
    rows: usize,
    /// Cases that the whole campaign asks for; none where a stopping rule decides elsewhere.
    cases: Option<usize>,
    columns: Vec<String>,
    files: Vec<String>,
}

/// Writes `rows.csv` and `rows.parquet`.
///
/// # Errors
/// A store that is not there, is being written or cannot be read; files that cannot be written. A campaign that
/// lacks cases is exported with a warning, and not met.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    let stores = stores_at(&options.store)?;
    let [store] = &stores[..] else {
        let told = format!("holds {} stores, must hold one", stores.len());
        let p = Problem::at("", told).hint("name the file, or merge parts first");
        return Err(Error::from(p).in_file(&options.store));
    };
    let dir = output::folder(&options.output)?
        .or_else(|| store.parent().map(Path::to_owned))
        .unwrap_or_default();
    let mut book = Book::open(store)?;
    let head = book.head.clone();
    let standing = book.standing()?;
    let columns = export::columns(&head);
    let (csv, parquet) = (dir.join("rows.csv"), dir.join("rows.parquet"));
    let mut rows = 0;
    output::replace_with(&csv, |file| {
        let mut table = CsvTable::new(file, &columns)?;
        book.each(|row| {
            rows += 1;
            table.put(&export::cells(&head, row))
        })?;
        table.finish()
    })?;
    output::replace_with(&parquet, |file| {
        let mut table = ParquetTable::new(file, &columns, &about(&head))?;
        book.each(|row| table.put(export::cells(&head, row)))?;
        table.finish()
    })?;
    let files = [&csv, &parquet].map(|p| p.display().to_string());
    if options.output.json {
        shell.json(&Written {
            rows,
            cases: standing.whole,
            columns: columns.into_iter().map(|c| c.0).collect(),
            files: files.into(),
        })?;
    } else {
        let numbers = columns.iter().filter(|c| c.1 == Kind::Number).count();
        shell.data(&format!(
            "{rows} rows, {} columns ({numbers} of numbers): {}",
            columns.len(),
            files.join(", ")
        ))?;
    }
    shell.caution();
    let lacks = lacking(&standing, head.shard);
    if let Some((told, hint)) = &lacks {
        shell.warn(&format!("{}: {told}", store.display()), Some(hint));
    }
    Ok(if lacks.is_some() {
        Status::NotMet
    } else {
        Status::Met
    })
}

/// What an export lacks of its campaign, and how to go on; none of a whole one.
fn lacking(standing: &Standing, shard: Shard) -> Option<(String, &'static str)> {
    let of = |cases| format!("{} of {cases} cases", standing.there);
    let (whole, there) = (shard == Shard::WHOLE, standing.there);
    if !standing.is_finished() {
        let part = if whole {
            String::new()
        } else {
            format!(" of part {shard}")
        };
        return Some((
            format!("unfinished: {}{part} are exported", of(standing.part)),
            "`ridewright campaign FILE --out DIR` (with its --shard) goes on; then export again",
        ));
    }
    (!whole).then(|| {
        let told = standing.whole.map_or_else(|| format!("{there} cases"), of);
        (
            format!("part {shard} of a campaign only: {told} are exported"),
            "`ridewright merge DIR... --out DIR` puts all parts together; then export that",
        )
    })
}
