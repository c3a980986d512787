//! `detection`: how soon monitored laws find faults, how often they cry wolf, what recovery buys.

use std::path::{Path, PathBuf};

use super::args::OutputArgs;
use super::cmd_compare::on_threads;
use super::progress::Progress;
use super::shell::Shell;
use super::table::{fixed, optional, table};
use super::{Status, output};
use crate::campaign::detection::{self, Detection, Faulty, Gain};
use crate::campaign::stage::Stage;
use crate::error::Result;
use crate::math::stats::Interval;
use crate::report::detection::detection_picture;
use crate::spec::load::load_fault;
use crate::spec::validate::bundle;
use crate::units::to_deg;

/// Options of `detection`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright detection scenarios/detection.json --out out/detection\n\
                  Every law of the scenario with a `monitor` block: healthy, then with single faults that start at \
                  random after the run-in, with and without recovery on the same seas."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Fault file (`ridewright.fault/1`) whose faults to try one by one, their times left aside; may be given several
    /// times, e.g. --fault scenarios/fault/jammed_fin.json; a list of single faults of the craft when absent.
    #[arg(long, value_name = "FAULT.json")]
    pub fault: Vec<PathBuf>,
    /// Run healthy only: false alarms and nothing else.
    #[arg(long)]
    pub healthy: bool,
    /// Threads to run cases on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Runs everything and tells it.
///
/// # Errors
/// What is wrong with the scenario or a fault; no law with a monitor.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    let out = output::folder(&options.output)?;
    let stage = Stage::new(&bundle, cache)?;
    let mut faults = Vec::new();
    for path in &options.fault {
        faults.extend(load_fault(path)?.spec.events.into_iter().map(|e| e.fault));
    }
    if faults.is_empty() && !options.healthy {
        faults = detection::single_faults(&stage);
    }
    let progress = Progress::new(shell, detection::count(&stage, &faults), "runs");
    let found = on_threads(options.threads, || {
        detection::detect(&stage, &faults, &|| progress.step())
    })??;
    progress.finish();
    if options.output.json {
        shell.json(&found)?;
    } else {
        print(&found, shell)?;
    }
    if let Some(dir) = &out {
        output::write_json(dir, "detection", &found)?;
        if !found.faulty.is_empty() {
            detection_picture(&found).write(dir, "detection")?;
        }
        shell.talk(&format!("\nwritten into {}", dir.display()));
    }
    shell.caution();
    Ok(Status::Met)
}

fn print(found: &Detection, shell: &mut Shell) -> Result<()> {
    shell.data(&format!("{} in {}", found.craft, found.sea))?;
    for h in &found.healthy {
        let p = &h.per_h;
        shell.data(&format!(
            "\n{}, healthy: {} false alarms in {:.1} h, {:.3} per hour (95 %: {:.3} to {:.3})",
            h.law, h.false_alarms, h.hours, p.value, p.low, p.high
        ))?;
        for (case, f) in &h.found {
            let (what, how) = (f.target.words(), f.kind.words());
            shell.data(&format!("  {case}: {what} {how} at {:.1} s", f.t_s))?;
        }
        let mine: Vec<&Faulty> = found.faulty.iter().filter(|f| f.law == h.law).collect();
        if mine.is_empty() {
            continue;
        }
        let heads = [
            "fault",
            "runs",
            "false\nbefore",
            "missed\n%",
            "wrong\n%",
            "half by\ns",
            "9 of 10 by\ns",
            "ended early\nwith/without",
            "roll peak\ndeg",
            "pitch peak\ndeg",
            "pitch RMS\ndeg",
        ];
        shell.data(&table(heads, mine.iter().map(|f| row(f))))?;
        shell.data(
            "  peaks and RMS: without recovery, then what recovery adds, 95 % interval; paired runs that both ended in time",
        )?;
    }
    Ok(())
}

fn row(f: &Faulty) -> Vec<String> {
    let percent = |i: &Interval| fixed(100.0 * i.value, 0);
    let gain = |motion: &str, of: fn(&Gain) -> (f64, Option<Interval>)| {
        let Some(g) = f.recovery.iter().find(|g| g.motion == motion) else {
            return String::new();
        };
        let (without, change) = of(g);
        let change = change.map_or_else(String::new, |c| {
            format!(
                " {:+.2} ({:+.2} to {:+.2})",
                to_deg(c.value),
                to_deg(c.low),
                to_deg(c.high)
            )
        });
        format!("{:.2}{change}", to_deg(without))
    };
    vec![
        f.fault.clone(),
        f.runs.to_string(),
        f.false_before.to_string(),
        percent(&f.missed),
        percent(&f.wrong),
        optional(f.time_50_s, 1),
        optional(f.time_90_s, 1),
        format!("{}/{}", f.ended_early[0], f.ended_early[1]),
        gain("roll", |g| (g.peak_without, g.peak)),
        gain("pitch", |g| (g.peak_without, g.peak)),
        gain("pitch", |g| (g.rms_without, g.rms)),
    ]
}
