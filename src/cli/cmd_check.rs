//! `check`: validates files of any kind.

use std::path::PathBuf;

use serde::Serialize;

use super::Status;
use super::shell::Shell;
use crate::error::{Error, Problem, Result};
use crate::spec::load::{Any, load_any};
use crate::spec::validate::{bundle, campaign_bundle, failures_bundle, rare_bundle, tuning_bundle};

/// Options of `check`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright check scenarios/craft/*.json controllers/*.json\n\
                  A scenario or tuning is checked together with the files it names."
)]
pub struct Options {
    /// Files of any kind (`ridewright.craft/1`, `sea`, `controller`, `criteria`, `fault`, `scatter`, `scenario`, `tuning`,
    /// `campaign`, `rare`).
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// Print the findings as JSON.
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
struct Finding<'a> {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<usize>,
    key: &'a str,
    message: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    hint: Option<&'a str>,
}

#[derive(Serialize)]
struct Report<'a> {
    files: usize,
    problems: Vec<Finding<'a>>,
}

/// Checks every file; one that is wrong does not stop the others.
///
/// # Errors
/// When standard output cannot be written.
pub fn run(options: &Options, shell: &mut Shell) -> Result<Status> {
    let mut problems: Vec<Problem> = Vec::new();
    for file in &options.files {
        match check(file) {
            Ok(told) if options.json => drop(told),
            Ok(told) => shell.data(&told)?,
            Err(e) => {
                let fresh: Vec<_> = e
                    .problems
                    .into_iter()
                    .filter(|p| !problems.contains(p))
                    .collect();
                if !options.json && !fresh.is_empty() {
                    shell.error(&Error::from(fresh.clone()));
                    shell.talk("");
                }
                problems.extend(fresh);
            }
        }
    }
    if options.json {
        shell.json(&Report {
            files: options.files.len(),
            problems: problems.iter().map(finding).collect(),
        })?;
    } else if !problems.is_empty() {
        shell.talk(&format!(
            "{} {} found",
            problems.len(),
            if problems.len() == 1 {
                "problem"
            } else {
                "problems"
            }
        ));
    }
    Ok(if problems.is_empty() {
        Status::Met
    } else {
        Status::NotMet
    })
}

/// Reads a file, and those it names; tells what it is.
fn check(file: &PathBuf) -> Result<String> {
    let (kind, name) = match load_any(file)? {
        Any::Craft(f) => ("craft", f.spec.name),
        Any::Sea(f) => ("sea", f.spec.name),
        Any::Controller(f) => ("controller", f.spec.name),
        Any::Criteria(f) => ("criteria", f.spec.name),
        Any::Scatter(f) => ("scatter", f.spec.name),
        Any::Fault(f) => ("fault", f.spec.name),
        Any::Tuning(f) => {
            tuning_bundle(file)?;
            ("tuning", f.spec.name)
        }
        Any::Failures(f) => {
            failures_bundle(file)?;
            ("failures", f.spec.name)
        }
        Any::Campaign(f) => {
            campaign_bundle(file)?;
            ("campaign", f.spec.name)
        }
        Any::Rare(f) => {
            rare_bundle(file)?;
            ("rare-event", f.spec.name)
        }
        Any::Scenario(f) => {
            bundle(file)?;
            ("scenario", f.spec.name)
        }
    };
    Ok(format!("{}: {kind} {name:?} is valid", file.display()))
}

fn finding(p: &Problem) -> Finding<'_> {
    Finding {
        file: p
            .place
            .file
            .as_ref()
            .map(|f| f.display().to_string())
            .unwrap_or_default(),
        line: p.place.line,
        column: p.place.column,
        key: &p.place.key,
        message: &p.message,
        hint: p.hint.as_deref(),
    }
}
