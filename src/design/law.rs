//! The one entry from a controller file and a craft to a law ready to run.

use std::path::Path;

use super::between;
use super::craft::{self, Surroundings};
use super::lqr::{LqrDesignReport, LqrPlants};
use crate::control::lqr::LqrMatrices;
use crate::control::{self, Controller};
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::units::kn;

/// The law of a controller file for a craft. `folder` is where the file lies. Gains of an LQR are
/// solved at the file's design speeds; what was found is handed back with the law.
///
/// # Errors
/// Every number of the file that is out of range, channels the craft does not have, no equilibrium at a
/// design speed, a mode that cannot be stabilised.
pub fn law(
    spec: &ControllerSpec,
    folder: &Path,
    model: &CraftModel,
) -> Result<(Box<dyn Controller>, Option<LqrDesignReport>)> {
    let solved = solve(spec, model)?;
    let (matrices, report) = solved.map_or((None, None), |(m, r)| (Some(m), Some(r)));
    Ok((control::from_spec(spec, folder, matrices)?, report))
}

/// The gains that a law needs solved on the craft, checked between the design speeds; none for laws
/// whose gains stand in their file. The craft is taken as it is loaded: another loading is another model
/// and other gains.
///
/// # Errors
/// As [`law`]; gains that do not hold the craft between two design speeds.
pub fn solve(
    spec: &ControllerSpec,
    model: &CraftModel,
) -> Result<Option<(LqrMatrices, LqrDesignReport)>> {
    let LawSpec::Lqr(numbers) = &spec.law else {
        return Ok(None);
    };
    let Some(plants) = prepare(spec, model)? else {
        return Ok(None);
    };
    let solved = plants.solve(numbers)?;
    between::check(&spec.name, &solved.0, model, &spec.channels)?;
    Ok(Some(solved))
}

/// The models that the gains of a law are solved on, at its design speeds: for solving again and again
/// with other weights. None for laws that need none.
///
/// # Errors
/// Channels the craft does not have, no equilibrium at a design speed.
pub fn prepare(spec: &ControllerSpec, model: &CraftModel) -> Result<Option<LqrPlants>> {
    let LawSpec::Lqr(numbers) = &spec.law else {
        return Ok(None);
    };
    let around = Surroundings::default();
    let models = numbers
        .design_speeds_kn
        .iter()
        .map(|&speed_kn| {
            craft::at_speed(model, kn(speed_kn), &spec.channels)
                .map(|c| c.design_model(model, &around, numbers.sea.as_ref()))
                .map_err(|e| at(e, &spec.name, speed_kn))
        })
        .collect::<Result<Vec<_>>>()?;
    LqrPlants::new(&spec.name, models).map(Some)
}

fn at(mut e: Error, name: &str, speed_kn: f64) -> Error {
    for p in &mut e.problems {
        p.message = format!("LQR design for `{name}` at {speed_kn:.1} kn: {}", p.message);
    }
    e
}
