//! A scenario made ready: the craft's model, a plant with its trim for every speed, the laws.

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::closed_loop;
use crate::control::lqr::LqrMatrices;
use crate::control::signal::Setup;
use crate::control::{self, Controller};
use crate::design;
use crate::design::lqr::LqrDesignReport;
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::linear::assemble::assemble;
use crate::linear::modes::{self, Pole};
use crate::linear::trim::{self, Trim};
use crate::math::ode::Tolerance;
use crate::math::rng::{Purpose, generator};
use crate::sea::realisation::{Realisation, realise};
use crate::sim::bake::{self, Recipe};
use crate::sim::case::{Case, Integrator, Sensing, Timing};
use crate::sim::checks::{self, Narrowest, Warning};
use crate::sim::craft::Craft;
use crate::sim::faults;
use crate::sim::orders;
use crate::sim::setup::setup;
use crate::spec::controller::ControllerSpec;
use crate::spec::fault::{FaultEventSpec, FaultSpec};
use crate::spec::orders::{ActionSpec, OrderSpec};
use crate::spec::scenario::{self as paper, CourseSpec, ScenarioSpec};
use crate::spec::sea::SeaSpec;
use crate::spec::validate::Bundle;
use crate::units::{deg, kn};

/// A law with the gains it needs, ready to be handed to runs.
#[derive(Clone, Debug)]
pub struct LawPlan {
    /// What its file says.
    pub spec: ControllerSpec,
    /// Where its file lies.
    pub folder: PathBuf,
    /// Solved gains of an LQR.
    pub matrices: Option<LqrMatrices>,
    /// How they were solved.
    pub report: Option<LqrDesignReport>,
}

impl LawPlan {
    /// Reads the law of a file and solves what has to be solved on the craft.
    ///
    /// # Errors
    /// What is wrong with the file, or why no gains exist.
    pub fn new(spec: &ControllerSpec, folder: &Path, model: &CraftModel) -> Result<Self> {
        let solved = design::solve(spec, model)?;
        let (matrices, report) = solved.map_or((None, None), |(m, r)| (Some(m), Some(r)));
        let plan = LawPlan {
            spec: spec.clone(),
            folder: folder.to_owned(),
            matrices,
            report,
        };
        plan.make()?;
        Ok(plan)
    }

    /// The same law with default modes when its file has none and orders ask for them.
    fn under(mut self, orders: &[OrderSpec]) -> Self {
        let asks = |o: &OrderSpec| match &o.order {
            ActionSpec::Mode(_) | ActionSpec::Fin { .. } => true,
            ActionSpec::Release { surface } => surface.is_some(),
            _ => false,
        };
        if orders.iter().any(asks) {
            self.spec.modes.get_or_insert_default();
        }
        self
    }

    /// A fresh law for one run.
    ///
    /// # Errors
    /// As [`control::from_spec`].
    pub fn make(&self) -> Result<Box<dyn Controller>> {
        control::from_spec(&self.spec, &self.folder, self.matrices.clone())
    }
}

/// One speed of a scenario.
#[derive(Clone)]
pub struct SpeedStage {
    /// Speed, kn.
    pub speed_kn: f64,
    /// The craft at that speed.
    pub plant: Arc<Plant>,
    /// Its equilibrium.
    pub trim: Trim,
    /// What laws are told.
    pub setup: Setup,
    /// Poles with fins fixed.
    pub poles: Vec<Pole>,
}

/// What of a case differs from its scenario.
pub struct Variant<'a> {
    /// What breaks, in place of the scenario's faults.
    pub events: &'a [FaultEventSpec],
    /// What is ordered, in place of the scenario's orders.
    pub orders: &'a [OrderSpec],
    /// The craft under way, in place of the speed's plant; it must have the same layout.
    pub craft: Option<Arc<dyn Craft>>,
    /// How course and speed are kept.
    pub course: &'a CourseSpec,
}

/// A scenario made ready.
#[derive(Clone)]
pub struct Stage {
    /// The scenario.
    pub scenario: ScenarioSpec,
    /// The sea.
    pub sea: SeaSpec,
    /// Folder of the sea file.
    pub sea_folder: PathBuf,
    /// The craft.
    pub model: CraftModel,
    /// Speeds in the scenario's order.
    pub speeds: Vec<SpeedStage>,
    /// Laws in the scenario's order.
    pub laws: Vec<LawPlan>,
    /// What breaks in every run, if anything.
    pub fault: Option<FaultSpec>,
}

impl Stage {
    /// Makes a scenario ready: tables, trims, gains; everything that can fail fails here.
    ///
    /// # Errors
    /// Anything wrong with the craft or a law, at its key.
    pub fn new(bundle: &Bundle, cache: Option<&Path>) -> Result<Self> {
        let scenario = &bundle.scenario.spec;
        let model = CraftModel::build(&bundle.craft.spec, &scenario.physics, cache)
            .map_err(|e| Error::from(crate::spec::locate(e.problems, &bundle.craft.source)))?;
        Stage::on(model, bundle)
    }

