//! `failures`: every single fault and chosen pairs, law by law, ranked by severity.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::OutputArgs;
use super::cmd_campaign::target;
use super::cmd_compare::on_threads;
use super::output::Head;
use super::progress::Progress;
use super::shell::Shell;
use super::table::{fixed, optional, table};
use super::{Status, output};
use crate::campaign::failures::journal::made_from;
use crate::campaign::failures::{Journal, LEVEL, Matrix, Row, Severity, count, matrix};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::math::stats::Interval;
use crate::report::failures::figure;
use crate::spec::validate::failures_bundle;

/// Options of `failures`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright failures scenarios/failures.json --seeds 1 --out out/failures\n\
                  With --out a stopped run loses no finished row: the same command goes on.\n\
                  Exit status 1 when a fault passes a limit before the craft has slowed down, or ends a run."
)]
pub struct Options {
    /// Failures file (`ridewright.failures/1`): its scenario, faults and limits.
    #[arg(value_name = "FAILURES.json")]
    pub failures: PathBuf,
    /// Seeds of each row, a count (no unit): the first of the scenario, and the numbers after its last when it has
    /// fewer; all of the scenario when absent.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=10_000))]
    pub seeds: Option<u16>,
    /// Only the law of this name, e.g. --only "modal PID".
    #[arg(long, value_name = "NAME")]
    pub only: Option<String>,
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
    #[serde(flatten)]
    head: Head,
    name: &'a str,
    level: f64,
    matrix: &'a Matrix,
}

/// Tries every fault.
///
/// # Errors
/// What is wrong with the files; a craft without trim; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let b = failures_bundle(&options.failures)?;
    let out = output::folder(&options.output)?;
    let mut stage = Stage::new(&b.scenario, cache)?;
    stage.for_many_seas();
    if let Some(only) = &options.only {
        stage.laws.retain(|l| l.spec.name == *only);
        if stage.laws.is_empty() {
            let told = format!("no law of the scenario is named `{only}`");
            return Err(Error::with_hint(told, "leave --only away to see all"));
        }
    }
    if let Some(n) = options.seeds {
        seeds(&mut stage.scenario.seeds, usize::from(n));
    }
    for w in &stage.model.warnings {
        shell.warn(w, None);
    }
    let spec = &b.failures.spec;
    let journal = out
        .as_deref()
        .map(|dir| Journal::open(dir, &made_from(&b, &stage.scenario.seeds, &target()?)))
        .transpose()?;
    if let Some(n) = journal.as_ref().map(Journal::read_back).filter(|n| *n > 0) {
        shell.talk(&format!("goes on: {n} rows were there"));
    }
    let progress = Progress::new(shell, count(&stage, spec), "rows");
    let found = on_threads(options.threads, || {
        matrix(&stage, spec, journal.as_ref(), &|| progress.step())
    })??;
    progress.finish();
    let told = Told {
        head: Head::new(&found.craft, &stage.model.warnings),
        name: &spec.name,
        level: LEVEL,
        matrix: &found,
    };
    if options.output.json {
        shell.json(&told)?;
    } else {
        print(&found, &spec.name, shell)?;
    }
    if let Some(dir) = &out {
        output::write_json(dir, "failures", &told)?;
        if let Some(f) = figure(&found, "Invented demonstration craft and sea.") {
            f.write(dir, "failures")?;
        }
        journal.map_or(Ok(()), Journal::finish)?;
        shell.talk(&format!(
            "\nwritten into {}: failures.json and a picture, as PNG and SVG",
            dir.display()
        ));
    }
    shell.caution();
    let worst = found.rows.first().map_or(Severity::None, |r| r.severity);
    Ok(if worst >= Severity::LimitPassed {
        Status::NotMet
    } else {
        Status::Met
    })
}

/// Exactly `n` seeds: those of the scenario, then the numbers after its greatest.
fn seeds(all: &mut Vec<u64>, n: usize) {
    let greatest = all.iter().copied().max().unwrap_or(0);
    let more = (1..).map(|k| greatest.saturating_add(k));
    let missing = n.saturating_sub(all.len());
    all.extend(more.take(missing));
    all.truncate(n);
}

const HEADS: [&str; 11] = [
    "severity, fault, law",
    "disk\n-",
    "down to\nkn",
    "slowed\ns",
    "too late\n%",
    "limit\ns",
    "passed\n%",
    "roll\ndeg",
    "pitch\ndeg",
    "contacts\n1/h",
    "settles\ns",
];

