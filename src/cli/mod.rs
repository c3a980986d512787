//! The command line: the only room that prints.
//!
//! Data go to standard output, talk to standard error. Each verb is one file `cmd_<verb>.rs` with
//! an options struct and `run(&options, &mut Shell) -> Result<Status>`; [`args`] lists them.

pub mod args;
pub mod cmd_check;
pub mod cmd_schema;
pub mod cmd_show;
pub mod progress;
pub mod render;
pub mod shell;
pub mod table;

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
    let done = run(&args.verb, &mut shell);
    shell.finish(done)
}

fn run(verb: &Verb, shell: &mut Shell) -> Result<Status> {
    match verb {
        Verb::Check(options) => cmd_check::run(options, shell),
        Verb::Show(options) => cmd_show::run(options, shell),
        Verb::Schema(options) => cmd_schema::run(options, shell),
    }
}