    /// The same on a model that is built already.
    ///
    /// # Errors
    /// As [`Stage::new`].
    pub fn on(model: CraftModel, bundle: &Bundle) -> Result<Self> {
        let scenario = &bundle.scenario.spec;
        let speeds = scenario
            .speeds_kn
            .iter()
            .map(|&speed| SpeedStage::new(&model, scenario, speed))
            .collect::<Result<Vec<_>>>()?;
        let laws = bundle
            .controllers
            .iter()
            .map(|c| {
                let plan = LawPlan::new(&c.spec, c.source.folder(), &model)?;
                Ok(plan.under(&scenario.orders))
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(Stage {
            scenario: scenario.clone(),
            sea: bundle.sea.spec.clone(),
            sea_folder: bundle.sea.source.folder().to_owned(),
            model,
            speeds,
            laws,
            fault: bundle.fault.as_ref().map(|f| f.spec.clone()),
        })
    }

    /// Duration with run-in, s.
    pub fn whole_s(&self) -> f64 {
        self.scenario.duration_s + self.scenario.run_in_s
    }

    /// The sea of one speed, heading and seed.
    ///
    /// # Errors
    /// As [`realise`].
    pub fn sea(&self, speed: &SpeedStage, heading_deg: f64, seed: u64) -> Result<Realisation> {
        self.sea_keyed(speed, heading_deg, (seed, 0))
    }

    /// The same under a key of seed and case.
    ///
    /// # Errors
    /// As [`realise`].
    pub fn sea_keyed(
        &self,
        speed: &SpeedStage,
        heading_deg: f64,
        key: (u64, u64),
    ) -> Result<Realisation> {
        let mut rng = generator(key.0, key.1, Purpose::Waves, 0);
        realise(
            &self.sea,
            &self.sea_folder,
            deg(heading_deg),
            kn(speed.speed_kn),
            self.whole_s(),
            &mut rng,
        )
    }

    /// The case of one speed, heading and seed, with the scenario's faults.
    ///
    /// # Errors
    /// Timings that do not fit each other; a sea that cannot be drawn.
    pub fn case(&self, speed: &SpeedStage, heading_deg: f64, seed: u64) -> Result<Case> {
        let events = self.fault.as_ref().map_or(&[][..], |f| &f.events);
        self.case_with_faults(speed, heading_deg, seed, events)
    }

    /// The case of one speed, heading and seed in which `events` happen in place of the scenario's faults.
    ///
    /// # Errors
    /// As [`Stage::case`]; events that do not fit the craft, at `events[k]`.
    pub fn case_with_faults(
        &self,
        speed: &SpeedStage,
        heading_deg: f64,
        seed: u64,
        events: &[FaultEventSpec],
    ) -> Result<Case> {
        let variant = self.varied(events);
        self.case_varied(speed, heading_deg, seed, &variant)
    }

    fn varied<'a>(&'a self, events: &'a [FaultEventSpec]) -> Variant<'a> {
        Variant {
            events,
            orders: &self.scenario.orders,
            craft: None,
            course: &self.scenario.course,
        }
    }

    /// The case of one speed, heading and seed in which some things differ from the scenario.
    ///
    /// # Errors
    /// As [`Stage::case_with_faults`].
    pub fn case_varied(
        &self,
        speed: &SpeedStage,
        heading_deg: f64,
        seed: u64,
        variant: &Variant,
    ) -> Result<Case> {
        let sea = self.sea(speed, heading_deg, seed)?;
        let mut case = self.case_built(speed, &sea, (seed, 0), variant)?;
        case.parts.name = format!("{} kn, {heading_deg} deg, seed {seed}", speed.speed_kn);
        case.warnings.extend(self.case_warnings(speed, &sea));
        Ok(case)
    }

    /// The case of one speed in a sea that is there already; `key` (seed and case) is that of all other random
    /// streams. What spoils the sea is not looked at.
    ///
    /// # Errors
    /// As [`Stage::case_with_faults`], but for the sea.
    pub fn case_in(
        &self,
        speed: &SpeedStage,
        sea: &Realisation,
        key: (u64, u64),
        events: &[FaultEventSpec],
    ) -> Result<Case> {
        self.case_built(speed, sea, key, &self.varied(events))
    }

    fn case_built(
        &self,
        speed: &SpeedStage,
        sea: &Realisation,
        key: (u64, u64),
        variant: &Variant,
    ) -> Result<Case> {
        let s = &self.scenario;
        let timing = Timing::new(
            s.duration_s,
            s.run_in_s,
            s.step_s,
            speed.setup.sample_period_s,
            s.record_s,
        )?;
        let mut parts = bake::parts(&Recipe {
            name: format!("{} kn", speed.speed_kn),
            model: &self.model,
            plant: speed.plant.clone(),
            trim: &speed.trim,
            sea,
            timing,
            integrator: self.integrator(),
            course: variant.course,
            sensing: Sensing::Suite {
                craft: Arc::new(self.model.craft.spec.clone()),
                errors: s.physics.sensor_errors,
                seed: key.0,
                case: key.1,
            },
        });
        if let Some(craft) = &variant.craft {
            parts.craft = Arc::clone(craft);
        }
        parts.orders = orders::events(variant.orders, &parts.setup)?;
        parts.faults = faults::resolve(variant.events, &self.model.craft.spec, key.0, key.1)?;
        Case::new(parts)
    }

    /// The integrator of its cases.
    pub fn integrator(&self) -> Integrator {
        match self.scenario.integrator.unwrap_or_default() {
            paper::Integrator::FixedStep => Integrator::FixedStep,
            paper::Integrator::PredictorCorrector => Integrator::PredictorCorrector,
            paper::Integrator::Dopri5 => Integrator::Reference(Tolerance::default()),
        }
    }

    /// What the spectral method takes into account: all, but noise where the scenario has none.
    pub fn spectral_options(&self) -> closed_loop::Options {
        closed_loop::Options {
            noise: self.scenario.physics.sensor_errors,
            ..closed_loop::Options::default()
        }
    }

    /// Takes the integrator for many seas, where the scenario asks for none.
    pub fn for_many_seas(&mut self) {
        let quick = paper::Integrator::PredictorCorrector;
        self.scenario.integrator.get_or_insert(quick);
    }

    /// Spacing of the components against the narrowest response, repetition, length, step.
    pub(super) fn case_warnings(&self, speed: &SpeedStage, sea: &Realisation) -> Vec<Warning> {
        let u = kn(speed.speed_kn);
        let encounter: Vec<f64> = sea
            .components
            .iter()
            .map(|c| c.encounter_rad_s(u))
            .collect();
        let s = &self.scenario;
        let mut out = Vec::new();
        // predictor and corrector knows the servos' paths within a step, and tells itself of a step too long
        if self.integrator() != Integrator::PredictorCorrector {
            let servos = speed.plant.actuators.iter();
            let fastest = servos.map(|a| a.natural_frequency_rad_s);
            out.extend(checks::step_length(s.step_s, fastest.fold(0.0, f64::max)));
        }
        if sea.components.len() < 2 {
            return out;
        }
        out.extend(
            speed
                .narrowest()
                .and_then(|n| checks::component_spacing(&encounter, &n)),
        );
        out.extend(checks::repetition(&encounter, self.whole_s()));
        let judged_s = s.duration_s * s.seeds.len() as f64;
        out.extend(checks::record_length(judged_s, mean_period_s(sea, u)));
        out
    }
}

impl SpeedStage {
    fn new(model: &CraftModel, scenario: &ScenarioSpec, speed_kn: f64) -> Result<Self> {
        let plant = model.plant(kn(speed_kn), &scenario.course)?;
        let trim = trim::level(&plant)?;
        let linear = assemble(&plant, &trim.x, None);
        let poles = modes::poles(&linear)?;
        if trim.x.iter().any(|v| !v.is_finite()) {
            return Err(Error::new(format!(
                "the trim at {speed_kn} kn is not finite"
            )));
        }
        let setup = setup(model, &plant, &trim);
        Ok(SpeedStage {
            speed_kn,
            plant: Arc::new(plant),
            trim,
            setup,
            poles,
        })
    }

    /// The narrowest stable response of heave, roll or pitch with fins fixed.
    fn narrowest(&self) -> Option<Narrowest> {
        self.poles
            .iter()
            .filter(|p| matches!(p.motion, Some(Dof::Heave | Dof::Roll | Dof::Pitch)))
            .filter(|p| p.value.im > 0.1 && p.value.re < 0.0)
            .map(|p| Narrowest {
                omega_rad_s: p.value.im,
                half_bandwidth_rad_s: -p.value.re,
            })
            .min_by(|a, b| a.half_bandwidth_rad_s.total_cmp(&b.half_bandwidth_rad_s))
    }
}

/// Mean period of encounter, weighted with the waves' energy, s.
fn mean_period_s(sea: &Realisation, speed_m_s: f64) -> f64 {
    let (energy, rate) = sea.components.iter().fold((0.0, 0.0), |(e, r), c| {
        let of = c.amplitude_m * c.amplitude_m;
        (e + of, r + of * c.encounter_rad_s(speed_m_s).abs())
    });
    TAU * energy / rate
}
