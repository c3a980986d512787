//! `schedule`: a law over its range of speeds, frozen, ramped through and in a turn.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use num_complex::Complex64;
use rayon::prelude::*;

use super::args::{OutputArgs, RequiredMargins};
use super::cmd_compare::on_threads;
use super::cmd_margins::{built, db, linear, loadings};
use super::output::{self, Head};
use super::schedule_report::{
    LawReport, LoadingRow, MemoryError, RampRow, Report, SpeedRow, SteadyRow, TurnRow, WorstRow,
};
use super::shell::Shell;
use super::{Status, schedule_pictures, schedule_tables};
use crate::campaign::stage::LawPlan;
use crate::closed_loop::LoopCraft;
use crate::closed_loop::margins::loops;
use crate::closed_loop::margins::robust::{Judged, Summary};
use crate::closed_loop::schedule::frozen::{self, FrozenPoint};
use crate::closed_loop::schedule::ramp::{Ramp, TrimBySpeed, Weather, steady};
use crate::closed_loop::schedule::surge::{surge, times_s};
use crate::closed_loop::schedule::turn::turn;
use crate::closed_loop::schedule::{crafts, grid};
use crate::control::Controller;
use crate::control::linear::LinearLaw;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::math::rng::{Purpose, generator};
use crate::sea::realisation::{Realisation, realise};
use crate::sim::case::Sensing;
use crate::spec::scenario::ScenarioSpec;
use crate::spec::validate::{Bundle, bundle};
use crate::units::{deg, kn, to_deg, to_kn, to_tonnes};

/// Time over which steady speeds in the sea are judged, s.
const STEADY_S: f64 = 300.0;

/// Options of `schedule`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright schedule scenarios/demo.json --speed-kn 8,18 --out out/schedule\n\
                  Exit status 1 when a law is unstable at a speed, a --require is not met, or a ramp does not stay bounded."
)]
pub struct Options {
    /// Scenario file (`ridewright.scenario/1`): its craft, controllers, sea, speeds and switches.
    #[arg(value_name = "SCENARIO.json")]
    pub scenario: PathBuf,
    /// Least and greatest speed in knots, e.g. --speed-kn 8,18; those of the scenario when absent.
    #[arg(long, value_name = "KN,KN", value_delimiter = ',', value_parser = super::args::speed_kn)]
    pub speed_kn: Vec<f64>,
    /// Craft file of another loading of the same craft: the frozen grid again, with the laws of the scenario's, which
    /// are told her displacement (gains under `loadings` go with it) and nothing else; may be given several times.
    #[arg(long, value_name = "CRAFT.json")]
    pub loading: Vec<PathBuf>,
    /// Step of the frozen grid in knots, e.g. 0.5.
    #[arg(long, value_name = "KN", default_value_t = 0.5)]
    pub step_kn: f64,
    /// Rudder angle of the steady turns in degrees off trim, positive to port, e.g. 15.
    #[arg(
        long,
        value_name = "DEG",
        default_value_t = 15.0,
        allow_negative_numbers = true
    )]
    pub rudder_deg: f64,
    /// Pitch off trim with which the ramp in calm water begins, in degrees.
    #[arg(
        long,
        value_name = "DEG",
        default_value_t = 1.0,
        allow_negative_numbers = true
    )]
    pub pitch_deg: f64,
    /// Heading of the sea of the ramp in degrees, where the waves travel to relative to the bow; the first
    /// of the scenario when absent.
    #[arg(long, value_name = "DEG")]
    pub heading_deg: Option<f64>,
    /// The frozen grid alone: no ramp, no turn.
    #[arg(long)]
    pub frozen_only: bool,
    /// Margins asked for.
    #[command(flatten)]
    pub margins: RequiredMargins,
    /// Threads, a count (no unit); results do not depend on it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// What is judged.
pub(super) struct Job {
    pub(super) model: CraftModel,
    pub(super) laws: Vec<LawPlan>,
    pub(super) scenario: ScenarioSpec,
    pub(super) crafts: Vec<LoopCraft>,
    /// Other loadings, by name, at the same speeds.
    loadings: Vec<(String, Vec<LoopCraft>)>,
    ramp: Option<Ramp>,
    sea: Realisation,
}

impl Job {
    fn law(&self, plan: &LawPlan, has_trim: bool) -> Result<Box<dyn Controller>> {
        let law = plan.make()?;
        Ok(if has_trim {
            Box::new(TrimBySpeed::new(law, &self.crafts))
        } else {
            law
        })
    }

    fn sensing(&self, errors: bool) -> Sensing {
        Sensing::Suite {
            craft: Arc::new(self.model.craft.spec.clone()),
            errors,
            seed: self.scenario.seeds.first().copied().unwrap_or(1),
            case: 0,
        }
    }
}

