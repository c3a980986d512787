//! `merge`: the parts of a campaign put together.

use std::path::PathBuf;

use super::args::OutputArgs;
use super::shell::Shell;
use super::{Status, cmd_campaign, output};
use crate::campaign::batch::merge::merge;
use crate::campaign::batch::store::stores_at;
use crate::error::{Error, Result};

/// Options of `merge`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright merge out/part1 out/part2 out/part3 out/part4 --out out/campaign\n\
                  The result is that of one run, to the byte."
)]
pub struct Options {
    /// Folders (or files) that `campaign --shard K/N --out DIR` wrote.
    #[arg(value_name = "DIR", required = true)]
    pub parts: Vec<PathBuf>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Puts the parts together and tells the whole.
///
/// # Errors
/// Parts that are missing, there twice, unfinished, or do not belong together.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    let Some(dir) = output::folder(&options.output)? else {
        return Err(Error::with_hint(
            "the whole needs a folder",
            "say --out DIR",
        ));
    };
    let mut stores = Vec::new();
    for part in &options.parts {
        let mut found = stores_at(part)?;
        // a whole store beside its parts is an earlier merge
        if found.len() > 1 {
            found.retain(|p| p.file_name().is_none_or(|n| n != "rows.jsonl"));
        }
        stores.extend(found);
    }
    let path = merge(&stores, &dir)?;
    shell.talk(&format!("{} parts put together", stores.len()));
    cmd_campaign::tell(&path, &dir, &options.output, shell)
}
