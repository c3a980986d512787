//! `operability`: limiting heights around the craft and the share of time in which it can work.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_compare::{heading_word, on_threads};
use super::operability_tables as tables;
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, output};
use crate::campaign::operability::probe::Method;
use crate::campaign::operability::simulated::{self, Check};
use crate::campaign::operability::{self as work, Operability, Question};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::report::operability::figures;
use crate::spec::load::{load_criteria, load_scatter};
use crate::spec::validate::bundle;

/// Options of `operability`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright operability scenarios/operability.json \
                  --scatter scenarios/scatter/outer_coast.json \
                  --criteria scenarios/criteria/survey_work.json --out out/operability\n\
                  Limits come from the spectral method to first order of the waves.\n\
                  The scenario gives craft, laws, speeds and headings; its own sea is not used. Headings of \
                  one side (0 to 180) stand for the other too."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Scatter file (`ridewright.scatter/1`): how often the area has which sea, e.g. --scatter
    /// scenarios/scatter/outer_coast.json.
    #[arg(long, value_name = "SCATTER.json")]
    pub scatter: PathBuf,
    /// Criteria file (`ridewright.criteria/1`): the limits, e.g. --criteria
    /// scenarios/criteria/survey_work.json.
    #[arg(long, value_name = "CRITERIA.json")]
    pub criteria: PathBuf,
    /// Draw so many seas near the limits, a count (no unit), and simulate each with all seeds of the
    /// scenario, e.g. --check-by-simulation 20.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=10000))]
    pub check_by_simulation: Option<u16>,
    /// Seed of these draws, a whole number (no unit).
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    pub draw_seed: u64,
    /// Threads, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// What the verb tells as JSON.
#[derive(Debug, Serialize)]
struct Told<'a> {
    operability: &'a Operability,
    check: Option<&'a Check>,
    caution: &'static str,
}

/// Finds the limits and tells them.
///
/// # Errors
/// What is wrong with the files; no law that can be judged; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    let scatter = load_scatter(&options.scatter)?.spec;
    let set = load_criteria(&options.criteria)?.spec;
    let out = output::folder(&options.output)?;
    let mut stage = Stage::new(&bundle, cache)?;
    for w in &stage.model.warnings {
        shell.warn(w, None);
    }
    let question = Question {
        scatter: &scatter,
        set: &set,
        method: Method::default(),
    };
    let progress = Progress::new(shell, work::count(&stage), "speeds, headings and laws");
    let found = on_threads(options.threads, || {
        work::operability(&stage, &question, &|| progress.step())
    })??;
    progress.finish();
    for why in &found.refused {
        shell.warn(why, Some("left out here"));
    }
    for remark in &found.remarks {
        shell.warn(remark, None);
    }
    if found.laws.is_empty() {
        return Err(Error::with_hint(
            "no law of this scenario can be judged without simulation",
            "put a law with a linear form into it: fixed, PID or LQR",
        ));
    }
    let check = checked(options, &mut stage, &question, &found, shell)?;
    let told = Told {
        operability: &found,
        check: check.as_ref(),
        caution: crate::caution::CAUTION,
    };
    if options.output.json {
        shell.json(&told)?;
    } else {
        shell.data(&tables::all(&found, &scatter, &heading_word))?;
        if let Some(c) = &check {
            shell.data(&tables::check(c, &heading_word))?;
        }
    }
    if let Some(dir) = &out {
        output::write_json(dir, "operability", &told)?;
        let figures = figures(&found, &scatter);
        figures
            .par_iter()
            .map(|(stem, f)| f.write(dir, stem).map(|_| ()))
            .collect::<Result<()>>()?;
        shell.talk(&format!(
            "\nwritten into {}: operability.json and {} pictures, each as PNG and SVG",
            dir.display(),
            figures.len()
        ));
    }
    shell.caution();
    let agrees = check
        .and_then(|c| c.decided)
        .is_none_or(|t| t.alike == t.count);
    Ok(if agrees { Status::Met } else { Status::NotMet })
}

fn checked(
    options: &Options,
    stage: &mut Stage,
    question: &Question<'_>,
    found: &Operability,
    shell: &mut Shell,
) -> Result<Option<Check>> {
    let Some(draws) = options.check_by_simulation.map(usize::from) else {
        return Ok(None);
    };
    let progress = Progress::new(shell, simulated::count(stage, draws), "records");
    let seed = options.draw_seed;
    let check = on_threads(options.threads, || {
        simulated::check(stage, question, found, draws, seed, &|| progress.step())
    })??;
    progress.finish();
    Ok(Some(check))
}
