//! The least that any law could reach with the fins as busy as under the law found: how much is left.
//!
//! # Equation
//! That of [`crate::closed_loop::bound`], for every case and every term of the objective that is an RMS.
//!
//! # Valid when
//! As there: linear, no limits, one sea, no margins. A mean over cases and terms has no such bound: each
//! number's own bound spends all fin activity on it alone.
//!
//! # Checked by
//! `a_tuned_law_is_confirmed` (tests/tuning_craft.rs)

use std::sync::Arc;

use nalgebra::Vector3;
use serde::Serialize;

use super::judge::CraftJudge;
use super::objective::Term;
use crate::closed_loop::bound::craft::{self as bound, Quantity};
use crate::closed_loop::bound::grid;
use crate::closed_loop::{AtSpeed, DragModel, LoopCraft, Output};
use crate::error::Result;
use crate::metrics::pool::Quantity as Number;
use crate::spec::controller::ControllerSpec;
use crate::spec::validate::TuningBundle;
use crate::units::{deg, to_deg};

/// A number beside the least that can be reached.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Least {
    /// Least RMS at the law's own fin RMS angle and rate, in the term's unit.
    pub rms: f64,
    /// What the law itself comes to in the same linear model.
    pub with_law: f64,
    /// Share by which the law lies above it, per cent.
    pub above_percent: f64,
}

impl CraftJudge {
    /// The least of every term in every case, case by case; none where a term is no RMS or the sea does not
    /// move it. `done` is called after every case.
    ///
    /// # Errors
    /// A law that cannot be made, an unstable craft that it does not hold.
    pub fn least(
        &self,
        spec: &ControllerSpec,
        bundle: &TuningBundle,
        done: &(dyn Fn() + Sync),
    ) -> Result<Vec<Option<Least>>> {
        let terms = &self.objective.terms;
        let mut out = vec![None; self.objective.cases.len() * terms.len()];
        let options = bound::Options {
            noise: bundle.tuning.spec.physics.sensor_errors,
            ..bound::Options::default()
        };
        for (k, linear) in self.linear(spec)?.into_iter().enumerate() {
            let craft = self.craft(k);
            let (channels, signals) = bound::ports(craft, std::slice::from_ref(&linear));
            let at = Arc::new(AtSpeed::new(Arc::clone(craft), &channels, &signals)?);
            let laws = [(spec.name.clone(), linear)];
            let wanted: Vec<Quantity> = terms.iter().filter_map(|t| quantity(t, craft)).collect();
            let cases = self.objective.cases.iter().enumerate();
            for (i, case) in cases.filter(|c| c.1.speed == k) {
                let sea = &bundle.seas[case.case];
                let met = at.at_sea(
                    &sea.spec,
                    sea.source.folder(),
                    deg(case.heading_deg),
                    &grid::fineness(&sea.spec, 1),
                    DragModel::Gaussian,
                )?;
                let found = bound::bounds(&met, &wanted, &laws, &options)?;
                for (t, term) in terms.iter().enumerate() {
                    let of = found.bounds.iter().find(|b| b.name == term.name);
                    out[i * terms.len() + t] = of.and_then(|b| b.laws.first()).map(|p| Least {
                        rms: scale(term) * p.place.least,
                        with_law: scale(term) * p.ride,
                        above_percent: 100.0 * p.distance,
                    });
                }
                done();
            }
        }
        Ok(out)
    }
}

/// What the bound is asked for; none for numbers that are no RMS of one output.
fn quantity(term: &Term, craft: &LoopCraft) -> Option<Quantity> {
    let point = || craft.points.iter().find(|p| p.name == term.of);
    let at = |f: &dyn Fn(Vector3<f64>) -> Output| point().map(|p| f(p.r_m));
    let output = match (term.quantity, term.of.as_str()) {
        (Number::MotionRms, "heave") => Some(Output::Motion(2)),
        (Number::MotionRms, "roll") => Some(Output::Motion(3)),
        (Number::MotionRms, _) => Some(Output::Motion(4)),
        (Number::VerticalRms, _) => at(&|r_m| Output::Acceleration { r_m, axis: 2 }),
        (Number::LateralRms, _) => at(&|r_m| Output::Felt { r_m, axis: 1 }),
        _ => None,
    };
    output.map(|o| Quantity {
        name: term.name.clone(),
        parts: vec![(o, 1.0)],
    })
}

fn scale(term: &Term) -> f64 {
    if term.unit == "deg" { to_deg(1.0) } else { 1.0 }
}
