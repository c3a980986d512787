//! All printing: data to standard output, talk to standard error.
//!
//! Colour only on a terminal and without `NO_COLOR`, and never as the only bearer of a meaning.
//! When the reader of standard output goes away, the rest is not written and all is well.

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use serde::Serialize;

use super::{Status, render};
use crate::error::{Error, Result};
use crate::spec::validate::Bundle;

/// The one way out for text.
#[derive(Debug)]
pub struct Shell {
    is_quiet: bool,
    is_styled: bool,
    is_terminal: bool,
    is_closed: bool,
}

impl Shell {
    /// A shell on the process's own streams.
    pub fn new(is_quiet: bool) -> Self {
        let is_terminal = std::io::stderr().is_terminal();
        let refused = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
        let is_dumb = std::env::var_os("TERM").is_some_and(|v| v == "dumb");
        Shell {
            is_quiet,
            is_styled: is_terminal && !refused && !is_dumb,
            is_terminal,
            is_closed: false,
        }
    }

    /// True when progress may be drawn: talk is wanted and a person is watching.
    pub fn shows_progress(&self) -> bool {
        self.is_terminal && !self.is_quiet
    }

    /// True when a long job may say now and then how far it is: talk is wanted and nobody watches.
    pub fn logs_progress(&self) -> bool {
        !self.is_terminal && !self.is_quiet
    }

    /// Writes data and a line end to standard output.
    ///
    /// # Errors
    /// When standard output fails, a closed pipe excepted.
    pub fn data(&mut self, text: &str) -> Result<()> {
        if self.is_closed {
            return Ok(());
        }
        let mut out = std::io::stdout().lock();
        let end = if text.ends_with('\n') { "" } else { "\n" };
        let written = write!(out, "{text}{end}").and_then(|()| out.flush());
        match written {
            Ok(()) => Ok(()),
            Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => {
                self.is_closed = true;
                Ok(())
            }
            Err(e) => Err(Error::with_hint(
                format!("cannot write to standard output: {e}"),
                "make room where it leads, or read it with a program that goes on reading",
            )),
        }
    }

    /// Writes a value as JSON to standard output.
    ///
    /// # Errors
    /// When standard output fails, a closed pipe excepted.
    pub fn json(&mut self, value: &impl Serialize) -> Result<()> {
        let text = serde_json::to_string_pretty(value)
            .map_err(|e| Error::new(format!("cannot write the result as JSON: {e}")))?;
        self.data(&text)
    }

    /// A remark; silent with `--quiet`.
    pub fn talk(&mut self, text: &str) {
        if !self.is_quiet {
            to_stderr(text);
        }
    }

    /// A warning with its remedy; told even with `--quiet`, because it bears on the result.
    pub fn warn(&mut self, text: &str, hint: Option<&str>) {
        to_stderr(&render::warning(text, hint, self.is_styled));
    }

    /// Says of a scenario's faults that this verb judges the craft in order.
    pub(super) fn warn_of_fault(&mut self, bundle: &Bundle) {
        if let Some(fault) = &bundle.fault {
            let text = format!(
                "the scenario's faults (`{}`) are left out here: the craft is judged in order",
                fault.spec.name
            );
            self.warn(&text, Some("`run` and `failures` break it"));
        }
    }

    /// All problems of an error, with the lines of the files they stand in.
    pub fn error(&mut self, error: &Error) {
        to_stderr(&render::error(error, self.is_styled));
    }

    /// The caution that goes with every result that could be taken for clearance.
    pub fn caution(&mut self) {
        self.talk(&format!("\n{}", crate::caution::CAUTION));
    }

    /// Help, version and wrong arguments as clap words them.
    pub fn usage(&mut self, error: &clap::Error) -> ExitCode {
        let text = error.render();
        if error.use_stderr() {
            let text = if self.is_styled {
                text.ansi().to_string()
            } else {
                text.to_string()
            };
            to_stderr(&text);
            return ExitCode::from(2);
        }
        let styled = self.is_styled && std::io::stdout().is_terminal();
        let text = if styled {
            text.ansi().to_string()
        } else {
            text.to_string()
        };
        let done = self.data(&text).map(|()| Status::Met);
        self.finish(done)
    }

    /// The exit status of a verb, its error told.
    pub fn finish(&mut self, done: Result<Status>) -> ExitCode {
        match done {
            _ if self.is_closed => ExitCode::SUCCESS,
            Ok(Status::Met) => ExitCode::SUCCESS,
            Ok(Status::NotMet) => ExitCode::from(1),
            Err(e) => {
                self.error(&e);
                ExitCode::from(2)
            }
        }
    }
}

/// Nobody is left to be told when standard error itself fails.
pub(super) fn to_stderr(text: &str) {
    let mut err = std::io::stderr().lock();
    let end = if text.ends_with('\n') { "" } else { "\n" };
    let _ = write!(err, "{text}{end}");
}
