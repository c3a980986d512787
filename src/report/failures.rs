//! Picture of a failure matrix: faults down, gravest first, laws and places across, cells coloured by severity with the
//! words; a strip at the right of a cell has the colour of the gravest class that intervals leave open.
//!
//! The colours are our own: from pale to dark, each darker than the one before, so that grey tells them apart too.
//!
//! # Checked by
//! `colours_darken_with_severity`

use super::chart::{
    Axis, Cell, Colour, Figure, Heading, Look, Note, Panel, Row as PictureRow, Shape,
};
use crate::campaign::failures::{Matrix, Row, Severity};

/// Height of a row of cells, px.
const ROW_PX: f64 = 19.0;
/// Width of a column of cells, px.
const COLUMN_PX: f64 = 200.0;
/// Width left of the cells, px.
const NAMES_PX: f64 = 330.0;
/// Share of a cell that is coloured.
const HALF: f64 = 0.47;
/// Share of a cell that shows the gravest class left open.
const STRIP: f64 = 0.06;

/// Colour of a class; of a worse ride the mildest shade.
pub fn colour(severity: Severity) -> Colour {
    match severity {
        Severity::NotJudged => Colour(255, 255, 255),
        Severity::None => Colour(233, 236, 226),
        Severity::RideWorse => SHADES[0].1,
        Severity::SlowDown => Colour(222, 158, 40),
        Severity::NoSpeedHolds => Colour(206, 112, 52),
        Severity::LimitPassed => Colour(176, 60, 34),
        Severity::ControlLost => Colour(86, 16, 52),
    }
}

/// Shades of a worse ride: up to this ratio, words.
const SHADES: [(f64, Colour, &str); 4] = [
    (1.25, Colour(208, 224, 238), "ride worse to +25 %"),
    (1.5, Colour(182, 213, 239), "to +50 %"),
    (2.0, Colour(154, 203, 240), "to +100 %"),
    (f64::INFINITY, Colour(120, 192, 242), "beyond"),
];

/// Colour of a row by what was seen.
fn shade(row: &Row) -> Colour {
    if row.severity != Severity::RideWorse {
        return colour(row.severity);
    }
    let ratio = row.worse_ratio.map_or(1.0, |r| r.value);
    let found = SHADES.iter().find(|s| ratio <= s.0);
    found.map_or(SHADES[0].1, |s| s.1)
}

/// Words of a cell.
fn words(row: &Row) -> String {
    if row.is_decided() {
        decided(row)
    } else {
        undecided(row)
    }
}

fn decided(row: &Row) -> String {
    let word = row.severity.words();
    let reached = row.runs.len() - row.ended_before_fault;
    let share =
        |i: &crate::math::stats::Interval| format!("{:.0}/{reached}", i.value * reached as f64);
    match row.severity {
        Severity::ControlLost => {
            let t = row.to_end_s.unwrap_or(0.0);
            format!("{word} {}, {t:.0} s", share(&row.ends))
        }
        Severity::LimitPassed => {
            let t = row.limit.as_ref().map_or(0.0, |l| l.after_s);
            format!("{word} {}, {t:.0} s", share(&row.passes_limit))
        }
        Severity::SlowDown => {
            let down = row.come_down.speed_kn;
            down.map_or(word.to_owned(), |v| format!("{word} to {v:.0} kn"))
        }
        Severity::RideWorse => format!("{word} {}", change(row)),
        Severity::None | Severity::NoSpeedHolds | Severity::NotJudged => word.to_owned(),
    }
}

fn undecided(row: &Row) -> String {
    let slow = row.slow_down.as_ref();
    let near = slow.map_or(row.nearest.as_ref(), |s| s.nearest.as_ref());
    match (row.at_most, near) {
        (Severity::LimitPassed, Some(n)) if n.next_frac.is_finite() => {
            let (seen, next) = (n.seen_frac, n.next_frac);
            format!("undecided: {seen:.2} to {next:.2} of limit")
        }
        (Severity::RideWorse, _) => format!("undecided: {}", change(row)),
        (most, _) => format!("undecided: to {}", most.words()),
    }
}

/// Change of the RMS with its interval.
fn change(row: &Row) -> String {
    let Some(r) = row.worse_ratio else {
        return String::new();
    };
    let of = |v: f64| 100.0 * (v - 1.0);
    let (value, low, high) = (of(r.value), of(r.low), of(r.high));
    if high.is_finite() {
        format!("{value:+.0} % ({low:.0} to {high:.0})")
    } else {
        format!("{value:+.0} %")
    }
}

/// One row of each law and place, in the order of laws within seas, speeds and headings.
fn columns(found: &Matrix) -> Vec<&Row> {
    let mut out: Vec<&Row> = Vec::new();
    for r in &found.rows {
        if out.iter().all(|c| c.law != r.law || !c.is_at(r)) {
            out.push(r);
        }
    }
    let sea = |r: &Row| found.seas.iter().position(|s| *s == r.sea);
    let law = |r: &Row| found.laws.iter().position(|l| *l == r.law);
    out.sort_by(|a, b| {
        let by_speed = a.speed_kn.total_cmp(&b.speed_kn);
        let by_heading = a.heading_deg.total_cmp(&b.heading_deg);
        let by_sea = sea(a).cmp(&sea(b));
        by_sea
            .then(by_speed)
            .then(by_heading)
            .then(law(a).cmp(&law(b)))
    });
    out
}

