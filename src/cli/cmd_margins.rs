//! `margins`: stability margins of laws on a craft, nominal and at their worst, with pictures.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::args::{OutputArgs, RequiredMargins, SpeedArgs};
use super::cmd_compare::on_threads;
use super::output::{self, Head};
use super::shell::Shell;
use super::{Status, margin_pictures, margin_tables};
use crate::campaign::stage::LawPlan;
use crate::closed_loop::LoopCraft;
use crate::closed_loop::margins::craft::{CraftLoop, CraftMargins};
use crate::closed_loop::margins::robust::{self, Judged, Summary, Trial, Worst};
use crate::closed_loop::uncertainty::{Factors, corners, draws};
use crate::control::linear::LinearLaw;
use crate::control::signal::Setup;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::spec::controller::ControllerSpec;
use crate::spec::craft::CraftSpec;
use crate::spec::load::{Loaded, load_controller, load_craft};
use crate::spec::scenario::{CourseSpec, PhysicsSpec};
use crate::spec::source::locate;
use crate::spec::validate::bundle;
use crate::units::{kn, to_deg};

/// Options of `margins`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright margins scenarios/demo.json --out out/margins\n\
                  Or: ridewright margins --craft scenarios/craft/NAME.json --controller controllers/pid.json --speed-kn 16\n\
                  Exit status 1 when a law is unstable or a --require is not met."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`): its craft, controllers, speeds and switches.
    #[arg(
        value_name = "SCENARIO.json",
        required_unless_present = "craft",
        conflicts_with = "craft"
    )]
    pub scenario: Option<PathBuf>,
    /// Craft file (`ridewright.craft/1`) in place of a scenario.
    #[arg(long, value_name = "CRAFT.json", requires = "controller")]
    pub craft: Option<PathBuf>,
    /// Controller file (`ridewright.controller/1`); may be given several times, e.g.
    /// --controller controllers/pid.json.
    #[arg(long, value_name = "CONTROLLER.json")]
    pub controller: Vec<PathBuf>,
    /// Speeds; those of the scenario when absent.
    #[command(flatten)]
    pub speed: SpeedArgs,
    /// Craft file of another loading of the same craft, judged with the laws of the first, which are told her
    /// displacement (gains under `loadings` go with it) and nothing else; may be given several times.
    #[arg(long, value_name = "CRAFT.json")]
    pub loading: Vec<PathBuf>,
    /// Uncertainty of damping, fin effectiveness, GM in roll and in pitch, percent either way, e.g. 20.
    #[arg(long, value_name = "PERCENT", default_value_t = 20.0, value_parser = spread)]
    pub spread_percent: f64,
    /// Random combinations within that uncertainty besides its corners, a count (no unit).
    #[arg(long, value_name = "COUNT", default_value_t = 24, value_parser = clap::value_parser!(u16).range(0..=10_000))]
    pub draws: u16,
    /// Seed of the random combinations (no unit).
    #[arg(long, value_name = "SEED", default_value_t = 1)]
    pub seed: u64,
    /// Leave the uncertainty out.
    #[arg(long)]
    pub nominal_only: bool,
    /// Margins asked for.
    #[command(flatten)]
    pub margins: RequiredMargins,
    /// Ask the requirements of the worst craft within the uncertainty too, not of the nominal one alone.
    #[arg(long)]
    pub require_robust: bool,
    /// Threads, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

fn spread(text: &str) -> std::result::Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.0..=90.0).contains(&v) => Ok(v),
        _ => Err("must be a number of percent between 0 and 90".to_owned()),
    }
}

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    pub(super) head: Head,
    pub(super) spread_percent: f64,
    pub(super) draws: u16,
    pub(super) seed: u64,
    pub(super) cases: Vec<Case>,
}

/// One law at one speed in one loading.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Case {
    pub(super) law: String,
    pub(super) speed_kn: f64,
    pub(super) loading: String,
    /// Why there are no margins: no linear form, no loop, unstable.
    pub(super) refused: Option<String>,
    pub(super) is_unstable: bool,
    pub(super) own_delay: Option<OwnDelay>,
    pub(super) summary: Option<Summary>,
    pub(super) margins: Option<CraftMargins>,
    pub(super) poles: Vec<PoleRow>,
    pub(super) robust: Option<Robust>,
    /// Requirements that are not met, in words.
    pub(super) missed: Vec<String>,
}

