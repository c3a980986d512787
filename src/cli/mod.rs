//! The command line: the only room that prints.
//!
//! Data go to standard output, talk to standard error. Each verb is one file `cmd_<verb>.rs` with
//! an options struct and `run(&options, &mut Shell) -> Result<Status>`; [`args`] lists them.

mod agreement;
pub mod args;
mod campaign_tables;
pub mod cmd_bound;
pub mod cmd_campaign;
pub mod cmd_check;
pub mod cmd_coefficients;
pub mod cmd_compare;
pub mod cmd_detection;
pub mod cmd_export;
pub mod cmd_failures;
pub mod cmd_fins;
pub mod cmd_hydrostatics;
pub mod cmd_margins;
pub mod cmd_merge;
pub mod cmd_operability;
pub mod cmd_predict;
pub mod cmd_rare;
pub mod cmd_response;
pub mod cmd_run;
pub mod cmd_schedule;
pub mod cmd_schema;
pub mod cmd_sea;
pub mod cmd_show;
pub mod cmd_signs;
pub mod cmd_stability;
pub mod cmd_sweep;
pub mod cmd_tune;
pub mod craft_model;
mod designs;
mod failures_tables;
mod judgements;
mod margin_pictures;
mod margin_tables;
mod operability_tables;
pub mod output;
mod pictures;
pub mod progress;
mod rare_tables;
pub mod render;
mod schedule_pictures;
mod schedule_report;
mod schedule_tables;
pub mod shell;
pub mod table;
mod tune_loadings;
mod tune_report;
mod tune_tables;

use std::path::Path;
use std::process::ExitCode;

use clap::Parser;

use args::{Args, Verb};
use shell::Shell;

use crate::error::Result;

/// How a verb that could run came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Everything asked for was done and met.
    Met,
    /// It ran, but a limit, a case or a file failed.
    NotMet,
}

/// Parses the arguments, does the verb, returns 0 (all met), 1 (ran, but a limit or case failed)
/// or 2 (could not run). A reader that closes the pipe early is no failure.
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => return Shell::new(false).usage(&e),
    };
    let mut shell = Shell::new(args.quiet);
    let cache = args.cache.folder();
    let done = run(&args.verb, cache.as_deref(), &mut shell);
    shell.finish(done)
}

fn run(verb: &Verb, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    match verb {
        Verb::Bound(options) => cmd_bound::run(options, cache, shell),
        Verb::Campaign(options) => cmd_campaign::run(options, cache, shell),
        Verb::Check(options) => cmd_check::run(options, shell),
        Verb::Compare(options) => cmd_compare::run(options, cache, shell),
        Verb::Failures(options) => cmd_failures::run(options, cache, shell),
        Verb::Export(options) => cmd_export::run(options, shell),
        Verb::Merge(options) => cmd_merge::run(options, shell),
        Verb::Detection(options) => cmd_detection::run(options, cache, shell),
        Verb::Margins(options) => cmd_margins::run(options, cache, shell),
        Verb::Schedule(options) => cmd_schedule::run(options, cache, shell),
        Verb::Operability(options) => cmd_operability::run(options, cache, shell),
        Verb::Rare(options) => cmd_rare::run(options, cache, shell),
        Verb::Predict(options) => cmd_predict::run(options, cache, shell),
        Verb::Tune(options) => cmd_tune::run(options, cache, shell),
        Verb::Sweep(options) => cmd_sweep::run(options, cache, shell),
        Verb::Run(options) => cmd_run::run(options, cache, shell),
        Verb::Show(options) => cmd_show::run(options, shell),
        Verb::Schema(options) => cmd_schema::run(options, shell),
        Verb::Hydrostatics(options) => cmd_hydrostatics::run(options, cache, shell),
        Verb::Coefficients(options) => cmd_coefficients::run(options, cache, shell),
        Verb::Stability(options) => cmd_stability::run(options, cache, shell),
        Verb::Response(options) => cmd_response::run(options, cache, shell),
        Verb::Fins(options) => cmd_fins::run(options, shell),
        Verb::Signs(options) => cmd_signs::run(options, cache, shell),
        Verb::Sea(options) => cmd_sea::run(options, cache, shell),
    }
}
