//! Everything that cases share, made once: models, trims and laws of each craft and loading, and the
//! draws; and one case from it.
//!
//! What a case needs of its own (a plant changed by its draw, the amplitudes of its waves, its record)
//! is made when it runs and dropped with it, so memory depends on threads, craft, loadings and speeds,
//! not on the number of cases.
//!
//! # Checked by
//! `shards_threads_and_single_cases_give_the_same`, `laws_meet_the_same_seas_and_draws` (tests/campaign.rs)

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::columns;
use super::draw::{Draw, Draws};
use super::grid::{Grid, NO_FAULT, Spot, VesselName};
use super::row::{Ending, Row};
use crate::campaign::judge;
use crate::campaign::operability::peak_period_s;
use crate::campaign::stage::{SpeedStage, Stage};
use crate::dynamics::plant::Plant;
use crate::error::{Error, Problem, Result};
use crate::math::rng::{Purpose, generator};
use crate::sea::realisation::realise;
use crate::sim::bake::{self, Recipe};
use crate::sim::case::{Case, Sensing, Timing};
use crate::sim::faults;
use crate::sim::run::{Run, run};
use crate::spec::campaign::{CampaignSpec, DrawsSpec};
use crate::spec::fault::FaultEventSpec;
use crate::spec::load::Loaded;
use crate::spec::sea::SeaSpec;
use crate::spec::validate::{Bundle, CampaignBundle, campaign_scenario};
use crate::units::{deg, kn};

/// Least judged time of a run that is worth judging, s.
const LEAST_JUDGED_S: f64 = 60.0;

/// One craft and loading made ready.
struct Vessel {
    stage: Stage,
    /// Place of each of its columns among the campaign's.
    columns: Vec<usize>,
}

/// A campaign made ready.
pub struct Rig {
    /// The campaign.
    pub spec: CampaignSpec,
    /// Its grid.
    pub grid: Grid,
    /// Names of the numbers of a row.
    pub columns: Vec<String>,
    /// Columns that tables tell of.
    pub report: Vec<String>,
    /// Random numbers of all draws.
    pub draws: Draws,
    vessels: Vec<Vessel>,
    seas: Vec<(SeaSpec, PathBuf)>,
    /// Events of each fault of the grid; none where nothing breaks.
    faults: Vec<Vec<FaultEventSpec>>,
}

impl Rig {
    /// Makes a campaign ready: tables, trims, gains; everything that can fail for all cases fails here.
    ///
    /// # Errors
    /// Anything wrong with a craft, a law, or the columns asked for.
    pub fn new(bundle: &CampaignBundle, cache: Option<&Path>) -> Result<Self> {
        let spec = &bundle.campaign.spec;
        let seas = seas(bundle)?;
        let stages = bundle
            .vessels
            .iter()
            .map(|v| {
                Stage::new(
                    &Bundle {
                        scenario: Loaded {
                            spec: campaign_scenario(spec),
                            source: bundle.campaign.source.clone(),
                        },
                        craft: v.craft.clone(),
                        // each case brings its own
                        sea: Loaded {
                            spec: seas[0].0.clone(),
                            source: bundle.campaign.source.clone(),
                        },
                        controllers: bundle.laws.clone(),
                        fault: None,
                    },
                    cache,
                )
            })
            .collect::<Result<Vec<_>>>()?;
        let names: Vec<Vec<String>> = stages.iter().map(|s| columns::names(&s.model)).collect();
        let all = columns::union(&names);
        let place = |name: &String| all.iter().position(|c| c == name).unwrap_or(0);
        let report = report(bundle, &all, &stages)?;
        let vessels = stages.into_iter().zip(&names).map(|(stage, own)| Vessel {
            stage,
            columns: own.iter().map(place).collect(),
        });
        Ok(Rig {
            grid: grid(bundle, &seas),
            draws: Draws::new(spec.seed, &spec.draws, &spec.uncertain),
            vessels: vessels.collect(),
            seas,
            faults: healthy(spec)
                .map(|()| Vec::new())
                .into_iter()
                .chain(bundle.faults.iter().map(|f| f.spec.events.clone()))
                .collect(),
            columns: all,
            report,
            spec: spec.clone(),
        })
    }

