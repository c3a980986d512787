//! `sweep`: one or two gains over a grid, judged without simulation.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;
use serde_json::{Value, json};

use super::args::OutputArgs;
use super::cmd_compare::on_threads;
use super::output::{self, write_json};
use super::progress::Progress;
use super::shell::Shell;
use super::table::{self, significant};
use super::{Status, cmd_tune};
use crate::error::{Error, Problem, Result};
use crate::report::chart::Heading;
use crate::report::contour::{SweepPanel, SweepPicture, sweep_picture};
use crate::spec::controller::LawSpec;
use crate::spec::load::{Any, load_any};
use crate::spec::locate;
use crate::spec::tuning::TuningSpec;
use crate::spec::validate::{TuningBundle, bundle, tuning_bundle};
use crate::tuning::Score;
use crate::tuning::judge::{CraftJudge, Depth};
use crate::tuning::objective::{WATCHES, Watched};
use crate::tuning::sweep::{GainAxis, sweep};

/// Options of `sweep`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright sweep scenarios/tune_pid.json --gain law.pid.pitch.rate_deg_s_per_deg=0:4:21 \
                  --gain law.pid.heave.rate_deg_s_per_m=0:12:21 --out out/sweep\n\
                  Laws are judged by the spectral method to first order of the waves.\n\
                  One gain gives curves, two give contours. Of a scenario all speeds and headings are taken together."
)]
pub struct Options {
    /// Tuning file (`ridewright.tuning/1`), or scenario file (`ridewright.scenario/1`).
    #[arg(value_name = "FILE.json")]
    pub file: PathBuf,
    /// Gain and its range, KEY=FROM:TO:COUNT, with :log behind it for even steps of the logarithm; once or
    /// twice.
    #[arg(long, value_name = "KEY=FROM:TO:COUNT", required = true)]
    pub gain: Vec<String>,
    /// Law of the scenario by its name; the first with gains when absent.
    #[arg(long, value_name = "NAME")]
    pub law: Option<String>,
    /// Threads to judge laws on, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

#[derive(Serialize)]
struct Report {
    #[serde(flatten)]
    head: output::Head,
    law: String,
    objective: String,
    gains: Vec<GainAxis>,
    /// What the readings of every point are.
    readings: Vec<Reading>,
    /// Row by row, the first gain runs fastest.
    points: Vec<Point>,
}

#[derive(Clone, Serialize)]
struct Reading {
    name: String,
    unit: String,
    limit: Option<f64>,
    bound: Bound,
}

/// Which side of its limit a reading must be on.
#[derive(Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
enum Bound {
    /// Not less.
    AtLeast,
    /// Not more.
    AtMost,
    /// What is just acceptable in the objective: no limit.
    Acceptable,
}

impl Reading {
    fn limit_name(&self) -> &'static str {
        match self.bound {
            Bound::Acceptable => "just acceptable",
            _ => "limit",
        }
    }

    /// Room to the limit as a share of it; none without one.
    fn room(&self, value: f64) -> Option<f64> {
        let share = value / self.limit.filter(|l| *l > 0.0)?;
        match self.bound {
            Bound::AtLeast => Some(share - 1.0),
            Bound::AtMost => Some(1.0 - share),
            Bound::Acceptable => None,
        }
    }
}

#[derive(Serialize)]
struct Point {
    gains: Vec<f64>,
    stable: bool,
    limits_met: bool,
    objective: Option<f64>,
    fin_rate_rms_deg_s: Option<f64>,
    readings: Vec<Option<f64>>,
}

