//! The command line: the only place that prints.

pub mod args;
pub mod shell;

use std::process::ExitCode;

/// Parses the arguments, does the verb, returns 0 (all met), 1 (ran, but a limit or case failed)
/// or 2 (could not run).
pub fn main() -> ExitCode {
    ExitCode::from(2)
}