    /// What a user should know of the craft before believing the numbers.
    pub fn warnings(&self) -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        for w in self.vessels.iter().flat_map(|v| &v.stage.model.warnings) {
            if !out.contains(w) {
                out.push(w.clone());
            }
        }
        out
    }

    /// Simulated time of one case, s.
    pub fn case_s(&self) -> f64 {
        self.spec.duration_s + self.spec.run_in_s
    }

    fn speed(&self, spot: &Spot) -> &SpeedStage {
        &self.vessels[spot.vessel].stage.speeds[spot.speed]
    }

    /// The plant of a case.
    fn plant(&self, spot: &Spot, draw: &Draw) -> Arc<Plant> {
        let speed = self.speed(spot);
        if draw.spares_the_craft() {
            return Arc::clone(&speed.plant);
        }
        let mass = &self.vessels[spot.vessel].stage.model.craft.mass;
        Arc::new(draw.plant(&speed.plant, mass, &speed.trim.x))
    }

    /// Case `spot`, baked.
    ///
    /// # Errors
    /// Timings that do not fit each other; a sea that cannot be drawn.
    pub fn case(&self, spot: &Spot) -> Result<Case> {
        let s = &self.spec;
        let stage = &self.vessels[spot.vessel].stage;
        let speed = self.speed(spot);
        let timing = Timing::new(
            s.duration_s,
            s.run_in_s,
            s.step_s,
            speed.setup.sample_period_s,
            s.record_s,
        )?;
        let draw = self.draws.draw(spot.draw);
        let key = spot.draw as u64;
        let (sea, folder) = &self.seas[spot.sea];
        let sea = realise(
            sea,
            folder,
            deg(s.headings_deg[spot.heading]),
            kn(speed.speed_kn),
            self.case_s(),
            &mut generator(s.seed, key, Purpose::Waves, 0),
        )?;
        let mut craft = stage.model.craft.spec.clone();
        craft.sensors = draw.sensors(&craft.sensors);
        let mut parts = bake::parts(&Recipe {
            name: self.grid.words(spot.case),
            model: &stage.model,
            plant: self.plant(spot, &draw),
            trim: &speed.trim,
            sea: &sea,
            timing,
            integrator: stage.integrator(),
            course: &s.course,
            sensing: Sensing::Suite {
                craft: Arc::new(craft),
                errors: s.physics.sensor_errors,
                seed: s.seed,
                case: key,
            },
        });
        // the law knows the nominal craft, not the draw
        parts.setup.clone_from(&speed.setup);
        let events = &self.faults[spot.fault];
        parts.faults = faults::resolve(events, &stage.model.craft.spec, s.seed, key)?;
        let mut case = Case::new(parts)?;
        case.warnings.extend(stage.case_warnings(speed, &sea));
        Ok(case)
    }

    /// Runs a case.
    ///
    /// # Errors
    /// As [`Rig::case`]; a law that cannot be made.
    pub fn run(&self, spot: &Spot) -> Result<Run> {
        let case = self.case(spot)?;
        let mut law = self.vessels[spot.vessel].stage.laws[spot.law].make()?;
        Ok(run(&case, law.as_mut()))
    }

    /// The row of a case. It always exists: what cannot be set up or fails is a row that says so.
    pub fn row(&self, spot: &Spot) -> Row {
        self.row_of(spot, |rig| rig.run(spot))
    }

    /// The row of a run that is there already.
    fn row_of(&self, spot: &Spot, run: impl FnOnce(&Rig) -> Result<Run>) -> Row {
        let drawn = self.draws.values(spot.draw).to_vec();
        let failed = |outcome, said: String| Row {
            case: spot.case,
            outcome,
            said: Some(said),
            ended_s: Some(0.0),
            in_validity: false,
            warnings: Vec::new(),
            drawn: drawn.clone(),
            numbers: Vec::new(),
        };
        match catch_unwind(AssertUnwindSafe(|| {
            run(self).map(|r| self.judged(spot, &r))
        })) {
            Ok(Ok(row)) => row,
            Ok(Err(e)) => failed(Ending::NotSetUp, e.to_string()),
            Err(cause) => {
                let words = cause.downcast_ref::<&str>().map(ToString::to_string);
                let words = words.or_else(|| cause.downcast_ref::<String>().cloned());
                let words = words.unwrap_or_else(|| "without a word".to_owned());
                failed(Ending::ProgramFailed, words)
            }
        }
    }

    /// The row of a run.
    pub fn judged(&self, spot: &Spot, run: &Run) -> Row {
        let vessel = &self.vessels[spot.vessel];
        let model = &vessel.stage.model;
        let record = &run.record;
        let judged_s = record.judged().len() as f64 * record.interval_s;
        let mut numbers = Vec::new();
        let mut in_validity = false;
        if judged_s >= LEAST_JUDGED_S.min(self.spec.duration_s) {
            let points: Vec<String> = model.craft.points.iter().map(|p| p.0.clone()).collect();
            let plant = self.plant(spot, &self.draws.draw(spot.draw));
            let ride = judge::report(run, &plant, &points);
            in_validity = ride.in_validity;
            numbers = vec![None; self.columns.len()];
            for (at, v) in vessel.columns.iter().zip(columns::numbers(model, &ride)) {
                numbers[*at] = v.is_finite().then_some(v);
            }
        }
        let completed = run.outcome.is_completed();
        Row {
            case: spot.case,
            outcome: Ending::of(&run.outcome),
            said: (!completed).then(|| run.outcome.to_string()),
            ended_s: run.outcome.ended_s(),
            in_validity,
            warnings: run.warnings.iter().map(ToString::to_string).collect(),
            drawn: self.draws.values(spot.draw).to_vec(),
            numbers,
        }
    }
}

