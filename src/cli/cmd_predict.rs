//! `predict`: the ride of a scenario without simulation, and how far simulation agrees.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::agreement;
use super::args::{HeadingArgs, OutputArgs, SpeedArgs};
use super::cmd_compare::{heading_word, point_of};
use super::progress::Progress;
use super::shell::Shell;
use super::{Status, output, table};
use crate::campaign::agreement::{self as pairs, Agreement, Effort};
use crate::campaign::compare::Selection;
use crate::campaign::prediction::{PredictedCell, Prediction, predict};
use crate::campaign::stage::Stage;
use crate::error::{Error, Result};
use crate::metrics::forecast::{EventForecast, PointForecast};
use crate::report::prediction::figures;
use crate::spec::validate::bundle;

/// Options of `predict`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright predict scenarios/demo.json --out out/predict\n\
                  Example: ridewright predict scenarios/agreement_0m6.json scenarios/agreement_1m25.json \
                  --against-simulation --markdown controllers/AGREEMENT.md\n\
                  The first controller of the scenario is the baseline of all percentages."
)]
pub struct Options {
    /// Scenario files (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json", required = true)]
    pub scenarios: Vec<PathBuf>,
    /// Only the law of this name, e.g. --only "modal PID".
    #[arg(long, value_name = "NAME")]
    pub only: Option<String>,
    /// Only these speeds of the scenario.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Only these headings of the scenario.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Simulate every case too, with linear and with full restoring, on the same waves as linear records,
    /// and tell how far both agree. Takes about a second a record.
    #[arg(long)]
    pub against_simulation: bool,
    /// Records of each case at most in that comparison, a count (no unit); it stops earlier when all
    /// differences are known to 1 %.
    #[arg(long, value_name = "COUNT", default_value_t = 32, value_parser = clap::value_parser!(u16).range(2..=1000))]
    pub records: u16,
    /// Markdown file whose table of agreement to make anew, e.g. --markdown controllers/AGREEMENT.md.
    #[arg(long, value_name = "FILE.md", requires = "against_simulation")]
    pub markdown: Option<PathBuf>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// What the verb tells as JSON.
#[derive(Debug, Serialize)]
struct Told<'a> {
    predictions: &'a [Prediction],
    agreements: &'a [Agreement],
    caution: &'static str,
}

/// Predicts every scenario.
///
/// # Errors
/// What is wrong with a scenario or its files; nothing left to predict; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let selection = Selection {
        speeds_kn: options.speed.speed_kn.clone(),
        headings_deg: options.heading.heading_deg.clone(),
        law: options.only.clone(),
    };
    let (mut predictions, mut agreements) = (Vec::new(), Vec::new());
    for path in &options.scenarios {
        let bundle = bundle(path)?;
        shell.warn_of_fault(&bundle);
        let stage = Stage::new(&bundle, cache)?;
        for w in &stage.model.warnings {
            shell.warn(w, None);
        }
        let found = predict(&stage, &selection, &point_of(&stage))?;
        for why in &found.refused {
            shell.warn(why, Some("left out here; `compare` simulates it"));
        }
        if found.cells.is_empty() {
            return Err(Error::with_hint(
                "nothing is left to predict at this speed, heading and law",
                "leave --speed-kn, --heading-deg and --only away to see all",
            ));
        }
        if !options.output.json {
            print(&found, shell)?;
        }
        if options.against_simulation {
            let effort = Effort {
                most: usize::from(options.records),
                ..Effort::default()
            };
            let total = pairs::count(&bundle, &selection);
            let progress = Progress::new(shell, total, "cases");
            let a = pairs::agree(&bundle, cache, &selection, &effort, &|| progress.step())?;
            progress.finish();
            if !options.output.json {
                shell.data(&agreement::tables(&a))?;
            }
            agreements.push(a);
        }
        predictions.push(found);
    }
    if options.output.json {
        shell.json(&Told {
            predictions: &predictions,
            agreements: &agreements,
            caution: crate::caution::CAUTION,
        })?;
    } else if !agreements.is_empty() {
        shell.data(&agreement::summary(&agreements))?;
    }
    if let Some(file) = &options.markdown {
        agreement::renew(file, &agreements)?;
        shell.talk(&format!(
            "table of agreement made anew in {}",
            file.display()
        ));
    }
    if let Some(dir) = &out {
        let told = Told {
            predictions: &predictions,
            agreements: &agreements,
            caution: crate::caution::CAUTION,
        };
        output::write_json(dir, "prediction", &told)?;
        let n = draw(&predictions, dir)?;
        shell.talk(&format!(
            "\nwritten into {}: prediction.json and {n} pictures, each as PNG and SVG",
            dir.display()
        ));
    }
    shell.caution();
    let is_met = predictions.iter().flat_map(|p| &p.cells).all(|c| c.trusted)
        && agreements.iter().all(Agreement::met);
    Ok(if is_met { Status::Met } else { Status::NotMet })
}