/// Tells how laws hold over speed.
///
/// # Errors
/// What is wrong with the files; a speed without trim; a folder that cannot be written.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let b = bundle(&options.scenario)?;
    shell.warn_of_fault(&b);
    let ends = ends(options, &b.scenario.spec)?;
    let model = built(&b.craft, &b.scenario.spec.physics, cache)?;
    for w in &model.warnings {
        shell.warn(w, None);
    }
    let loadings = loadings(&options.loading, &b.scenario.spec.physics, cache)?;
    let laws = b
        .controllers
        .iter()
        .map(|c| LawPlan::new(&c.spec, c.source.folder(), &model))
        .collect::<Result<Vec<_>>>()?;
    let (job, report) = on_threads(options.threads, || {
        let job = prepare(options, &b, (model, loadings), laws, ends)?;
        let report = judge(&job, options, ends)?;
        Ok::<_, Error>((job, report))
    })??;
    output::tell(shell, &options.output, "schedule", &report, || {
        schedule_tables::tables(&job, &report)
    })?;
    if let Some(dir) = &out {
        for f in schedule_pictures::draw(&job, &report, options, dir)? {
            shell.talk(&format!("wrote {}", f.display()));
        }
    }
    let bad = |l: &LawReport| {
        // surfaces held at trim have no loop: a baseline, no law to fail
        let bounded = l.worst.is_empty() || l.ramps.iter().all(|r| r.is_bounded);
        let loaded = l.loadings.iter().any(|o| !o.unstable_kn.is_empty());
        !l.unstable_kn.is_empty() || loaded || !l.missed.is_empty() || !bounded
    };
    Ok(if report.laws.iter().any(bad) {
        Status::NotMet
    } else {
        Status::Met
    })
}

fn ends(options: &Options, scenario: &ScenarioSpec) -> Result<[f64; 2]> {
    let asked = if options.speed_kn.is_empty() {
        &scenario.speeds_kn
    } else {
        &options.speed_kn
    };
    let low = asked.iter().copied().fold(f64::INFINITY, f64::min);
    let high = asked.iter().copied().fold(0.0, f64::max);
    if !(low > 0.0 && high > low && options.step_kn > 0.0 && (high - low) / options.step_kn < 500.0)
    {
        return Err(Error::with_hint(
            format!(
                "speeds go from {low} to {high} kn in steps of {} kn, must be two different positive speeds and at most 500 steps",
                options.step_kn
            ),
            "say --speed-kn LEAST,GREATEST",
        ));
    }
    Ok([low, high])
}

fn prepare(
    options: &Options,
    b: &Bundle,
    (model, loadings): (CraftModel, Vec<(String, CraftModel)>),
    laws: Vec<LawPlan>,
    [low, high]: [f64; 2],
) -> Result<Job> {
    let scenario = b.scenario.spec.clone();
    let speeds: Vec<f64> = grid(low, high, options.step_kn)
        .into_iter()
        .map(kn)
        .collect();
    let at_speeds = |model: &CraftModel| crafts(model, &speeds, &scenario.course);
    let crafts = at_speeds(&model)?;
    let loadings = loadings
        .into_iter()
        .map(|(name, model)| Ok((name, at_speeds(&model)?)))
        .collect::<Result<Vec<_>>>()?;
    let mut job = Job {
        model,
        laws,
        scenario,
        crafts,
        loadings,
        ramp: None,
        sea: Realisation::calm(),
    };
    if !options.frozen_only {
        let ramp = Ramp::new(
            &job.model,
            &job.crafts,
            &job.scenario.course,
            job.scenario.step_s,
        )?;
        let seed = job.scenario.seeds.first().copied().unwrap_or(1);
        let mut rng = generator(seed, 0, Purpose::Waves, 0);
        job.sea = realise(
            &b.sea.spec,
            b.sea.source.folder(),
            deg(heading_deg(options, &job.scenario)),
            ramp.memory_m_s,
            ramp.orders_s[2],
            &mut rng,
        )?;
        job.ramp = Some(ramp);
    }
    Ok(job)
}

fn heading_deg(options: &Options, scenario: &ScenarioSpec) -> f64 {
    let first = scenario.headings_deg.first().copied();
    options.heading_deg.or(first).unwrap_or(180.0)
}

