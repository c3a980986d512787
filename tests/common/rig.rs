//! The smaller demonstration craft at trim, for proofs of faults.
#![allow(dead_code, unreachable_pub)] // each test file uses its own part

use std::sync::{Arc, OnceLock};

use ridewright::control::Controller;
use ridewright::dynamics::model::CraftModel;
use ridewright::dynamics::plant::Plant;
use ridewright::linear::trim::{self, Trim};
use ridewright::sea::realisation::Realisation;
use ridewright::sim::case::{Case, Parts, Sensing, Timing};
use ridewright::sim::faults::resolve;
use ridewright::sim::run::{Run, run};
use ridewright::spec::fault::FaultEventSpec;
use ridewright::spec::scenario::{CourseSpec, PhysicsSpec};
use ridewright::units::kn;
use serde_json::{Value, json};

use crate::common;

pub const SURFACES: [&str; 6] = [
    "forward port",
    "forward starboard",
    "aft port",
    "aft starboard",
    "rudder port",
    "rudder starboard",
];

pub fn model() -> &'static CraftModel {
    static MODEL: OnceLock<CraftModel> = OnceLock::new();
    MODEL.get_or_init(|| common::model(&PhysicsSpec::default()))
}

pub fn at(at_s: f64, fault: Value) -> FaultEventSpec {
    let mut event = json!({"start": {"at_s": at_s}});
    event["fault"] = fault;
    serde_json::from_value(event).unwrap()
}

pub fn surface(name: &str, failure: Value) -> Value {
    let mut fault = json!({"surface": {"name": name}});
    fault["surface"]["failure"] = failure;
    fault
}

pub fn timing(duration_s: f64) -> Timing {
    Timing::new(duration_s, 0.0, 0.05, 0.1, 0.1).unwrap()
}

/// A craft at trim, its sensors without errors.
pub struct Rig {
    pub model: &'static CraftModel,
    pub plant: Arc<Plant>,
    pub trim: Trim,
    pub course: CourseSpec,
    pub sea: Realisation,
}

impl Rig {
    pub fn new(speed_kn: f64, course: CourseSpec) -> Self {
        let plant = Arc::new(model().plant(kn(speed_kn), &course).unwrap());
        let trim = trim::level(&plant).unwrap();
        Rig {
            model: model(),
            plant,
            trim,
            course,
            sea: Realisation::calm(),
        }
    }

    pub fn parts(&self, duration_s: f64, events: &[FaultEventSpec]) -> Parts {
        let t = timing(duration_s);
        let (m, p) = (self.model, &self.plant);
        let mut parts = common::parts(m, p, &self.trim, &self.sea, &self.course, t);
        parts.sensing = Sensing::Suite {
            craft: Arc::new(self.model.craft.spec.clone()),
            errors: false,
            seed: 1,
            case: 0,
        };
        parts.faults = resolve(events, &self.model.craft.spec, 1, 0).unwrap();
        parts
    }

    pub fn sail(
        &self,
        duration_s: f64,
        events: &[FaultEventSpec],
        law: &mut dyn Controller,
    ) -> Run {
        let r = run(&Case::new(self.parts(duration_s, events)).unwrap(), law);
        assert!(r.outcome.is_completed(), "{}", r.outcome);
        r
    }
}

pub fn pid() -> Box<dyn Controller> {
    common::law("controllers/pid.json")
}

pub fn last(r: &Run, column: &str) -> f64 {
    *r.record.column(column).unwrap().data.last().unwrap()
}

pub fn value(r: &Run, column: &str, t_s: f64) -> f64 {
    r.record.column(column).unwrap().data[(t_s / 0.1).round() as usize]
}
