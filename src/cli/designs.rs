//! The table of what was found when the gains of laws were solved.

use super::shell::Shell;
use super::table;
use crate::campaign::design::{DesignPoint, LawDesign};
use crate::error::Result;

/// Tells residuals, poles and reach of every law with solved gains.
pub(super) fn print(designs: &[LawDesign], shell: &mut Shell) -> Result<()> {
    for d in designs {
        shell.data(&format!("\n{}: gains solved at the design speeds", d.law))?;
        let heads = [
            "speed\nkn",
            "residual\nregulator",
            "residual\nobserver",
            "slowest\ndecay 1/s",
            "least\ndamping",
            "reach of\nsurfaces",
            "reach of\nsensors",
        ];
        let rows: Vec<Vec<String>> = d.points.iter().map(row).collect();
        shell.data(&table::table(heads, rows))?;
    }
    if !designs.is_empty() {
        shell.data(
            "Residuals of the Riccati equations, relative. Reach: distance of heave, pitch or roll to the nearest\n\
             model that no surface moves or no sensor sees, as a fraction of the model; 0 is lost.",
        )?;
    }
    Ok(())
}

fn row(p: &DesignPoint) -> Vec<String> {
    vec![
        format!("{:.0}", p.speed_kn),
        format!("{:.0e}", p.regulator_residual),
        format!("{:.0e}", p.observer_residual),
        format!("{:.3}", p.slowest_1_s()),
        format!("{:.2}", p.least_damping()),
        format!("{:.1e}", p.least_reached()),
        format!("{:.1e}", p.least_seen()),
    ]
}