fn print(found: &Matrix, name: &str, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "{name}: {} in {}, {} seeds; times from the fault, limit: the soonest; largest roll and pitch before>after, \
         means over seeds; shares with their {:.0} % interval",
        found.craft,
        found.sea,
        found.seeds.len(),
        100.0 * LEVEL
    ))?;
    let mut last = None;
    let mut rows = Vec::new();
    let one = |of: fn(&Row) -> f64| {
        let first = found.rows.first().map_or(0.0, of);
        found.rows.iter().all(|r| of(r).total_cmp(&first).is_eq())
    };
    let is_one_place = one(|r| r.speed_kn) && one(|r| r.heading_deg);
    if let Some(r) = found.rows.first().filter(|_| is_one_place) {
        let (u, h) = (fixed(r.speed_kn, 1), fixed(r.heading_deg, 0));
        shell.data(&format!("{u} kn, waves travel to {h} deg"))?;
    }
    for r in &found.rows {
        if last != Some(r.severity) {
            let mut head = vec![String::new(); HEADS.len()];
            r.severity.words().clone_into(&mut head[0]);
            rows.push(head);
            last = Some(r.severity);
        }
        rows.push(row(r, is_one_place));
    }
    shell.data(&table(HEADS, rows))?;
    shell.data("\nWhy:")?;
    for r in found.rows.iter().filter(|r| !r.because.is_empty()) {
        shell.data(&format!(
            "  {}, {}, {:.0} kn, {:.0} deg: {}",
            r.fault, r.law, r.speed_kn, r.heading_deg, r.because
        ))?;
    }
    let before: usize = found.rows.iter().map(|r| r.ended_before_fault).sum();
    if before > 0 {
        shell.data(&format!(
            "\n{before} runs ended before their fault; they count for nothing."
        ))?;
    }
    let l = &found.limits;
    shell.data(&format!(
        "\nLimits: roll {} deg, pitch {} deg, vertical acceleration {} m/s2 at any instant; RMS roll {} deg, pitch {} deg, \
         vertical acceleration {} m/s2; {} contacts an hour; disk margin at least {}; ride worse from {:+.0} % RMS. Common practice, no source.",
        l.roll_deg,
        l.pitch_deg,
        l.vertical_m_s2,
        l.roll_rms_deg,
        l.pitch_rms_deg,
        l.vertical_rms_m_s2,
        l.contacts_per_h,
        l.disk_margin,
        100.0 * l.worse_frac
    ))
}

fn row(r: &Row, is_one_place: bool) -> Vec<String> {
    let none = || "-".to_owned();
    let disk = match &r.linear {
        Some(l) if !l.is_stable => "unstable".to_owned(),
        Some(l) => optional(l.disk, 2),
        None => none(),
    };
    let down = match (&r.come_down.fails, r.come_down.speed_kn) {
        (None, _) => none(),
        (Some(_), Some(v)) => fixed(v, 1),
        (Some(_), None) => "none".to_owned(),
    };
    let slow = r.slow_down.as_ref();
    let calm = || r.slowed_in_calm_s.map(|t| format!("{} calm", fixed(t, 0)));
    let slowed = slow.map(|s| fixed(s.slowed_after_s.value, 0)).or_else(calm);
    let settles = match r.spread.settled_runs {
        0 => none(),
        n => {
            let (t, of) = (fixed(r.spread.settles_after_s.value, 0), r.runs.len());
            if n < of { format!("{t} ({n}/{of})") } else { t }
        }
    };
    let pair = |a: f64, b: f64| format!("{}>{}", fixed(a, 1), fixed(b, 1));
    let mut name = format!("\u{a0}{}, {}", r.fault, r.law);
    if !is_one_place {
        let _ = write!(name, ", {:.0} kn, {:.0} deg", r.speed_kn, r.heading_deg);
    }
    let s = &r.spread;
    vec![
        name,
        disk,
        down,
        slowed.unwrap_or_else(none),
        slow.map_or_else(none, |s| share(&s.too_late)),
        optional(r.limit.as_ref().map(|l| l.after_s), 0),
        share(&r.passes_limit),
        pair(s.roll_before_deg.value, s.roll_after_deg.value),
        pair(s.pitch_before_deg.value, s.pitch_after_deg.value),
        fixed(s.contacts_after_per_h.value, 1),
        settles,
    ]
}

/// A share in percent with its interval.
fn share(i: &Interval) -> String {
    let percent = |v: f64| fixed(100.0 * v, 0);
    let (v, low, high) = (percent(i.value), percent(i.low), percent(i.high));
    format!("{v} ({low}-{high})")
}