/// Sweeps and tells what came out.
///
/// # Errors
/// What is wrong with the file or a gain; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    if options.gain.len() > 2 {
        return Err(Error::with_hint(
            format!(
                "--gain is given {} times, must be given once or twice",
                options.gain.len()
            ),
            "sweep the others one after the other",
        ));
    }
    let (bundle, is_tuning) = read(options, shell)?;
    let out = output::folder(&options.output)?;
    let document = serde_json::to_value(&bundle.controller.spec)
        .map_err(|e| Error::new(format!("the controller cannot be written as JSON: {e}")))?;
    let axes = options
        .gain
        .iter()
        .map(|g| GainAxis::parse(g, &document))
        .collect::<Result<Vec<_>>>()?;
    let model = cmd_tune::model(&bundle, cache, shell)?;
    let mut speeds: Vec<f64> = (bundle.tuning.spec.cases.iter())
        .flat_map(|c| c.speeds_kn.clone())
        .collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    let report = on_threads(options.threads, || {
        swept(&bundle, model, &speeds, &document, axes, is_tuning, shell)
    })??;
    if options.output.json {
        shell.json(&report)?;
    } else {
        print(&report, shell)?;
    }
    if let Some(dir) = &out {
        write_json(dir, "sweep", &report)?;
        for (stem, picture) in pictures(&report, &bundle, is_tuning) {
            sweep_picture(&picture).write(dir, stem)?;
        }
        shell.talk(&format!(
            "wrote into {}: sweep.json, sweep_ride and sweep_margins as PNG and SVG",
            dir.display()
        ));
    }
    shell.caution();
    Ok(Status::Met)
}

fn swept(
    bundle: &TuningBundle,
    model: crate::dynamics::model::CraftModel,
    speeds: &[f64],
    document: &Value,
    axes: Vec<GainAxis>,
    is_tuning: bool,
    shell: &mut Shell,
) -> Result<Report> {
    let judge = CraftJudge::new(bundle, Arc::new(model), speeds, document)?;
    let all: Vec<usize> = (0..speeds.len()).collect();
    let count = axes.iter().map(|a| a.values.len()).product();
    let progress = Progress::new(shell, count, "laws");
    let score = |law: &Value, at: &[usize]| judge.score(law, at, Depth::Whole);
    let scores = sweep(&axes, document, &all, &score, &|| progress.step())?;
    progress.finish();
    let mut readings = vec![Reading {
        name: "largest growth rate of the loop".to_owned(),
        unit: "1/s".to_owned(),
        limit: Some(0.0),
        bound: Bound::AtMost,
    }];
    readings.extend(judge.objective.terms.iter().map(|t| Reading {
        name: t.name.clone(),
        unit: t.unit.to_owned(),
        limit: is_tuning.then_some(t.acceptable),
        bound: Bound::Acceptable,
    }));
    readings.extend(judge.watched.iter().map(|w: &Watched| Reading {
        name: w.name.to_owned(),
        unit: w.unit.to_owned(),
        limit: w.limit,
        bound: if w.is_least {
            Bound::AtLeast
        } else {
            Bound::AtMost
        },
    }));
    Ok(Report {
        head: output::Head::new(&bundle.craft.spec.name, &[]),
        law: bundle.controller.spec.name.clone(),
        objective: judge.objective.words(),
        points: scores
            .iter()
            .enumerate()
            .map(|(k, s)| point(k, s, &axes))
            .collect(),
        gains: axes,
        readings,
    })
}

fn point(k: usize, s: &Score, axes: &[GainAxis]) -> Point {
    let mut rest = k;
    let gains = axes.iter().map(|a| {
        let v = a.values[rest % a.values.len()];
        rest /= a.values.len();
        v
    });
    Point {
        gains: gains.collect(),
        stable: s.is_judged(),
        limits_met: s.is_met(),
        objective: s.is_judged().then_some(s.ride),
        fin_rate_rms_deg_s: s.is_judged().then_some(s.work),
        readings: s.readings.clone(),
    }
}

/// A tuning as it is; a scenario as a tuning of one of its laws.
fn read(options: &Options, shell: &mut Shell) -> Result<(TuningBundle, bool)> {
    match load_any(&options.file)? {
        Any::Scenario(_) => Ok((of_scenario(options, shell)?, false)),
        Any::Tuning(_) if options.law.is_some() => Err(Error::with_hint(
            "--law belongs to a scenario, but this is a tuning file",
            "the tuning file names its controller",
        )),
        Any::Tuning(_) => Ok((tuning_bundle(&options.file)?, true)),
        _ => Err(Error::with_hint(
            "is neither a tuning nor a scenario",
            "give a file with format ridewright.tuning/1 or ridewright.scenario/1",
        )
        .in_file(&options.file)),
    }
}