fn draw(predictions: &[Prediction], dir: &Path) -> Result<usize> {
    let words = |deg: f64| format!("{} {deg:.0}°", heading_word(deg));
    let mut n = 0;
    for (k, p) in predictions.iter().enumerate() {
        let figures = figures(p, &words);
        figures
            .par_iter()
            .map(|(stem, f)| {
                let stem = if k == 0 {
                    stem.clone()
                } else {
                    format!("{stem}_{}", k + 1)
                };
                f.write(dir, &stem).map(|_| ())
            })
            .collect::<Result<()>>()?;
        n += figures.len();
    }
    Ok(n)
}

const HEADS: [&str; 8] = [
    "waves, law",
    "heave\nm",
    "pitch\ndeg",
    "roll\ndeg",
    "bridge\nm/s2",
    "MSI\n%",
    "contact\n1/h",
    "fins\ndeg",
];

fn print(found: &Prediction, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "{} in {}: spectral method, second order in the waves",
        found.craft, found.sea
    ))?;
    let mut speeds: Vec<f64> = found.cells.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed in speeds {
        shell.data(&format!(
            "\n{speed:.0} kn: RMS, change against `{}`; {}: vertical acceleration; ! do not trust, see below",
            found.laws[0], found.point
        ))?;
        let here: Vec<&PredictedCell> = found
            .cells
            .iter()
            .filter(|c| c.speed_kn.total_cmp(&speed).is_eq())
            .collect();
        let mut rows = Vec::new();
        for cells in here.chunks(found.laws.len()) {
            let d = cells[0].heading_deg;
            let mut head = vec![String::new(); HEADS.len()];
            head[0] = format!("{}\u{a0}{d:.0}°", heading_word(d));
            rows.push(head);
            rows.extend(cells.iter().map(|c| row(c, cells[0], &found.point)));
        }
        shell.data(&table::table(HEADS, rows))?;
        for c in here {
            for doubt in &c.doubts {
                shell.data(&format!("  {:.0} deg, {}: {doubt}", c.heading_deg, c.law))?;
            }
        }
    }
    Ok(())
}

fn row(cell: &PredictedCell, base: &PredictedCell, point: &str) -> Vec<String> {
    let mark = if cell.trusted { "" } else { "\u{a0}!" };
    let mut row = vec![format!("\u{a0}{}{mark}", cell.law.replace(' ', "\u{a0}"))];
    let Some(ride) = &cell.ride else {
        row.push("unstable".to_owned());
        row.resize(HEADS.len(), String::new());
        return row;
    };
    let motion = |name: &'static str| (cell.motion(name), base.motion(name));
    for (value, before) in [
        motion("heave"),
        motion("pitch"),
        motion("roll"),
        (cell.vertical(point), base.vertical(point)),
    ] {
        row.push(with_change(value, before));
    }
    let at = ride
        .points
        .iter()
        .find(|p: &&PointForecast| p.name == point);
    row.push(table::optional(at.map(|p| p.msi_1976_percent), 3));
    let under: Option<&EventForecast> = ride.events.iter().find(|e| e.name == "cross-structure");
    row.push(table::optional(under.map(|e| e.rate_per_h), 3));
    row.push(table::optional(cell.fins_deg(), 2));
    row
}

/// Baseline below which a change says nothing: the noise of sensors moves the craft as much, m, deg or m/s2.
const LEAST_BASE: f64 = 5e-3;

/// Value and its change; none where the baseline has no ride or hardly any motion.
fn with_change(value: Option<f64>, before: Option<f64>) -> String {
    let Some(v) = value else {
        return "-".to_owned();
    };
    match before {
        Some(b) if b > LEAST_BASE && v.total_cmp(&b).is_ne() => {
            format!("{v:.3} {:+.0}%", 100.0 * (v / b - 1.0))
        }
        _ => table::fixed(v, 3),
    }
}
