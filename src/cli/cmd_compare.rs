//! `compare`: all laws of a scenario against its first, numbers and pictures.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::args::OutputArgs;
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, designs, judgements, output, table};
use crate::campaign::compare::{self, Cell, Comparison, Selection};
use crate::campaign::criteria::{JudgedCell, judge_all};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::metrics::compare::NoPercentage;
use crate::metrics::pool::Quantity;
use crate::report::chart::Heading;
use crate::report::comparison::figures;
use crate::report::craft_views::craft_views;
use crate::spec::load::load_criteria;
use crate::spec::validate::bundle;

/// Options of `compare`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright compare scenarios/demo.json --out out/demo\n\
                  The first controller of the scenario is the baseline of all percentages."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Threads to run cases on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Criteria file (`ridewright.criteria/1`) to judge every case by; may be given several times, e.g.
    /// --criteria scenarios/criteria/survey_work.json.
    #[arg(long, value_name = "CRITERIA.json")]
    pub criteria: Vec<PathBuf>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Runs the scenario and tells what came out.
///
/// # Errors
/// What is wrong with the scenario or its files; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    let sets = options
        .criteria
        .iter()
        .map(|path| load_criteria(path).map(|l| l.spec))
        .collect::<Result<Vec<_>>>()?;
    let out = output::folder(&options.output)?;
    let stage = Stage::new(&bundle, cache)?;
    for w in &stage.model.warnings {
        shell.warn(w, None);
    }
    let selection = Selection::default();
    let progress = Progress::new(shell, compare::count(&stage, &selection), "runs");
    let mut found = on_threads(options.threads, || {
        compare::compare(&stage, &selection, &|| progress.step())
    })??;
    progress.finish();
    found.judgements = judge_all(&found.cells, &sets);
    tell_warnings(&found, shell);
    if options.output.json {
        shell.json(&found)?;
    } else {
        print(&found, shell)?;
        judgements::print(&found.judgements, found.cells.len(), shell)?;
    }
    if let Some(dir) = &out {
        output::write_json(dir, "comparison", &found)?;
        let n = draw(&stage, &found, dir)?;
        shell.talk(&format!(
            "\nwritten into {}: comparison.json and {n} pictures, each as PNG and SVG",
            dir.display()
        ));
    }
    shell.caution();
    let is_met =
        found.cells.iter().all(|c| c.completed) && found.judgements.iter().all(JudgedCell::met);
    Ok(if is_met { Status::Met } else { Status::NotMet })
}

/// The point at which acceleration is told and drawn: the bridge where there is one.
pub(super) fn point_of(stage: &Stage) -> String {
    let points = &stage.model.craft.points;
    let bridge = points
        .iter()
        .find(|p| p.0 == "bridge")
        .or_else(|| points.first());
    bridge.map_or_else(String::new, |p| p.0.clone())
}

/// Draws the craft and the comparison; returns how many pictures.
fn draw(stage: &Stage, found: &Comparison, dir: &Path) -> Result<usize> {
    let craft = &stage.model.craft;
    let heading = Heading::new(
        &craft.spec.name,
        "Plan, profile and section",
        &craft.spec.note,
    );
    craft_views(craft, &stage.model.surfaces, heading).write(dir, "craft")?;
    let words = |deg: f64| format!("{} {deg:.0}°", heading_word(deg));
    let figures = figures(found, &point_of(stage), &words);
    figures
        .par_iter()
        .map(|(stem, f)| f.write(dir, stem).map(|_| ()))
        .collect::<Result<()>>()?;
    Ok(1 + figures.len())
}

/// Runs `work` on the number of threads asked for.
pub(super) fn on_threads<T: Send>(
    threads: Option<u16>,
    work: impl FnOnce() -> T + Send,
) -> Result<T> {
    let mut builder = rayon::ThreadPoolBuilder::new();
    if let Some(n) = threads {
        builder = builder.num_threads(usize::from(n));
    }
    let pool = builder
        .build()
        .map_err(|e| Error::new(format!("cannot start threads: {e}")))?;
    Ok(pool.install(work))
}

/// Each kind of warning once, with how many runs gave it; kinds differ in their first words,
/// numbers apart.
pub(super) fn tell_warnings(found: &Comparison, shell: &mut Shell) {
    let kind = |text: &str| {
        text.chars()
            .filter(|c| !c.is_ascii_digit() && *c != '.')
            .take(24)
            .collect::<String>()
    };
    let mut seen: Vec<(String, usize)> = Vec::new();
    for text in found.runs.iter().flat_map(|r| &r.warnings) {
        match seen.iter_mut().find(|s| kind(&s.0) == kind(text)) {
            Some(s) => s.1 += 1,
            None => seen.push((text.clone(), 1)),
        }
    }
    for (text, n) in seen {
        shell.warn(&format!("{text} ({n} of {} runs)", found.runs.len()), None);
    }
}

