//! `schema`: the JSON Schemas of the file formats.

use std::path::PathBuf;

use super::Status;
use super::output::replace;
use super::shell::Shell;
use crate::error::{Error, Result};
use crate::spec::{fields, schema};

/// Options of `schema`.
#[derive(Clone, Debug, clap::Args)]
#[command(after_help = "Example: ridewright schema craft\n\
                  Example: ridewright schema --write scenarios/schema --tables scenarios/README.md")]
pub struct Options {
    /// Kind of file whose schema to print; all kinds in one object when absent.
    #[arg(value_name = "KIND", value_parser = crate::spec::load::KINDS)]
    pub kind: Option<String>,
    /// Folder to write one schema file per kind into, e.g. --write scenarios/schema.
    #[arg(long, value_name = "DIR", conflicts_with = "kind")]
    pub write: Option<PathBuf>,
    /// Markdown file whose field tables to make anew, e.g. --tables scenarios/README.md.
    #[arg(long, value_name = "FILE.md", conflicts_with = "kind")]
    pub tables: Option<PathBuf>,
    /// Print JSON; it is what this verb prints in any case.
    #[arg(long)]
    pub json: bool,
}

/// Prints the schemas, or writes them and the field tables.
///
/// # Errors
/// When a file or standard output cannot be read or written.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    if let Some(folder) = &options.write {
        std::fs::create_dir_all(folder).map_err(|e| Error::io("make this folder", folder, &e))?;
        for (name, text) in schema::files() {
            replace(&folder.join(name), &text)?;
        }
        shell.talk(&format!("wrote schemas into {}", folder.display()));
    }
    if let Some(file) = &options.tables {
        let old =
            std::fs::read_to_string(file).map_err(|e| Error::io("read this file", file, &e))?;
        let new = fields::renew(&old).ok_or_else(|| {
            let (begin, end) = fields::MARKS;
            Error::with_hint(
                "has no place for field tables",
                format!("put these two lines into it: {begin} and {end}"),
            )
            .in_file(file)
        })?;
        replace(file, &new)?;
        shell.talk(&format!("wrote field tables into {}", file.display()));
    }
    if options.write.is_none() && options.tables.is_none() {
        if let Some(kind) = &options.kind {
            shell.json(schema::of(kind))?;
        } else {
            let kinds = crate::spec::load::KINDS;
            let all: std::collections::BTreeMap<_, _> =
                kinds.iter().map(|k| (k, schema::of(k))).collect();
            shell.json(&all)?;
        }
    }
    Ok(Status::Met)
}