/// What delays the loop by itself, s.
#[derive(Clone, Copy, Debug, Serialize)]
#[allow(clippy::struct_field_names)] // every key carries its unit
pub(super) struct OwnDelay {
    /// Half a sample period: the hold.
    pub(super) hold_s: f64,
    /// Longest dead time of a servo.
    pub(super) servo_s: f64,
    /// Longest delay of a sensor that the law reads.
    pub(super) sensor_s: f64,
    /// Lag of servo (2 zeta / omega) and sensor filter (1 / corner), longest.
    pub(super) lag_s: f64,
}

impl OwnDelay {
    fn new(craft: &LoopCraft, law: &LinearLaw) -> Self {
        let servos = || law.channels.iter().map(|c| &craft.plant.actuators[*c]);
        let blurs: Vec<_> = law
            .signals
            .iter()
            .flat_map(|s| craft.parts(*s))
            .map(|(_, q)| craft.blur(q))
            .collect();
        let most = |v: &mut dyn Iterator<Item = f64>| v.fold(0.0, f64::max);
        let servo_lag =
            most(&mut servos().map(|a| 2.0 * a.damping_ratio / a.natural_frequency_rad_s));
        OwnDelay {
            hold_s: 0.5 * law.sample_period_s,
            servo_s: most(&mut servos().map(|a| a.delay_s)),
            sensor_s: most(&mut blurs.iter().map(|b| b.delay_s)),
            lag_s: servo_lag + most(&mut blurs.iter().map(|b| 1.0 / b.corner_rad_s)),
        }
    }

    /// Hold, servo and sensor together.
    pub(super) fn total_s(&self) -> f64 {
        self.hold_s + self.servo_s + self.sensor_s
    }
}

/// A pole of the closed loop.
#[derive(Clone, Debug, Serialize)]
pub(super) struct PoleRow {
    pub(super) motion: &'static str,
    pub(super) real_1_s: f64,
    pub(super) imaginary_rad_s: f64,
    pub(super) damping_ratio: f64,
}

/// The survey of one case.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Robust {
    pub(super) crafts: usize,
    pub(super) unstable: Vec<String>,
    /// Worst of each number among the stable ones: gain up, gain down, phase, delay, disk, 1/Ms, damping.
    pub(super) worst: Vec<WorstOf>,
}

/// The worst of one number.
#[derive(Clone, Debug, Serialize)]
pub(super) struct WorstOf {
    pub(super) quantity: &'static str,
    #[serde(flatten)]
    pub(super) found: Worst,
    pub(super) factors: Factors,
    pub(super) cause: String,
}

/// Numbers of a summary in their order.
pub(super) const QUANTITIES: [&str; 7] = [
    "gain up",
    "gain down",
    "phase",
    "delay",
    "disk, all fins",
    "1 / Ms, all fins",
    "damping ratio",
];

/// What is judged.
pub(super) struct Job {
    pub(super) model: CraftModel,
    pub(super) laws: Vec<LawPlan>,
    pub(super) speeds_kn: Vec<f64>,
    pub(super) course: CourseSpec,
    /// Other loadings, by name.
    loadings: Vec<(String, CraftModel)>,
}

impl Job {
    /// A law at the speed that `craft` is told of.
    pub(super) fn law(plan: &LawPlan, craft: &LoopCraft) -> Result<LinearLaw> {
        linear(plan, &craft.setup)
    }
}

/// A law by what it is told, in its linear form.
pub(super) fn linear(plan: &LawPlan, setup: &Setup) -> Result<LinearLaw> {
    let mut law = plan.make()?;
    law.reset(setup)?;
    law.linear()
}

