//! `export`: a campaign's rows as CSV and Parquet.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_campaign::about;
use super::shell::Shell;
use super::{Status, output};
use crate::campaign::batch::export::{self, CsvTable, Kind, ParquetTable};
use crate::campaign::batch::store::{Book, stores_in};
use crate::error::{Error, Result};

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
    columns: Vec<String>,
    files: Vec<String>,
}

/// Writes `rows.csv` and `rows.parquet`.
///
/// # Errors
/// A store that cannot be read; files that cannot be written.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    let stores = if options.store.is_dir() {
        stores_in(&options.store)?
    } else {
        vec![options.store.clone()]
    };
    let [store] = &stores[..] else {
        let told = format!(
            "{} holds {} stores, must hold one",
            options.store.display(),
            stores.len()
        );
        return Err(Error::with_hint(
            told,
            "name the file, or merge parts first",
        ));
    };
    let dir = output::folder(&options.output)?
        .or_else(|| store.parent().map(Path::to_owned))
        .unwrap_or_default();
    let mut book = Book::open(store)?;
    let head = book.head.clone();
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
    Ok(Status::Met)
}