fn judge(job: &Job, options: &Options, speeds_kn: [f64; 2]) -> Result<Report> {
    let surge = surge(&job.crafts);
    let finite = |t: f64| t.is_finite().then_some(t);
    Ok(Report {
        head: Head::new(&job.model.craft.spec.name, &job.model.warnings),
        speeds_kn,
        step_kn: options.step_kn,
        shortest_s: times_s(&surge).map(finite),
        surge,
        memory_kn: job.ramp.as_ref().map(|r| to_kn(r.memory_m_s)),
        heading_deg: heading_deg(options, &job.scenario),
        laws: job
            .laws
            .par_iter()
            .map(|plan| law_report(job, plan, options))
            .collect::<Result<Vec<_>>>()?,
    })
}

fn law_report(job: &Job, plan: &LawPlan, options: &Options) -> Result<LawReport> {
    let linear = |c: &LoopCraft| linear(plan, &c.setup);
    let points = frozen::frozen(&job.crafts, linear);
    let worst = worst_rows(&points);
    let unstable_kn = unstable(&points);
    let mut out = LawReport {
        law: plan.spec.name.clone(),
        frozen: points.iter().map(speed_row).collect(),
        sentence: schedule_tables::sentence(&worst, &unstable_kn, &points, options.step_kn),
        worst,
        unstable_kn,
        loadings: loading_rows(job, plan, options),
        memory_error: None,
        ramps: Vec::new(),
        steady: Vec::new(),
        turns: Vec::new(),
        missed: Vec::new(),
    };
    let required = options.margins.required();
    out.missed = missed(&out.worst, &required);
    for l in &out.loadings {
        let of = |m: String| format!("{} ({m})", l.loading);
        out.missed
            .extend(missed(&l.worst, &required).into_iter().map(of));
    }
    if let Some(ramp) = &job.ramp {
        out.memory_error = memory_error(job, ramp, &points, linear)?;
        out.ramps = ramps(job, ramp, plan, options)?;
        out.steady = steadies(job, plan)?;
        out.turns = turns(job, plan, options)?;
    }
    Ok(out)
}

/// The law as it is for the scenario's craft, with the craft loaded otherwise and the law told her displacement.
fn loading_rows(job: &Job, plan: &LawPlan, options: &Options) -> Vec<LoadingRow> {
    let told = |c: &LoopCraft| {
        let same = |t: &&LoopCraft| t.speed_m_s.total_cmp(&c.speed_m_s).is_eq();
        let own = job.crafts.iter().find(same).unwrap_or(c);
        linear(plan, &own.setup.weighing(c.setup.displacement_kg))
    };
    job.loadings
        .iter()
        .map(|(name, crafts)| {
            let points = frozen::frozen(crafts, told);
            let worst = worst_rows(&points);
            let unstable_kn = unstable(&points);
            let told_kg = crafts.first().map(|c| c.setup.displacement_kg);
            LoadingRow {
                loading: name.clone(),
                told_t: told_kg
                    .filter(|_| plan.spec.follows_loading())
                    .map(to_tonnes),
                sentence: schedule_tables::sentence(&worst, &unstable_kn, &points, options.step_kn),
                frozen: points.iter().map(speed_row).collect(),
                worst,
                unstable_kn,
            }
        })
        .collect()
}

fn speed_row(p: &FrozenPoint) -> SpeedRow {
    let (verdict, margins) = told(&p.judged);
    SpeedRow {
        speed_kn: to_kn(p.speed_m_s),
        verdict,
        is_unstable: p.is_unstable(),
        surge_pole_1_s: p.surge_pole.map(|s| [s.re, s.im.abs()]),
        margins,
    }
}

fn told(judged: &std::result::Result<Judged, String>) -> (String, Option<Summary>) {
    match judged {
        Ok(Judged::Stable(s)) => ("stable".into(), Some(s.as_ref().clone())),
        Ok(Judged::Unstable(p, motion)) => {
            let pole = loops::words(Complex64::new(p.re, p.im.abs()));
            (format!("UNSTABLE: {motion} {pole} 1/s"), None)
        }
        Err(why) => (why.clone(), None),
    }
}

fn worst_rows(points: &[FrozenPoint]) -> Vec<WorstRow> {
    let all = frozen::worst(points).into_iter().flatten();
    all.zip(super::cmd_margins::QUANTITIES)
        .map(|(w, quantity)| WorstRow {
            quantity,
            value: w.found.value,
            speed_kn: to_kn(w.speed_m_s),
            at: w.found.at,
            omega_rad_s: w.found.omega_rad_s,
        })
        .collect()
}

/// Runs of unstable speeds, kn.
fn unstable(points: &[FrozenPoint]) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    let mut before = false;
    for p in points {
        let here = to_kn(p.speed_m_s);
        match out.last_mut() {
            Some(last) if p.is_unstable() && before => last[1] = here,
            _ if p.is_unstable() => out.push([here, here]),
            _ => {}
        }
        before = p.is_unstable();
    }
    out
}