/// Tells the margins.
///
/// # Errors
/// What is wrong with the files; a speed without trim; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let job = read(options, cache, shell)?;
    let models = std::iter::once(&job.model).chain(job.loadings.iter().map(|l| &l.1));
    let warnings: Vec<String> = models.flat_map(|m| m.warnings.clone()).collect();
    for w in &warnings {
        shell.warn(w, None);
    }
    let cases = on_threads(options.threads, || judge(&job, options))??;
    let report = Report {
        head: Head::new(&job.model.craft.spec.name, &warnings),
        spread_percent: options.spread_percent,
        draws: options.draws,
        seed: options.seed,
        cases,
    };
    output::tell(shell, &options.output, "margins", &report, || {
        margin_tables::tables(&job, &report)
    })?;
    if let Some(dir) = &out {
        on_threads(options.threads, || {
            margin_pictures::draw(&job, &report, dir)
        })??
        .iter()
        .for_each(|f| shell.talk(&format!("wrote {}", f.display())));
    }
    let bad = report
        .cases
        .iter()
        .any(|c| c.is_unstable || !c.missed.is_empty());
    Ok(if bad { Status::NotMet } else { Status::Met })
}

fn read(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Job> {
    let (craft, controllers, speeds, course, physics) = if let Some(path) = &options.scenario {
        let b = bundle(path)?;
        shell.warn_of_fault(&b);
        let s = b.scenario.spec;
        (b.craft, b.controllers, s.speeds_kn, s.course, s.physics)
    } else {
        let path = options.craft.as_deref().unwrap_or(Path::new(""));
        let craft = load_craft(path)?;
        let laws = options.controller.iter().map(load_controller);
        let laws = laws.collect::<Result<Vec<Loaded<ControllerSpec>>>>()?;
        let design = craft.spec.design_speed_kn.into_iter().collect();
        let course = CourseSpec::default();
        (craft, laws, design, course, PhysicsSpec::default())
    };
    let mut speeds_kn = match speeds.as_slice() {
        many @ [_, _, ..] if options.speed.speed_kn.is_empty() => many.to_vec(),
        few => options.speed.or_design(few.first().copied())?,
    };
    speeds_kn.sort_by(f64::total_cmp);
    speeds_kn.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    let model = built(&craft, &physics, cache)?;
    let loadings = loadings(&options.loading, &physics, cache)?;
    let laws = controllers
        .iter()
        .map(|c| LawPlan::new(&c.spec, c.source.folder(), &model))
        .collect::<Result<Vec<_>>>()?;
    Ok(Job {
        model,
        laws,
        speeds_kn,
        course,
        loadings,
    })
}

/// The craft of a file, its faults told under their lines.
pub(super) fn built(
    craft: &Loaded<CraftSpec>,
    physics: &PhysicsSpec,
    cache: Option<&Path>,
) -> Result<CraftModel> {
    CraftModel::build(&craft.spec, physics, cache)
        .map_err(|e| Error::from(locate(e.problems, &craft.source)))
}

/// Other loadings of a craft from their files, by name.
pub(super) fn loadings(
    paths: &[PathBuf],
    physics: &PhysicsSpec,
    cache: Option<&Path>,
) -> Result<Vec<(String, CraftModel)>> {
    let one = |path: &PathBuf| {
        let file = load_craft(path)?;
        Ok((file.spec.name.clone(), built(&file, physics, cache)?))
    };
    paths.iter().map(one).collect()
}

fn judge(job: &Job, options: &Options) -> Result<Vec<Case>> {
    let mut out = Vec::new();
    for &speed_kn in &job.speeds_kn {
        let told = LoopCraft::new(&job.model, kn(speed_kn), &job.course)?;
        let mut crafts = vec![(job.model.craft.spec.name.clone(), told.clone())];
        for (name, model) in &job.loadings {
            let craft = LoopCraft::new(model, kn(speed_kn), &job.course)?;
            crafts.push((name.clone(), craft));
        }
        let pairs: Vec<_> = job
            .laws
            .iter()
            .flat_map(|law| crafts.iter().map(move |c| (law, c)))
            .collect();
        let cases = pairs
            .par_iter()
            .map(|(plan, (name, craft))| {
                let law = linear(plan, &told.setup.weighing(craft.setup.displacement_kg));
                case(&plan.spec.name, speed_kn, name, craft, law, options)
            })
            .collect::<Result<Vec<_>>>()?;
        out.extend(cases);
    }
    Ok(out)
}

fn case(
    law_name: &str,
    speed_kn: f64,
    loading: &str,
    craft: &LoopCraft,
    law: Result<LinearLaw>,
    options: &Options,
) -> Result<Case> {
    let mut out = Case {
        law: law_name.to_owned(),
        speed_kn,
        loading: loading.to_owned(),
        refused: None,
        is_unstable: false,
        own_delay: None,
        summary: None,
        margins: None,
        poles: Vec::new(),
        robust: None,
        missed: Vec::new(),
    };
    let (law, open) = match law.and_then(|l| CraftLoop::new(craft, &l).map(|o| (l, o))) {
        Ok(both) => both,
        Err(e) => {
            out.refused = Some(first_words(&e));
            return Ok(out);
        }
    };
    out.own_delay = Some(OwnDelay::new(craft, &law));
    out.poles = pole_rows(&open);
    match open.margins() {
        Ok(m) => {
            out.summary = Some(Summary::of(&m, &open));
            out.margins = Some(m);
        }
        Err(e) => {
            out.is_unstable = open.require_stable().is_err();
            out.refused = Some(first_words(&e));
        }
    }
    if !options.nominal_only {
        let spread = options.spread_percent / 100.0;
        let mut all = corners(spread);
        all.extend(draws(spread, usize::from(options.draws), options.seed));
        out.robust = Some(survey(&robust::trials(craft, &law, &all)?));
    }
    out.missed = missed(&out, options);
    Ok(out)
}

fn first_words(e: &Error) -> String {
    e.problems
        .first()
        .map_or_else(|| e.to_string(), |p| p.message.clone())
}

/// Slow poles of the upper half plane, least damped first.
pub(super) fn pole_rows(open: &CraftLoop) -> Vec<PoleRow> {
    let mut out: Vec<PoleRow> = open
        .slow_poles()
        .into_iter()
        .map(|p| PoleRow {
            motion: open.motion_words(p),
            real_1_s: p.re,
            imaginary_rad_s: p.im,
            damping_ratio: -p.re / p.norm().max(f64::MIN_POSITIVE),
        })
        .collect();
    out.sort_by(|a, b| a.damping_ratio.total_cmp(&b.damping_ratio));
    out
}

fn survey(trials: &[Trial]) -> Robust {
    let (worst, unstable) = robust::worst(trials);
    Robust {
        crafts: trials.len(),
        unstable: unstable
            .iter()
            .map(|t| match &t.judged {
                Judged::Unstable(p, motion) => format!(
                    "{}: {motion} {} 1/s",
                    t.factors.words(),
                    crate::closed_loop::margins::loops::words(*p)
                ),
                Judged::Stable(_) => t.factors.words(),
            })
            .collect(),
        worst: worst
            .into_iter()
            .flatten()
            .zip(QUANTITIES)
            .map(|((found, factors), quantity)| WorstOf {
                quantity,
                found,
                cause: factors.words(),
                factors,
            })
            .collect(),
    }
}

/// Decibels of a factor.
pub(super) fn db(factor: f64) -> f64 {
    20.0 * factor.log10()
}

/// Requirements that the nominal craft, or with `--require-robust` any craft, does not meet.
fn missed(case: &Case, options: &Options) -> Vec<String> {
    let mut out = Vec::new();
    let margins = &options.margins;
    let mut check = |values: [f64; 7], whose: &str| {
        let asked: [(usize, Option<f64>, f64, &str); 6] = [
            (0, margins.require_gm_db, db(values[0]), "dB"),
            (1, margins.require_gm_db, db(values[1]), "dB"),
            (2, margins.require_pm_deg, to_deg(values[2]), "deg"),
            (3, margins.require_delay_s, values[3], "s"),
            (4, margins.require_disk, values[4], ""),
            (6, margins.require_damping, values[6], ""),
        ];
        for (k, least, value, unit) in asked {
            if let Some(least) = least.filter(|l| value < *l) {
                out.push(format!(
                    "{}{whose}: {value:.3} {unit}, at least {least} {unit} is required",
                    QUANTITIES[k]
                ));
            }
        }
    };
    if let Some(s) = &case.summary {
        check(s.all().map(|w| w.value), "");
    }
    if let Some(r) = case.robust.as_ref().filter(|_| options.require_robust) {
        let mut values = [f64::INFINITY; 7];
        for (v, w) in values.iter_mut().zip(&r.worst) {
            *v = w.found.value;
        }
        check(values, " at its worst");
        out.extend(r.unstable.iter().map(|u| format!("unstable with {u}")));
    }
    out
}
