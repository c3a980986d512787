//! `show`: a file with every default written out.

use std::path::PathBuf;

use super::Status;
use super::shell::Shell;
use crate::error::Result;
use crate::spec::load::{Any, load_any};
use crate::spec::resolve;

/// Options of `show`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright show scenarios/sea/NAME.json > complete.json\n\
                  The output is a valid file again. null means: worked out when the file is used."
)]
pub struct Options {
    /// File of any kind (`ridewright.craft/1`, `sea`, `controller`, `criteria`, `fault`, `scatter`, `scenario`,
    /// `tuning`, `campaign`, `rare`).
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Print JSON; it is what this verb prints in any case.
    #[arg(long)]
    pub json: bool,
}

/// Prints the file as it was understood.
///
/// # Errors
/// When the file cannot be read or is wrong.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    match load_any(&options.file)? {
        Any::Craft(f) => shell.json(&resolve::craft(&f.spec))?,
        Any::Sea(f) => shell.json(&f.spec)?,
        Any::Controller(f) => shell.json(&f.spec)?,
        Any::Scatter(f) => shell.json(&f.spec)?,
        Any::Criteria(f) => shell.json(&f.spec)?,
        Any::Fault(f) => shell.json(&f.spec)?,
        Any::Scenario(f) => shell.json(&f.spec)?,
        Any::Tuning(f) => shell.json(&f.spec)?,
        Any::Campaign(f) => shell.json(&f.spec)?,
        Any::Rare(f) => shell.json(&f.spec)?,
        Any::Failures(f) => shell.json(&f.spec)?,
    }
    Ok(Status::Met)
}