/// Faults in the order of the gravest row of each.
fn faults(found: &Matrix) -> Vec<&str> {
    let mut out: Vec<&str> = Vec::new();
    for r in &found.rows {
        if !out.contains(&r.fault.as_str()) {
            out.push(&r.fault);
        }
    }
    out
}

/// The matrix; `caption` says what craft it is. None without rows.
pub fn figure(found: &Matrix, caption: &str) -> Option<Figure> {
    let (columns, faults) = (columns(found), faults(found));
    let n = faults.len();
    if columns.is_empty() {
        return None;
    }
    let mut x = Axis::new("", "");
    let is_one_sea = found.seas.len() == 1;
    x.categories = columns
        .iter()
        .map(|c| {
            let sea = if is_one_sea { "" } else { &c.sea };
            let (law, u, h) = (&c.law, c.speed_kn, c.heading_deg);
            format!("{law}\n{u:.0} kn, waves to {h:.0}\u{b0}\n{sea}")
        })
        .collect();
    let mut y = Axis::new("", "");
    y.categories = faults.iter().rev().map(|f| (*f).to_owned()).collect();
    let mut panel = Panel::new("", x, y);
    for row in &found.rows {
        let column = columns
            .iter()
            .position(|c| c.law == row.law && c.is_at(row));
        let fault = faults.iter().position(|f| *f == row.fault);
        if let (Some(j), Some(k)) = (column, fault) {
            cell(&mut panel, [j as f64, (n - 1 - k) as f64], row);
        }
    }
    let mut figure = Figure::new(
        Heading::new("What each fault does", subtitle(found), caption),
        vec![PictureRow {
            height_px: ROW_PX * n as f64 + 75.0,
            cells: vec![(1.0, Cell::Panel(Box::new(panel)))],
        }],
    );
    figure.width_px = figure
        .width_px
        .max(1060.0)
        .max(NAMES_PX + COLUMN_PX * columns.len() as f64);
    figure.scale = Some(scale());
    Some(figure)
}

fn subtitle(found: &Matrix) -> String {
    let seeds: Vec<String> = found.looks.after.iter().map(ToString::to_string).collect();
    let sea = if found.seas.len() == 1 {
        format!(", {}", found.seas[0])
    } else {
        String::new()
    };
    format!(
        "{}{sea}; gravest first; {} seeds. Share of seeds and seconds from the fault to the soonest limit or end; knots: speed \
         to come down to; %: RMS against the sound craft, with its interval ({:.0} % for all). Undecided: intervals leave \
         several classes; the strip at the right has the colour of the gravest.",
        found.craft,
        seeds.join(" or "),
        100.0 * crate::math::stats::LEVEL
    )
}

fn scale() -> super::chart::ColourScale {
    let mut steps = Vec::new();
    for s in Severity::ALL {
        if s == Severity::RideWorse {
            steps.extend(SHADES.iter().map(|s| (s.2.to_owned(), s.1)));
        } else {
            steps.push((s.words().to_owned(), colour(s)));
        }
    }
    super::chart::ColourScale {
        label: "severity".to_owned(),
        steps,
    }
}

fn cell(panel: &mut Panel, at: [f64; 2], row: &Row) {
    let ground = shade(row);
    field(panel, at, [-HALF, HALF], ground);
    if !row.is_decided() {
        field(panel, at, [HALF - STRIP, HALF], colour(row.at_most));
    }
    let ink = if grey(ground) < 140.0 {
        Colour::WHITE
    } else {
        Colour::INK
    };
    panel.add(
        Note::new(at, words(row))
            .lean(-0.5, -0.5)
            .size(9.5)
            .colour(ink),
    );
}

/// A part of a cell from one share of its width to another; white ones have an edge.
fn field(panel: &mut Panel, at: [f64; 2], [left, right]: [f64; 2], ground: Colour) {
    let corners = [[left, -HALF], [right, -HALF], [right, HALF], [left, HALF]];
    let points = corners.map(|c| [at[0] + c[0], at[1] + c[1]]).to_vec();
    panel.add(
        Shape::closed(Look::plain(ground), points.clone())
            .fill(1.0)
            .width(0.5),
    );
    if ground == Colour::WHITE {
        let mut ring = points;
        ring.push(ring[0]);
        panel.add(Shape::open(Look::plain(Colour::GREY), ring).width(0.8));
    }
}

/// Brightness as a grey print shows it (Rec. 601 weights).
fn grey(c: Colour) -> f64 {
    0.299 * f64::from(c.0) + 0.587 * f64::from(c.1) + 0.114 * f64::from(c.2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_darken_with_severity() {
        let all: Vec<f64> = scale().steps.iter().map(|s| grey(s.1)).collect();
        for pair in all.windows(2) {
            assert!(pair[0] - pair[1] > 8.0, "{all:?}");
        }
        let classes: Vec<f64> = Severity::ALL.iter().map(|s| grey(colour(*s))).collect();
        for pair in classes.windows(2) {
            assert!(pair[0] - pair[1] > 11.0, "{classes:?}");
        }
    }
}
