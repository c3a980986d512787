//! The table of criteria sets: which cells meet them, and what comes nearest to its limit.

use super::cmd_compare::heading_word;
use super::shell::Shell;
use super::table;
use crate::campaign::criteria::JudgedCell;
use crate::error::Result;
use crate::metrics::criteria::Judgement;

/// Tells every set, cell by cell. `cells` is how many cells a set was laid against.
pub(super) fn print(judged: &[JudgedCell], cells: usize, shell: &mut Shell) -> Result<()> {
    for set in judged.chunks(cells.max(1)) {
        let Some(first) = set.iter().find_map(|c| c.judgement.as_ref()) else {
            continue;
        };
        shell.data(&format!("\nCriteria: {} ({})", first.set, first.source))?;
        let heads = [
            "case",
            "met",
            "nearest to its limit",
            "value",
            "limit",
            "margin\n%",
        ];
        shell.data(&table::table(heads, set.iter().map(row)))?;
        if !first.not_judged.is_empty() {
            shell.data(&format!(
                "Not judged, no such number: {}",
                first.not_judged.join("; ")
            ))?;
        }
    }
    Ok(())
}

fn row(c: &JudgedCell) -> Vec<String> {
    let case = format!(
        "{:.0} kn {} {:.0}°, {}",
        c.speed_kn,
        heading_word(c.heading_deg),
        c.heading_deg,
        c.law
    );
    let Some(j) = &c.judgement else {
        return vec![case, "run ended".to_owned()];
    };
    let mut row = vec![case, word(j).to_owned()];
    if let Some(v) = j
        .verdicts
        .iter()
        .min_by(|a, b| a.margin_frac.total_cmp(&b.margin_frac))
    {
        row.push(format!("{}, {}", v.what, v.of));
        row.push(format!("{:.3}", v.value.value));
        row.push(format!("{:.3}", v.limit));
        row.push(format!("{:+.0}", 100.0 * v.margin_frac));
    }
    row
}

/// Yes, no, or why the question stays open.
fn word(j: &Judgement) -> &'static str {
    if j.met {
        "yes"
    } else if j.verdicts.iter().all(|v| v.met) {
        "not judged" // outside validity, ended early, or a limit without its number
    } else {
        "no"
    }
}
