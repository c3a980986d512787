//! `detection`: how soon monitored laws find faults, how often they cry wolf, what recovery buys.

use std::path::{Path, PathBuf};

use super::args::OutputArgs;
use super::cmd_compare::on_threads;
use super::progress::Progress;
use super::shell::Shell;
use super::table::{fixed, table};
use super::{Status, output};
use crate::campaign::detection::{self, By, Detection, Faulty};
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
    /// Time of healthy running for each law, at least, in hours; by seas that are drawn anew.
    #[arg(long, value_name = "HOURS", default_value_t = 20.0, value_parser = hours)]
    pub healthy_h: f64,
    /// Threads to run cases on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

fn hours(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(h) if h > 0.0 && h <= 1e4 => Ok(h),
        _ => Err("must be a number of hours above 0, up to 10000".into()),
    }
}

/// Runs everything and tells it.
///
/// # Errors
/// What is wrong with the scenario or a fault; no law with a monitor.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    let out = output::folder(&options.output)?;
    let mut stage = Stage::new(&bundle, cache)?;
    stage.for_many_seas();
    let mut faults = Vec::new();
    for path in &options.fault {
        faults.extend(load_fault(path)?.spec.events.into_iter().map(|e| e.fault));
    }
    if faults.is_empty() && !options.healthy {
        faults = detection::single_faults(&stage);
    }
    let count = detection::count(&stage, &faults, options.healthy_h);
    let progress = Progress::new(shell, count, "runs");
    let found = on_threads(options.threads, || {
        detection::detect(&mut stage, &faults, options.healthy_h, &|| progress.step())
    })?
    .map_err(|e| e.in_file(&options.scenario))?;
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
            "\n{}, healthy: {} false alarms in {:.1} h, {:.3} per hour (95 %: {:.3} to {:.3}); thresholds set for {}",
            h.law, h.false_alarms, h.hours, p.value, p.low, p.high, h.set_for_per_h
        ))?;
        for (case, f) in &h.found {
            let (what, how) = (f.target.words(), f.kind.words());
            shell.data(&format!("  {case}: {what} {how} at {:.1} s", f.t_s))?;
        }
        let mine: Vec<&Faulty> = found.faulty.iter().filter(|f| f.law == h.law).collect();
        if mine.is_empty() {
            continue;
        }
        print_faults(&mine, shell)?;
    }
    Ok(())
}

fn print_faults(faults: &[&Faulty], shell: &mut Shell) -> Result<()> {
    let heads = [
        "fault",
        "runs",
        "false\nbefore",
        "missed\n%",
        "wrong\n%",
        "half by\ns",
        "9 of 10 by\ns",
    ];
    let percent = |i: &Interval| fixed(100.0 * i.value, 0);
    let rows = faults.iter().map(|f| {
        vec![
            f.fault.clone(),
            f.runs.to_string(),
            f.false_before.to_string(),
            percent(&f.missed),
            percent(&f.wrong),
            by(&f.time_50_s),
            by(&f.time_90_s),
        ]
    });
    shell.data(&table(heads, rows))?;
    let heads = [
        "what recovery buys",
        "ended early\nwith/without",
        "heave RMS\nm",
        "roll RMS\ndeg",
        "pitch RMS\ndeg",
    ];
    let moved = |f: &&&Faulty| {
        let mut rms = f.recovery.iter().filter_map(|g| g.rms);
        rms.any(|c| c.low < 0.0 || c.high > 0.0) || f.ended_early[0] != f.ended_early[1]
    };
    let rows = faults.iter().filter(moved).map(|f| {
        vec![
            f.fault.clone(),
            format!("{}/{}", f.ended_early[0], f.ended_early[1]),
            gain(f, "heave_up", 3),
            gain(f, "roll", 2),
            gain(f, "pitch", 2),
        ]
    });
    shell.data(&format!("\n{}", table(heads, rows)))?;
    shell.data(
        "  RMS about trim from the fault on: without recovery, then what recovery adds (95 %), paired runs that both \
         ended in time; faults that are not listed: no change; peaks stand in --json",
    )
}

fn by(t: &By) -> String {
    let Some(value) = t.value else {
        return "later".into();
    };
    let end = |v: Option<f64>| v.map_or_else(|| "later".into(), |v| fixed(v, 1));
    format!("{} ({} to {})", fixed(value, 1), end(t.low), end(t.high))
}

/// RMS without recovery and what recovery adds; nothing where it does nothing.
fn gain(f: &Faulty, motion: &str, digits: usize) -> String {
    let Some(g) = f.recovery.iter().find(|g| g.motion == motion) else {
        return String::new();
    };
    let told = |v: f64| if g.unit == "rad" { to_deg(v) } else { v };
    let without = fixed(told(g.rms_without), digits);
    match g.rms {
        Some(c) if c.low < 0.0 || c.high > 0.0 => format!(
            "{without} {:+.digits$} ({:+.digits$} to {:+.digits$})",
            told(c.value),
            told(c.low),
            told(c.high)
        ),
        _ => without,
    }
}
