//! From the file of a craft to its model, with what is wrong told at its line.

use std::path::Path;

use super::args::CraftArg;
use super::shell::Shell;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::spec::craft::CraftSpec;
use crate::spec::load::{Loaded, load_craft, load_scenario};
use crate::spec::scenario::PhysicsSpec;
use crate::spec::source::locate;

/// The craft's file and the switches to use.
///
/// # Errors
/// When a file cannot be read or is wrong.
pub fn read(craft: &CraftArg) -> Result<(Loaded<CraftSpec>, PhysicsSpec)> {
    let physics = match &craft.switches {
        Some(file) => load_scenario(file)?.spec.physics,
        None => PhysicsSpec::default(),
    };
    Ok((load_craft(&craft.craft)?, physics))
}

/// The model; its warnings are told.
///
/// # Errors
/// When a file cannot be read or is wrong, or the craft cannot float as it says.
pub fn build(craft: &CraftArg, cache: Option<&Path>, shell: &mut Shell) -> Result<CraftModel> {
    let (file, physics) = read(craft)?;
    let model = CraftModel::build(&file.spec, &physics, cache)
        .map_err(|e| Error::from(locate(e.problems, &file.source)))?;
    for warning in &model.warnings {
        shell.warn(warning, None);
    }
    Ok(model)
}

/// `Tarnwick, 266.1 t` and the like: what a table is about.
pub fn title(model: &CraftModel, what: &str) -> String {
    let tonnes = model.craft.mass.mass_kg / 1000.0;
    format!("{what}: {}, {tonnes:.1} t", model.craft.spec.name)
}