fn missed(worst: &[WorstRow], required: &[Option<f64>; 5]) -> Vec<String> {
    let of = |k: usize| worst.get(k).map_or(f64::NEG_INFINITY, |w| w.value);
    let checks = [
        (0, 0, db(of(0)), "dB"),
        (1, 0, db(of(1)), "dB"),
        (2, 1, to_deg(of(2)), "deg"),
        (3, 2, of(3), "s"),
        (4, 3, of(4), ""),
        (6, 4, of(6), ""),
    ];
    checks
        .iter()
        .filter_map(|(k, asked, value, unit)| {
            let least = required[*asked].filter(|l| value.is_nan() || value < l)?;
            let w = worst.get(*k)?;
            Some(format!(
                "{}: {value:.3} {unit} at {:.1} kn, at least {least} {unit} is required",
                w.quantity, w.speed_kn
            ))
        })
        .collect()
}

fn memory_error(
    job: &Job,
    ramp: &Ramp,
    own: &[FrozenPoint],
    linear: impl Fn(&LoopCraft) -> Result<LinearLaw> + Sync,
) -> Result<Option<MemoryError>> {
    if own.iter().all(|p| p.summary().is_none()) {
        return Ok(None);
    }
    let crafts = job
        .crafts
        .par_iter()
        .map(|c| frozen::with_memory(c, ramp.memory_plant()))
        .collect::<Result<Vec<_>>>()?;
    let common = frozen::frozen(&crafts, linear);
    let mut out = MemoryError {
        damping_ratio: 0.0,
        disk: 0.0,
        verdicts: 0,
    };
    for (a, b) in own.iter().zip(&common) {
        match (a.summary(), b.summary()) {
            (Some(a), Some(b)) => {
                let far = |x: f64, y: f64| {
                    if x.is_finite() && y.is_finite() {
                        (x - y).abs()
                    } else {
                        0.0
                    }
                };
                let damping = far(a.damping_ratio.value, b.damping_ratio.value);
                out.damping_ratio = out.damping_ratio.max(damping);
                out.disk = out.disk.max(far(a.disk.value, b.disk.value));
            }
            _ => out.verdicts += usize::from(a.is_unstable() != b.is_unstable()),
        }
    }
    Ok(Some(out))
}

fn ramps(job: &Job, ramp: &Ramp, plan: &LawPlan, options: &Options) -> Result<Vec<RampRow>> {
    let calm = Realisation::calm();
    [(false, false), (false, true), (true, false), (true, true)]
        .into_par_iter()
        .map(|(at_sea, has_trim_by_speed)| {
            let weather = Weather {
                sea: if at_sea { &job.sea } else { &calm },
                pitch_rad: if at_sea { 0.0 } else { deg(options.pitch_deg) },
                sensing: job.sensing(at_sea && job.scenario.physics.sensor_errors),
            };
            let mut law = job.law(plan, has_trim_by_speed)?;
            let run = ramp.run(&job.model, law.as_mut(), &weather)?;
            Ok(RampRow {
                water: if at_sea { "sea" } else { "calm" },
                has_trim_by_speed,
                is_bounded: if at_sea {
                    run.is_completed
                } else {
                    run.is_calm_at_the_ends()
                },
                run,
            })
        })
        .collect()
}

fn steadies(job: &Job, plan: &LawPlan) -> Result<Vec<SteadyRow>> {
    let last = job.crafts.len() - 1;
    [0, last / 2, last]
        .into_par_iter()
        .map(|i| {
            let craft = &job.crafts[i];
            let weather = Weather {
                sea: &job.sea,
                pitch_rad: 0.0,
                sensing: job.sensing(job.scenario.physics.sensor_errors),
            };
            let mut law = plan.make()?;
            let (outcome, window) = steady(
                &job.model,
                craft,
                &job.scenario.course,
                law.as_mut(),
                &weather,
                [STEADY_S, job.scenario.step_s],
            )?;
            Ok(SteadyRow {
                speed_kn: to_kn(craft.speed_m_s),
                outcome,
                window,
            })
        })
        .collect()
}

fn turns(job: &Job, plan: &LawPlan, options: &Options) -> Result<Vec<TurnRow>> {
    let last = job.crafts.len() - 1;
    [last / 2, last]
        .into_par_iter()
        .map(|i| {
            let mut law = plan.make()?;
            let turn = turn(
                &job.model,
                &job.crafts[i],
                &job.scenario.course,
                law.as_mut(),
                |setup| linear(plan, setup),
                [deg(options.rudder_deg), job.scenario.step_s],
            )?;
            let (verdict, margins) = told(&turn.judged);
            Ok(TurnRow {
                turn,
                verdict,
                margins,
            })
        })
        .collect()
}
