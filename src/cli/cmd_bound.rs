//! `bound`: the least ride that any causal linear law could reach, and how far each law is from it.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;

use super::args::{HeadingArgs, OutputArgs, SpeedArgs};
use super::cmd_response::sea_word;
use super::output::{self, Head};
use super::progress::Progress;
use super::shell::Shell;
use super::table::{fixed, significant, table};
use super::{Status, pictures};
use crate::campaign::stage::Stage;
use crate::closed_loop::at_sea::DragModel;
use crate::closed_loop::at_speed::AtSpeed;
use crate::closed_loop::bound::craft::{self as bounds, Found, Quantity, TOGETHER};
use crate::closed_loop::bound::grid;
use crate::closed_loop::bound::study::{Bound, SETTLED};
use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::output::Output;
use crate::control::linear::LinearLaw;
use crate::error::{Error, Result};
use crate::spec::validate::bundle;
use crate::units::{deg, kn, to_deg};

/// Share of time on the limits above which a law's linear place is doubted.
const LIMITED: f64 = 0.05;

/// Options of `bound`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright bound scenarios/demo.json --speed-kn 16 --heading-deg 180 --out out/bound\n\
                  All numbers are of the linear model: no limits, drag as with fins at trim."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Speeds; those of the scenario when absent.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Headings; those of the scenario when absent.
    #[command(flatten)]
    pub heading: HeadingArgs,
    /// Weights of the quantities in the ride "all together", numbers (no unit) in the order heave,
    /// pitch, roll, then vertical acceleration at the craft's points, e.g. --weights 0,0,1,1; those left
    /// out count 1.
    #[arg(long, value_name = "W", value_delimiter = ',', value_parser = weight)]
    pub weights: Vec<f64>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

fn weight(text: &str) -> std::result::Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if (0.0..=1e6).contains(&v) => Ok(v),
        Ok(v) => Err(format!("is {v}, must lie between 0 and 1e6")),
        Err(_) => Err("is no number".to_owned()),
    }
}

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    head: Head,
    scenario: String,
    pub(super) sea: String,
    meaning: &'static str,
    pub(super) cases: Vec<Case>,
}

/// What the numbers mean, once.
const MEANING: &str = "least RMS of any causal linear law with the craft's own sensors, their noise, filters \
and delays, the sampling and the servos, in this sea, at this speed and heading, at the same fin RMS angle \
and rate; linear model, no limits, drag as with fins fixed. No law can beat it; no law is promised to \
reach it: it has no margins and knows one sea only";