fn of_scenario(options: &Options, shell: &mut Shell) -> Result<TuningBundle> {
    let b = bundle(&options.file)?;
    shell.warn_of_fault(&b);
    let (scenario, craft) = (&b.scenario.spec, &b.craft.spec);
    let has_gains = |l: &LawSpec| matches!(l, LawSpec::Pid(_) | LawSpec::Lqr(_));
    let chosen = match &options.law {
        Some(name) => b.controllers.iter().find(|c| c.spec.name == *name),
        None => b.controllers.iter().find(|c| has_gains(&c.spec.law)),
    };
    let Some(controller) = chosen else {
        let names: Vec<&str> = b.controllers.iter().map(|c| c.spec.name.as_str()).collect();
        let p = Problem::at("controllers", "hold no such law with gains");
        let p = p.hint(format!("say --law NAME: there are {}", names.join(", ")));
        return Err(Error::from(locate(vec![p], &b.scenario.source)));
    };
    if !has_gains(&controller.spec.law) {
        let p = Problem::at("law", "has no gains that could be swept");
        return Err(Error::from(locate(vec![p], &controller.source)));
    }
    let mut terms = vec![
        json!({"of": {"heave": {"acceptable_m": 1}}}),
        json!({"of": {"pitch": {"acceptable_deg": 1}}}),
        json!({"of": {"roll": {"acceptable_deg": 1}}}),
    ];
    let bridge = craft.points.iter().find(|p| p.name == "bridge");
    if let Some(p) = bridge.or_else(|| craft.points.first()) {
        let of = json!({"vertical_acceleration": {"point": p.name, "acceptable_m_s2": 1}});
        terms.push(json!({ "of": of }));
    }
    let tuning = json!({
        "format": "ridewright.tuning/1",
        "name": scenario.name,
        "note": scenario.note,
        "craft": scenario.craft,
        "controller": "of the scenario",
        "cases": [{
            "sea": scenario.sea,
            "speeds_kn": scenario.speeds_kn,
            "headings_deg": scenario.headings_deg,
        }],
        "objective": {"terms": terms},
        "free": [],
        "course": scenario.course,
        "physics": scenario.physics,
    });
    let spec: TuningSpec = serde_json::from_value(tuning)
        .map_err(|e| Error::new(format!("the scenario cannot be swept: {e}")))?;
    Ok(TuningBundle {
        tuning: crate::spec::load::Loaded {
            spec,
            source: b.scenario.source.clone(),
        },
        craft: b.craft.clone(),
        loadings: Vec::new(),
        controller: controller.clone(),
        seas: vec![b.sea.clone()],
    })
}

/// Columns shown on the table: the readings' places.
fn shown(report: &Report) -> Vec<usize> {
    // a number that no gain moves says nothing
    let has = |i: &usize| {
        let all = || report.points.iter().filter_map(|p| p.readings[*i]);
        let (low, high) = all().fold((f64::MAX, f64::MIN), |r, v| (r.0.min(v), r.1.max(v)));
        high - low > 1e-3 * high.abs()
    };
    (1..report.readings.len()).filter(has).collect()
}

