//! `run`: cases of a scenario with their time histories kept.

use std::path::{Path, PathBuf};

use super::args::{HeadingArgs, OutputArgs, SpeedArgs};
use super::cmd_compare::{on_threads, tell_warnings};
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, output, table};
use crate::campaign::batch::export::{self, CsvTable};
use crate::campaign::compare::{self, Comparison, RunResult, Selection};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::metrics::ride::RideReport;
use crate::report::chart::Heading;
use crate::report::faults::fault_history;
use crate::report::file_word;
use crate::report::orders::order_history;
use crate::sim::record::Record;
use crate::spec::validate::bundle;

/// Options of `run`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright run scenarios/demo.json --speed-kn 16 --heading-deg 0 --only \"modal PID\" --out out/run"
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Only the law of this name, e.g. --only "modal PID".
    #[arg(long, value_name = "NAME")]
    pub only: Option<String>,
    /// Only these speeds of the scenario.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Only these headings of the scenario.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Runs the chosen cases; with an output folder, writes each first seed's history as CSV, and draws what was
/// ordered or broke in it and what followed.
///
/// # Errors
/// What is wrong with the scenario or its files; nothing left to run; a folder that cannot be
/// written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    let out = output::folder(&options.output)?;
    let selection = Selection {
        speeds_kn: options.speed.speed_kn.clone(),
        headings_deg: options.heading.heading_deg.clone(),
        law: options.only.clone(),
    };
    let stage = Stage::new(&bundle, cache)?;
    let total = compare::count(&stage, &selection);
    if total == 0 {
        return Err(nothing_left(&stage));
    }
    let progress = Progress::new(shell, total, "runs");
    let found = on_threads(None, || {
        compare::compare(&stage, &selection, &|| progress.step())
    })??;
    progress.finish();
    tell_warnings(&found, shell);
    if options.output.json {
        shell.json(&found)?;
    } else {
        print(&found, shell)?;
    }
    if let Some(dir) = &out {
        output::write_json(dir, "runs", &found)?;
        for r in &found.runs {
            if let Some(record) = &r.record {
                let name = history_name(r);
                write_history(&dir.join(&name), record)?;
                shell.talk(&format!("written: {}", dir.join(&name).display()));
                if stage.fault.is_some() {
                    draw_fault(dir, &name, &stage, &found, r, record)?;
                } else if !record.happenings.is_empty() {
                    let words = format!(
                        "{}, {} kn, waves to {} deg, {}",
                        found.craft, r.speed_kn, r.heading_deg, found.sea
                    );
                    let head = Heading::new(format!("Orders: {}", r.law), words, "");
                    let stem = name
                        .trim_end_matches(".csv")
                        .replacen("history", "orders", 1);
                    order_history(record, head).write(dir, &stem)?;
                }
            }
        }
    }
    shell.caution();
    Ok(if found.runs.iter().all(|r| r.completed) {
        Status::Met
    } else {
        Status::NotMet
    })
}

/// A run with faults, the same one without them behind.
fn draw_fault(
    dir: &Path,
    name: &str,
    stage: &Stage,
    found: &Comparison,
    r: &RunResult,
    record: &Record,
) -> Result<()> {
    let healthy = compare::again(stage, r, &[])?;
    let words = format!(
        "{}, {}; {} kn, waves to {} deg, {}, seed {}",
        found.craft, r.law, r.speed_kn, r.heading_deg, found.sea, r.seed
    );
    let title = stage.fault.as_ref().map_or("Fault", |f| &f.name);
    let mut letters = title.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    let title = format!("{}{}", first.unwrap_or_default(), letters.as_str());
    let head = Heading::new(title, words, "");
    let stem = name
        .trim_end_matches(".csv")
        .replacen("history", "fault", 1);
    fault_history(record, Some(&healthy.record), head).write(dir, &stem)?;
    Ok(())
}

fn nothing_left(stage: &Stage) -> Error {
    let laws: Vec<String> = stage
        .laws
        .iter()
        .map(|l| format!("`{}`", l.spec.name))
        .collect();
    Error::with_hint(
        "no case of the scenario has this speed, heading and law",
        format!(
            "speeds {:?} kn, headings {:?} deg, laws {}",
            stage.scenario.speeds_kn,
            stage.scenario.headings_deg,
            laws.join(", ")
        ),
    )
}

fn print(found: &Comparison, shell: &mut Shell) -> Result<()> {
    shell.data(&format!("{} in {}", found.craft, found.sea))?;
    for r in &found.runs {
        shell.data(&format!(
            "\n{} kn, waves to {} deg, seed {}, {}: {}",
            r.speed_kn, r.heading_deg, r.seed, r.law, r.outcome
        ))?;
        for h in &r.happenings {
            shell.data(&format!("  {:.1} s: {}", h.t_s, h.words))?;
        }
        if let Some(ride) = &r.ride {
            shell.data(&motions(ride))?;
            shell.data(&points(ride))?;
        }
    }
    Ok(())
}

fn motions(ride: &RideReport) -> String {
    let heads = [
        "motion",
        "unit",
        "RMS",
        "95 % interval",
        "significant",
        "max",
        "min",
    ];
    let rows = ride.motions.iter().map(|m| {
        let s = &m.stats;
        vec![
            if m.name == "heave" {
                "heave, up positive".to_owned()
            } else {
                m.name.clone()
            },
            m.unit.to_owned(),
            format!("{:.3}", s.rms.value),
            format!("{:.3} .. {:.3}", s.rms.low, s.rms.high),
            format!("{:.3}", s.significant.value),
            format!("{:.3}", s.max),
            format!("{:.3}", s.min),
        ]
    });
    table::table(heads, rows)
}

fn points(ride: &RideReport) -> String {
    let heads = [
        "point",
        "vert. acc.\nRMS m/s2",
        "lat. acc.\nRMS m/s2",
        "Wk vert.\nm/s2",
        "MSDV 2 h\nm/s1.5",
        "MSI 2 h\n%",
        "MII\n1/min",
    ];
    let rows = ride.points.iter().map(|p| {
        vec![
            p.name.clone(),
            format!("{:.3}", p.vertical_rms_m_s2.value),
            format!("{:.3}", p.lateral_rms_m_s2.value),
            format!("{:.3}", p.weighted_vertical_m_s2.value),
            format!("{:.2}", p.msdv_m_s1_5.value),
            format!("{:.2}", p.msi_1976_percent.value),
            format!("{:.2}", p.mii_per_min.value),
        ]
    });
    table::table(heads, rows)
}

/// File name of a run's history.
fn history_name(r: &RunResult) -> String {
    let law = file_word(&r.law);
    format!("history_{}kn_{}deg_{law}.csv", r.speed_kn, r.heading_deg)
}

/// Every column with its unit in the head, as CSV.
fn write_history(path: &Path, record: &Record) -> Result<()> {
    output::replace_with(path, |file| {
        let mut table = CsvTable::new(file, &export::history_columns(record))?;
        (0..record.len()).try_for_each(|i| table.put(&export::history_cells(record, i)))?;
        table.finish()
    })
}