/// The columns of the table: quantity, of what, head.
const COLUMNS: [(Quantity, &str, &str); 7] = [
    (Quantity::MotionRms, "heave", "heave\nm"),
    (Quantity::MotionRms, "pitch", "pitch\ndeg"),
    (Quantity::MotionRms, "roll", "roll\ndeg"),
    (Quantity::VerticalRms, "bridge", "bridge\nm/s2"),
    (Quantity::Msi1976, "bridge", "MSI\n%"),
    (Quantity::EventRate, "cross-structure", "contact\n1/h"),
    (Quantity::SurfaceRms, "", "fins\ndeg"),
];

fn print(found: &Comparison, shell: &mut Shell) -> Result<()> {
    shell.data(&format!("{} in {}", found.craft, found.sea))?;
    let mut speeds: Vec<f64> = found.cells.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed in speeds {
        shell.data(&format!(
            "\n{speed:.0} kn: RMS over the judged record, change against `{}`; bridge: vertical \
                 acceleration",
            found.laws[0]
        ))?;
        let mut heads = vec!["waves, law".to_owned()];
        heads.extend(COLUMNS.iter().map(|c| c.2.to_owned()));
        let mut rows = Vec::new();
        let here = found
            .cells
            .iter()
            .filter(|c| c.speed_kn.total_cmp(&speed).is_eq());
        for (i, cell) in here.enumerate() {
            if i % found.laws.len() == 0 {
                let d = cell.heading_deg;
                let mut head = vec![String::new(); 1 + COLUMNS.len()];
                head[0] = format!("{}\u{a0}{d:.0}°", heading_word(d));
                rows.push(head);
            }
            rows.push(row(cell));
        }
        shell.data(&table::table(heads, rows))?;
        tell_endings(found, speed, shell)?;
    }
    designs::print(&found.designs, shell)
}

/// Runs that ended before their time, and cells without a percentage, in words.
fn tell_endings(found: &Comparison, speed: f64, shell: &mut Shell) -> Result<()> {
    for c in found
        .cells
        .iter()
        .filter(|c| c.speed_kn.total_cmp(&speed).is_eq())
    {
        for e in &c.endings {
            shell.data(&format!("  {:.0} deg, {}: {e}", c.heading_deg, c.law))?;
        }
        let why = c.changes.iter().find_map(|x| x.no_percentage);
        let outside = why.filter(|w| *w != NoPercentage::BaselineZero);
        if let Some(why) = outside.filter(|_| c.law != found.laws[0] && c.completed) {
            shell.data(&format!(
                "  {:.0} deg, {}: no percentage ({})",
                c.heading_deg,
                c.law,
                why.words()
            ))?;
        }
    }
    Ok(())
}

/// The trade's word for a wave heading (where the waves travel to).
pub(super) fn heading_word(deg: f64) -> &'static str {
    match (180.0 - (deg.rem_euclid(360.0) - 180.0).abs()).round() as i64 {
        0..=20 => "following",
        21..=69 => "quartering",
        70..=110 => "beam",
        111..=159 => "bow",
        _ => "head",
    }
}

fn row(cell: &Cell) -> Vec<String> {
    let mut row = vec![format!("\u{a0}{}", cell.law.replace(' ', "\u{a0}"))];
    for (quantity, of, _) in COLUMNS {
        row.push(entry(cell, quantity, of));
    }
    row
}

fn entry(cell: &Cell, quantity: Quantity, of: &str) -> String {
    if quantity == Quantity::SurfaceRms {
        return fins(cell);
    }
    let Some(change) = cell
        .changes
        .iter()
        .find(|c| c.entry.quantity == quantity && c.entry.of == of)
    else {
        return "run ended".to_owned();
    };
    let value = format!("{:.3}", change.entry.value.value);
    let is_motion = matches!(quantity, Quantity::MotionRms | Quantity::VerticalRms);
    match change.change_percent {
        Some(p) if is_motion && p != 0.0 => format!("{value} {p:+.0}%"),
        _ => value,
    }
}

/// Largest RMS deflection among the surfaces that the law moves, rudders apart.
fn fins(cell: &Cell) -> String {
    let Some(numbers) = &cell.numbers else {
        return String::new();
    };
    let most = numbers
        .entries
        .iter()
        .filter(|e| e.quantity == Quantity::SurfaceRms && !e.of.contains("rudder"))
        .map(|e| e.value.value)
        .fold(0.0, f64::max);
    format!("{most:.2}")
}
