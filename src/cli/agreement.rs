//! Tables of agreement between spectral method and simulator, on the terminal and in a document.

use std::fmt::Write as _;
use std::path::Path;

use super::cmd_compare::heading_word;
use super::output::replace;
use super::table::table;
use crate::campaign::agreement::{
    Agreement, COMPARED, Compared, PairedCell, Ratio, Summary, WORST_MEDIAN_FRAC,
    WORST_SINGLE_FRAC, Why,
};
use crate::error::{Error, Result};

/// Everything between these two lines of a document is generated.
pub(super) const MARKS: (&str, &str) = (
    "<!-- agreement: generated, do not edit -->",
    "<!-- end of agreement -->",
);

const HEADS: [&str; 7] = [
    "waves, law",
    "heave",
    "pitch",
    "roll",
    "vertical",
    "forward fins",
    "aft fins",
];

fn name(c: Compared) -> &'static str {
    match c {
        Compared::Heave => "heave",
        Compared::Pitch => "pitch",
        Compared::Roll => "roll",
        Compared::Vertical => "vertical",
        Compared::Forward => "forward fins",
        Compared::Aft => "aft fins",
    }
}

/// Difference and half width; in brackets where agreement is not required.
fn entry(cell: &PairedCell, r: &Ratio) -> String {
    let half = r.difference_half_width;
    let text = format!("{:+.1}±{:.1}", 100.0 * r.difference, 100.0 * half);
    if cell.why_not(r).is_none() {
        text
    } else {
        format!("({text})")
    }
}

fn row(cell: &PairedCell) -> Vec<String> {
    let mut row = vec![cell.law.clone()];
    for c in COMPARED {
        let r = cell.ratios.iter().find(|r| r.compared == c);
        row.push(r.map_or_else(|| "-".to_owned(), |r| entry(cell, r)));
    }
    row
}

/// Reasons of a cell in words, each once.
fn reasons(cell: &PairedCell) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    if let Some(w) = &cell.refused {
        out.push(w.clone());
    }
    for r in &cell.ratios {
        let words = match cell.why_not(r) {
            None | Some(Why::Restoring) => continue,
            Some(Why::Limits) => format!(
                "fins on limits {:.0} % of the time",
                100.0 * cell.limit_frac
            ),
            Some(Why::Slow) => format!("{}: {:.0} % slow", name(r.compared), 100.0 * r.slow_frac),
            Some(Why::Ended) => format!("run ended: {}", cell.endings[0]),
            Some(Why::Uncertain) => format!(
                "{}: known to {:.1} % only",
                name(r.compared),
                100.0 * r.difference_half_width
            ),
        };
        if !out.contains(&words) {
            out.push(words);
        }
    }
    out
}

fn place(cell: &PairedCell) -> String {
    format!(
        "{:.0} kn, {} {:.0}°",
        cell.speed_kn,
        heading_word(cell.heading_deg),
        cell.heading_deg
    )
}

/// Tables for the terminal.
pub(super) fn tables(a: &Agreement) -> String {
    let mut text = String::new();
    for (what, cells) in a.parts() {
        let _ = write!(
            text,
            "\n{} in {}: spectral over simulated RMS, per cent, {what}\n",
            a.craft, a.sea
        );
        let mut rows = Vec::new();
        let mut last = String::new();
        for c in cells {
            let here = place(c);
            if here != last {
                let mut head = vec![String::new(); HEADS.len()];
                head[0].clone_from(&here);
                rows.push(head);
                last = here;
            }
            let mut r = row(c);
            r[0] = format!("\u{a0}{}", r[0].replace(' ', "\u{a0}"));
            rows.push(r);
        }
        text += &table(HEADS, rows);
        text.push('\n');
        for c in cells {
            for why in reasons(c) {
                let _ = writeln!(text, "  {}, {}: {why}", place(c), c.law);
            }
        }
    }
    text
}

/// Median and worst of what has to agree.
pub(super) fn summary(all: &[Agreement]) -> String {
    let s = Summary::of(all);
    format!(
        "\nWhere agreement is required: {} values, median difference {:.1} % (asked {:.0} %), worst {:.1} % (asked \
         {:.0} %): {}.\nThe same values by the linear part alone: median {:.1} %, worst {:.1} %.\nFull restoring, same \
         conditions: {} values, median {:.1} %, worst {:.1} %.",
        s.required.count,
        100.0 * s.required.median,
        100.0 * WORST_MEDIAN_FRAC,
        100.0 * s.required.worst,
        100.0 * WORST_SINGLE_FRAC,
        if s.met() { "met" } else { "not met" },
        100.0 * s.linear_part.median,
        100.0 * s.linear_part.worst,
        s.full.count,
        100.0 * s.full.median,
        100.0 * s.full.worst,
    )
}

/// The generated part of the document.
pub(super) fn markdown(all: &[Agreement]) -> String {
    let mut text = String::new();
    let _ = writeln!(text, "{}\n", summary(all).trim().replace('\n', " "));
    for a in all {
        for (what, cells) in a.parts() {
            let _ = write!(
                text,
                "### {}, {what}\n\n| case | {} | remark |\n|---|---|---|---|---|---|---|---|\n",
                a.sea,
                HEADS[1..].join(" | ")
            );
            for c in cells {
                let r = row(c);
                let _ = writeln!(
                    text,
                    "| {}, {} | {} |",
                    place(c),
                    r.join(" | "),
                    reasons(c).join("; ")
                );
            }
            text.push('\n');
        }
    }
    text
}

/// Writes the tables between the marks of a document.
///
/// # Errors
/// A document without marks, or that cannot be read or written.
pub(super) fn renew(file: &Path, all: &[Agreement]) -> Result<()> {
    let document =
        std::fs::read_to_string(file).map_err(|e| Error::io("read this document", file, &e))?;
    let parts = document
        .split_once(MARKS.0)
        .and_then(|(head, rest)| Some((head, rest.split_once(MARKS.1)?.1)));
    let Some((head, tail)) = parts else {
        return Err(Error::with_hint(
            format!("`{}` has no place for the table", file.display()),
            format!("write `{}` and `{}` where it shall stand", MARKS.0, MARKS.1),
        ));
    };
    let text = format!(
        "{head}{}\n\n{}\n{}{tail}",
        MARKS.0,
        markdown(all).trim_end(),
        MARKS.1
    );
    replace(file, &text)
}
