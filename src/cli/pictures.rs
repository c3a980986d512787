//! Pictures of the craft verbs: from their results to figures of the report room.

use std::path::Path;

use super::shell::Shell;
use crate::error::Result;
use crate::geometry::craft::Craft;
use crate::hydro::surface::Surface;
use crate::report::chart::{Figure, Heading};
use crate::report::craft_views::craft_views;

/// Writes a figure and says so.
fn write(figure: &Figure, dir: &Path, stem: &str, shell: &mut Shell) -> Result<()> {
    for file in figure.write(dir, stem)? {
        shell.talk(&format!("wrote {}", file.display()));
    }
    Ok(())
}

/// The craft in plan, profile and section.
pub(super) fn craft(
    craft: &Craft,
    surfaces: &[Surface],
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    let heading = Heading::new(
        &craft.spec.name,
        "Plan, profile and section",
        &craft.spec.note,
    );
    write(&craft_views(craft, surfaces, heading), dir, "craft", shell)
}