/// One speed and heading.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Case {
    pub(super) speed_kn: f64,
    pub(super) heading_deg: f64,
    /// Laws and what their fins do.
    pub(super) laws: Vec<LawRow>,
    pub(super) rides: Vec<RideRow>,
    /// Quantities that this sea does not move.
    still: Vec<String>,
    /// Laws whose loop is not stable here.
    unstable: Vec<String>,
    /// Law around which the best is sought; null when the craft is stable by itself.
    held_by: Option<String>,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct LawRow {
    pub(super) law: String,
    pub(super) fin_rms_deg: f64,
    pub(super) fin_rate_rms_deg_s: f64,
    /// Largest share of time that a fin would be on a limit.
    limit_share: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct RideRow {
    pub(super) quantity: String,
    pub(super) unit: &'static str,
    pub(super) fins_fixed_rms: Option<f64>,
    pub(super) curve: Vec<CurveRow>,
    pub(super) laws: Vec<PlacedRow>,
    /// Functions of the law sought, and the bound at the busiest law's fin RMS angle with them.
    functions: Vec<(usize, f64)>,
    /// What the last step lowered the bound by, %.
    last_step_percent: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct CurveRow {
    pub(super) fin_rms_deg: f64,
    pub(super) fin_rate_rms_deg_s: f64,
    pub(super) least_rms: f64,
    pub(super) every_wave_known_rms: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct PlacedRow {
    pub(super) law: String,
    pub(super) rms: f64,
    pub(super) least_rms: f64,
    pub(super) every_wave_known_rms: f64,
    pub(super) above_least_percent: f64,
}

/// Prints the bounds.
///
/// # Errors
/// What is wrong with the scenario or its files; a craft that no law of the scenario holds.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let bundle = bundle(&options.scenario)?;
    shell.warn_of_fault(&bundle);
    let out = output::folder(&options.output)?;
    let stage = Stage::new(&bundle, cache)?;
    for w in &stage.model.warnings {
        shell.warn(w, None);
    }
    let speeds = chosen(&options.speed.speed_kn, &stage.scenario.speeds_kn);
    let headings = chosen(&options.heading.heading_deg, &stage.scenario.headings_deg);
    let progress = Progress::new(shell, speeds.len() * headings.len(), "speeds and headings");
    let mut cases = Vec::new();
    let mut words = Vec::new();
    for &speed_kn in &speeds {
        let (speed, laws) = prepare(&stage, speed_kn, &mut words)?;
        for &heading_deg in &headings {
            let sea = speed.at_sea(
                &stage.sea,
                &stage.sea_folder,
                deg(heading_deg),
                &grid::fineness(&stage.sea, 1),
                DragModel::Gaussian,
            )?;
            let quantities = quantities(&speed.craft);
            let mut together = options.weights.clone();
            together.resize(quantities.len().max(together.len()), 1.0);
            let found = bounds::bounds(
                &sea,
                &quantities,
                &laws,
                &bounds::Options {
                    noise: stage.scenario.physics.sensor_errors,
                    together,
                    ..bounds::Options::default()
                },
            )?;
            doubts(&found, speed_kn, heading_deg, &mut words);
            cases.push(case(&found, speed_kn, heading_deg));
            progress.step();
        }
    }
    progress.finish();
    words.dedup();
    for text in &words {
        shell.warn(text, None);
    }
    words.extend(stage.model.warnings.iter().cloned());
    let report = Report {
        head: Head::new(&stage.model.craft.spec.name, &words),
        scenario: stage.scenario.name.clone(),
        sea: stage.sea.name.clone(),
        meaning: MEANING,
        cases,
    };
    output::tell(shell, &options.output, "bound", &report, || tables(&report))?;
    if let Some(dir) = out {
        pictures::bound(&stage.model.craft, &report, &dir, shell)?;
    }
    Ok(Status::Met)
}

fn chosen(asked: &[f64], all: &[f64]) -> Vec<f64> {
    if asked.is_empty() { all } else { asked }.to_vec()
}

/// Laws by name.
type Laws = Vec<(String, LinearLaw)>;

/// The craft at a speed, with the laws that have a linear form.
fn prepare(stage: &Stage, speed_kn: f64, words: &mut Vec<String>) -> Result<(Arc<AtSpeed>, Laws)> {
    let craft = LoopCraft::new(&stage.model, kn(speed_kn), &stage.scenario.course)?;
    let mut laws = Vec::new();
    for plan in &stage.laws {
        let mut law = plan.make()?;
        let name = law.info().name;
        law.reset(&craft.setup)?;
        match law.linear() {
            Ok(linear) => laws.push((name, linear)),
            Err(e) => words.push(format!("`{name}` is not placed: {}", first_line(&e))),
        }
    }
    let linear: Vec<LinearLaw> = laws.iter().map(|l| l.1.clone()).collect();
    let (channels, signals) = bounds::ports(&craft, &linear);
    let speed = AtSpeed::new(Arc::new(craft), &channels, &signals)?;
    Ok((Arc::new(speed), laws))
}

fn first_line(e: &Error) -> String {
    e.to_string().lines().next().unwrap_or_default().to_owned()
}

/// Heave, pitch, roll, vertical acceleration at the craft's points.
fn quantities(craft: &LoopCraft) -> Vec<Quantity> {
    let one = |name: &str, output| Quantity {
        name: name.to_owned(),
        parts: vec![(output, 1.0)],
    };
    let mut out = vec![
        one("heave", Output::Motion(2)),
        one("pitch", Output::Motion(4)),
        one("roll", Output::Motion(3)),
    ];
    out.extend(craft.points.iter().map(|p| {
        let name = format!("{}, vertical acceleration", p.name);
        one(&name, Output::Vertical { r_m: p.r_m })
    }));
    out
}

fn unit(quantity: &str) -> (&'static str, f64) {
    match quantity {
        "heave" => ("m", 1.0),
        "pitch" | "roll" => ("deg", to_deg(1.0)),
        TOGETHER => ("", 1.0),
        _ => ("m/s2", 1.0),
    }
}

/// What to say of the laws and of the search.
fn doubts(found: &Found, speed_kn: f64, heading_deg: f64, words: &mut Vec<String>) {
    let at = format!("at {speed_kn} kn, {heading_deg} deg");
    for law in &found.laws {
        if law.limit_share > LIMITED {
            words.push(format!(
                "{at}, `{}` would be on a limit {:.0} % of the time: its linear place is too good",
                law.law,
                100.0 * law.limit_share
            ));
        }
    }
    for law in &found.unstable {
        words.push(format!("{at}, `{law}` is not stable and has no place"));
    }
    for b in &found.bounds {
        if !b.settled() {
            words.push(format!(
                "{at}, the bound of {} still fell by {:.1} % with the last step: the true one lies lower",
                b.name,
                100.0 * b.last_step()
            ));
        }
        for law in b.laws.iter().filter(|l| l.distance < -0.5 * SETTLED) {
            words.push(format!(
                "{at}, `{}` lies {:.1} % below the bound of {}: the bound is not exact here",
                law.name,
                -100.0 * law.distance,
                b.name
            ));
        }
    }
}

fn case(found: &Found, speed_kn: f64, heading_deg: f64) -> Case {
    Case {
        speed_kn,
        heading_deg,
        laws: found
            .laws
            .iter()
            .map(|l| LawRow {
                law: l.law.clone(),
                fin_rms_deg: to_deg(l.angle_rad),
                fin_rate_rms_deg_s: to_deg(l.rate_rad_s),
                limit_share: l.limit_share,
            })
            .collect(),
        rides: found.bounds.iter().map(ride).collect(),
        still: found.still.clone(),
        unstable: found.unstable.clone(),
        held_by: found.nominal.clone(),
    }
}

fn ride(b: &Bound) -> RideRow {
    let (unit, k) = unit(&b.name);
    RideRow {
        quantity: b.name.clone(),
        unit,
        fins_fixed_rms: b.fixed.map(|v| k * v),
        curve: b
            .curve
            .iter()
            .map(|p| CurveRow {
                fin_rms_deg: to_deg(p.angle_rad),
                fin_rate_rms_deg_s: to_deg(p.rate_rad_s),
                least_rms: k * p.least,
                every_wave_known_rms: k * p.foreknown,
            })
            .collect(),
        laws: b
            .laws
            .iter()
            .map(|l| PlacedRow {
                law: l.name.clone(),
                rms: k * l.ride,
                least_rms: k * l.place.least,
                every_wave_known_rms: k * l.place.foreknown,
                above_least_percent: 100.0 * l.distance,
            })
            .collect(),
        functions: b.steps.iter().map(|(n, v)| (*n, k * v)).collect(),
        last_step_percent: 100.0 * b.last_step(),
    }
}

fn tables(report: &Report) -> String {
    let mut text = format!(
        "Least reachable ride: {}, {}\n",
        report.head.craft, report.sea
    );
    let _ = write!(text, "\n{}.\n", capital(MEANING));
    for c in &report.cases {
        let _ = write!(
            text,
            "\n{} kn, waves travel to {} deg ({})\n",
            c.speed_kn,
            c.heading_deg,
            sea_word(c.heading_deg)
        );
        text += &fin_table(c);
        text.push('\n');
        text += &ride_table(c);
        text.push('\n');
        if !c.still.is_empty() {
            let _ = writeln!(text, "not moved by this sea: {}", c.still.join("; "));
        }
        if let Some(law) = &c.held_by {
            let _ = writeln!(text, "not stable with fins fixed; sought around `{law}`");
        }
    }
    text
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| {
        c.to_uppercase().collect::<String>() + letters.as_str()
    })
}

fn fin_table(c: &Case) -> String {
    let rows = c.laws.iter().map(|l| {
        vec![
            l.law.clone(),
            fixed(l.fin_rms_deg, 2),
            fixed(l.fin_rate_rms_deg_s, 2),
            fixed(100.0 * l.limit_share, 1),
        ]
    });
    table(
        [
            "law",
            "fin RMS angle (deg)",
            "fin RMS rate (deg/s)",
            "on a limit (% of time)",
        ],
        rows,
    )
}

/// What is left by rounding alone is nothing.
fn known(l: &PlacedRow) -> String {
    if l.every_wave_known_rms < 1e-5 * l.rms {
        "0".to_owned()
    } else {
        significant(l.every_wave_known_rms, 4)
    }
}

fn ride_table(c: &Case) -> String {
    let mut rows = Vec::new();
    for r in &c.rides {
        let what = if r.unit.is_empty() {
            format!("{} (fins fixed 1)", r.quantity)
        } else {
            format!("{} ({})", r.quantity, r.unit)
        };
        for l in &r.laws {
            rows.push(vec![
                what.clone(),
                l.law.clone(),
                significant(l.rms, 4),
                significant(l.least_rms, 4),
                fixed(l.above_least_percent, 1),
                known(l),
            ]);
        }
    }
    table(
        [
            "RMS of",
            "law",
            "with it",
            "least reachable",
            "above it (%)",
            "every wave known",
        ],
        rows,
    )
}