/// Places without a fault are wanted.
fn healthy(spec: &CampaignSpec) -> Option<()> {
    (spec.healthy || spec.faults.is_empty()).then_some(())
}

/// Seas with the folders of their files: those named, then a diagram's classes that occur, by their middle.
fn seas(bundle: &CampaignBundle) -> Result<Vec<(SeaSpec, PathBuf)>> {
    let named = bundle.seas.iter();
    let mut out: Vec<_> = named
        .map(|s| (s.spec.clone(), s.source.folder().to_owned()))
        .collect();
    if let Some(diagram) = &bundle.scatter {
        let d = &diagram.spec;
        for (row, counts) in d.occurrences.iter().enumerate() {
            for (column, count) in counts.iter().enumerate() {
                if *count > 0.0 {
                    let sea = d.sea(d.hs_m(row), peak_period_s(d, column)?);
                    out.push((sea, diagram.source.folder().to_owned()));
                }
            }
        }
    }
    Ok(out)
}

fn grid(bundle: &CampaignBundle, seas: &[(SeaSpec, PathBuf)]) -> Grid {
    let spec = &bundle.campaign.spec;
    let vessel = |v: &crate::spec::validate::Vessel| VesselName {
        craft: v.craft.spec.name.clone(),
        loading: v.loading.clone(),
    };
    Grid {
        vessels: bundle.vessels.iter().map(vessel).collect(),
        speeds_kn: spec.speeds_kn.clone(),
        headings_deg: spec.headings_deg.clone(),
        seas: seas.iter().map(|s| s.0.name.clone()).collect(),
        faults: healthy(spec)
            .map(|()| NO_FAULT.to_owned())
            .into_iter()
            .chain(bundle.faults.iter().map(|f| f.spec.name.clone()))
            .collect(),
        laws: bundle.laws.iter().map(|l| l.spec.name.clone()).collect(),
        draws: spec.draws.clone(),
    }
}

/// Columns that tables tell of: those asked for, which must exist, or the usual ones.
fn report(bundle: &CampaignBundle, all: &[String], stages: &[Stage]) -> Result<Vec<String>> {
    let spec = &bundle.campaign.spec;
    let mut problems = Vec::new();
    let mut must_exist = |at: String, name: &String| {
        if !all.contains(name) {
            let p = Problem::at(at, format!("is {name:?}, which is no column of the rows"));
            let meant = crate::spec::closest(name, all.iter().map(String::as_str));
            problems.push(p.hint(match meant {
                Some(m) => format!("did you mean {m:?}?"),
                None => format!("columns are {}", all.join(", ")),
            }));
        }
    };
    for (i, name) in spec.report.iter().enumerate() {
        must_exist(format!("report[{i}]"), name);
    }
    if let DrawsSpec::Until { quantity, .. } = &spec.draws {
        must_exist("draws.until.quantity".into(), quantity);
    }
    if !problems.is_empty() {
        let problems = crate::spec::locate(problems, &bundle.campaign.source);
        return Err(Error::from(problems));
    }
    if !spec.report.is_empty() {
        return Ok(spec.report.clone());
    }
    let points = &stages[0].model.craft.points;
    let bridge = points.iter().find(|p| p.0 == "bridge");
    let point = bridge.or_else(|| points.first()).map(|p| p.0.as_str());
    Ok(columns::usual(all, point))
}