fn print(report: &Report, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "{}, {}\n{}",
        report.head.craft, report.law, report.objective
    ))?;
    for a in &report.gains {
        let (name, unit) = a.words();
        shell.data(&format!(
            "{} = {name}, {unit}; {} in the file",
            a.key,
            significant(a.base, 4)
        ))?;
    }
    let one = report.gains.len() == 1;
    let columns: Vec<usize> = shown(report)
        .into_iter()
        .take(if one { 9 } else { 0 })
        .collect();
    let mut heads: Vec<String> = report.gains.iter().map(|a| a.words().0).collect();
    heads.push("objective".to_owned());
    heads.extend(columns.iter().map(|i| {
        let r = &report.readings[*i];
        format!("{}\n{}", r.name, r.unit)
    }));
    let value = |v: Option<f64>| v.map_or_else(|| "-".to_owned(), |v| significant(v, 3));
    let row = |p: &Point| {
        let mut row: Vec<String> = p.gains.iter().map(|g| significant(*g, 3)).collect();
        row.push(if p.stable {
            value(p.objective)
        } else {
            "unstable".to_owned()
        });
        row.extend(columns.iter().map(|i| value(p.readings[*i])));
        row
    };
    let rows: Vec<Vec<String>> = if one {
        report.points.iter().map(row).collect()
    } else {
        let mut best: Vec<&Point> = report.points.iter().filter(|p| p.limits_met).collect();
        let ride = |p: &&Point| p.objective.unwrap_or(f64::MAX);
        best.sort_by(|a, b| ride(a).total_cmp(&ride(b)));
        best.into_iter().take(8).map(row).collect()
    };
    if !one {
        let n = |f: &dyn Fn(&Point) -> bool| report.points.iter().filter(|p| f(p)).count();
        shell.data(&format!(
            "{} laws: {} stable, {} meet all limits. The best of these:",
            report.points.len(),
            n(&|p| p.stable),
            n(&|p| p.limits_met)
        ))?;
    }
    shell.data(&table::table(heads, rows))
}

/// Ride and effort on one picture, margins on another.
fn pictures(
    report: &Report,
    bundle: &TuningBundle,
    is_tuning: bool,
) -> Vec<(&'static str, SweepPicture)> {
    let terms = report.readings.len() - 1 - WATCHES.len();
    let panel = |i: usize| SweepPanel {
        name: report.readings[i].name.clone(),
        unit: report.readings[i].unit.clone(),
        values: values(report, |p| if p.stable { p.readings[i] } else { None }),
        limit: report.readings[i].limit,
        limit_name: report.readings[i].limit_name(),
    };
    let mut ride = Vec::new();
    if is_tuning {
        ride.push(SweepPanel {
            name: "objective, 1 is just acceptable".to_owned(),
            unit: String::new(),
            values: values(report, |p| p.objective),
            limit: None,
            limit_name: "limit",
        });
    }
    ride.extend((1..=terms).map(panel));
    let watched = shown(report).into_iter().filter(|i| *i > terms);
    let (margins, effort): (Vec<usize>, Vec<usize>) =
        watched.partition(|i| i - 1 - terms <= crate::tuning::objective::Watch::Damping as usize);
    ride.extend(effort.into_iter().map(panel));
    let picture = |title: &str, panels: Vec<SweepPanel>| {
        let axis = |k: usize| {
            let a = &report.gains[k];
            let (name, unit) = a.words();
            (name, unit, a.values.clone())
        };
        SweepPicture {
            heading: Heading::new(
                format!("{}: {title}", report.law),
                format!("{}, {}", report.head.craft, bundle.tuning.spec.name),
                format!(
                    "{}. Margins: at all fins together; worst of all speeds.",
                    report.objective
                ),
            ),
            x: axis(0),
            y: (report.gains.len() > 1).then(|| axis(1)),
            panels,
            growth_1_s: values(report, |p| p.readings[0]),
            room: room(report),
            base: [
                report.gains[0].base,
                report.gains.get(1).map_or(f64::NAN, |a| a.base),
            ],
        }
    };
    vec![
        ("sweep_ride", picture("ride and effort over gains", ride)),
        (
            "sweep_margins",
            picture(
                "margins over gains",
                margins.into_iter().map(panel).collect(),
            ),
        ),
    ]
}

/// Room to the nearest limit at every point; empty without limits.
fn room(report: &Report) -> Vec<f64> {
    if report.readings.iter().all(|r| r.room(0.0).is_none()) {
        return Vec::new();
    }
    values(report, |p| {
        let each = report.readings.iter().zip(&p.readings);
        let rooms = each.filter_map(|(r, v)| r.room((*v)?));
        p.stable.then(|| rooms.fold(f64::INFINITY, f64::min))
    })
}

fn values(report: &Report, of: impl Fn(&Point) -> Option<f64>) -> Vec<f64> {
    let each = report.points.iter().map(|p| of(p).unwrap_or(f64::NAN));
    each.collect()
}
