//! Picture of a failure matrix: faults down, laws and places across, cells coloured by severity with the words.
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
/// Share of a cell that is coloured.
const HALF: f64 = 0.47;

/// Colour of a class.
pub fn colour(severity: Severity) -> Colour {
    match severity {
        Severity::NotJudged => Colour(255, 255, 255),
        Severity::None => Colour(233, 236, 226),
        Severity::RideWorse => Colour(188, 208, 222),
        Severity::SlowDown => Colour(232, 174, 72),
        Severity::NoSpeedHolds => Colour(214, 128, 66),
        Severity::LimitPassed => Colour(184, 72, 40),
        Severity::ControlLost => Colour(86, 16, 52),
    }
}

/// Words of a cell.
fn words(row: &Row) -> String {
    let word = row.severity.words();
    let down = row.come_down.speed_kn;
    match row.severity {
        Severity::ControlLost => row
            .to_end_s
            .map_or(word.to_owned(), |t| format!("{word}, {t:.0} s")),
        Severity::LimitPassed => row
            .limit
            .as_ref()
            .map_or(word.to_owned(), |l| format!("{word}, {:.0} s", l.after_s)),
        Severity::SlowDown => down.map_or(word.to_owned(), |v| format!("{word}, {v:.0} kn")),
        Severity::RideWorse => row.worse_ratio.map_or(word.to_owned(), |r| {
            format!("{word}, {:+.0} %", 100.0 * (r - 1.0))
        }),
        Severity::None | Severity::NoSpeedHolds | Severity::NotJudged => word.to_owned(),
    }
}

/// The matrix; `caption` says what craft it is. None without rows.
pub fn figure(found: &Matrix, caption: &str) -> Option<Figure> {
    let mut places: Vec<(f64, f64)> = Vec::new();
    let mut ordered: Vec<&Row> = found.rows.iter().collect();
    ordered.sort_by(|a, b| {
        a.speed_kn
            .total_cmp(&b.speed_kn)
            .then(a.heading_deg.total_cmp(&b.heading_deg))
    });
    for r in &ordered {
        let place = (r.speed_kn, r.heading_deg);
        if places.last() != Some(&place) {
            places.push(place);
        }
    }
    let columns: Vec<(f64, f64, &String)> = places
        .iter()
        .flat_map(|p| found.laws.iter().map(move |l| (p.0, p.1, l)))
        .collect();
    let n = found.faults.len();
    let mut x = Axis::new("", "");
    x.categories = columns
        .iter()
        .map(|(u, h, law)| format!("{law}\n{u:.0} kn, {h:.0}°"))
        .collect();
    let mut y = Axis::new("", "");
    y.categories = found.faults.iter().rev().cloned().collect();
    let mut panel = Panel::new("", x, y);
    for (j, (u, h, law)) in columns.iter().enumerate() {
        for (k, fault) in found.faults.iter().enumerate() {
            let row = found.rows.iter().find(|r| {
                r.fault == *fault
                    && r.law == **law
                    && r.speed_kn.total_cmp(u).is_eq()
                    && r.heading_deg.total_cmp(h).is_eq()
            });
            if let Some(row) = row {
                cell(&mut panel, [j as f64, (n - 1 - k) as f64], row);
            }
        }
    }
    if columns.is_empty() || n == 0 {
        return None;
    }
    let seeds = found.seeds.len();
    let s = if seeds == 1 { "" } else { "s" };
    let heading = Heading::new(
        "What each fault does",
        format!(
            "{}, {}; {seeds} seed{s} each. kn: speed to come down to; s: from the fault to it; %: RMS against the sound craft",
            found.craft, found.sea
        ),
        caption,
    );
    let mut figure = Figure::new(
        heading,
        vec![PictureRow {
            height_px: ROW_PX * n as f64 + 60.0,
            cells: vec![(1.0, Cell::Panel(Box::new(panel)))],
        }],
    );
    figure.scale = Some(super::chart::ColourScale {
        label: "severity".to_owned(),
        steps: Severity::ALL
            .iter()
            .map(|s| (s.words().to_owned(), colour(*s)))
            .collect(),
    });
    Some(figure)
}

fn cell(panel: &mut Panel, at: [f64; 2], row: &Row) {
    let ground = colour(row.severity);
    let corners = [[-HALF, -HALF], [HALF, -HALF], [HALF, HALF], [-HALF, HALF]];
    let points = corners.map(|c| [at[0] + c[0], at[1] + c[1]]).to_vec();
    panel.add(
        Shape::closed(Look::plain(ground), points)
            .fill(1.0)
            .width(0.5),
    );
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

/// Brightness as a grey print shows it (Rec. 601 weights).
fn grey(c: Colour) -> f64 {
    0.299 * f64::from(c.0) + 0.587 * f64::from(c.1) + 0.114 * f64::from(c.2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_darken_with_severity() {
        let all: Vec<f64> = Severity::ALL.iter().map(|s| grey(colour(*s))).collect();
        for pair in all.windows(2) {
            assert!(pair[0] - pair[1] > 15.0, "{all:?}");
        }
    }
}
