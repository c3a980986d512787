//! What each fin did beside what its place says it must do.
//!
//! # Checked by
//! `sign_bars_mark_what_is_wrong`

use super::chart::{Axis, Bar, BarSeries, Colour, Figure, Heading, Layer, Look, Note, Panel, Row};
use crate::campaign::signs::{SignCheck, Verdict};
use crate::caution::FIN_CAUTION;

/// Modes in the order of the check, with their units.
const MODES: [(&str, &str); 3] = [
    ("Heave acceleration, up positive", "m/s²"),
    ("Roll acceleration, starboard down positive", "deg/s²"),
    ("Pitch acceleration, bow up positive", "deg/s²"),
];

/// Found beside expected, mode by mode, fin by fin; a fin that is wrong carries its verdict.
pub fn sign_bars(check: &SignCheck, heading: Heading) -> Figure {
    let rows = (0..3).map(|j| Row::of(200.0, vec![panel(check, j)]));
    let mut figure = Figure::new(heading, rows.collect());
    figure.footer = format!("{FIN_CAUTION}\n{}", figure.footer);
    figure
}

fn panel(check: &SignCheck, mode: usize) -> Panel {
    let (name, unit) = MODES[mode];
    let mut x = Axis::new(if mode == 2 { "fin moved alone" } else { "" }, "");
    x.categories = check.fins.iter().map(|f| f.surface.clone()).collect();
    let series = |name: &str, look: usize, of: &dyn Fn(usize) -> f64| BarSeries {
        name: name.into(),
        look: Look::nth(look),
        bars: (0..check.fins.len())
            .map(|k| Bar::Value {
                value: of(k),
                interval: None,
            })
            .collect(),
    };
    let bars = vec![
        series("expected of this fin", 0, &|k| check.fins[k].expected[mode]),
        series("found", 1, &|k| check.fins[k].found[mode]),
    ];
    let y = Axis::new("", unit).with_zero();
    let mut panel = Panel::new(name, x, y).with(Layer::Bars(bars));
    panel.y.unit = unit.into();
    if mode == 0 {
        for (k, f) in check.fins.iter().enumerate() {
            if f.verdict != Verdict::Right {
                let note = Note::new([k as f64, 0.0], short(&f.verdict));
                let note = note.lean(-0.5, -0.5).shift(0.0, 18.0);
                panel.add(note.colour(Colour::VERMILLION).on_paper());
            }
        }
    }
    panel
}

/// Few words that fit above a bar.
fn short(verdict: &Verdict) -> String {
    match verdict {
        Verdict::Swapped { reversed, .. } if *reversed => "SWAPPED, REVERSED".into(),
        Verdict::Swapped { .. } => "SWAPPED".into(),
        Verdict::Scale(f) => format!("SCALE {f:.2}"),
        Verdict::Reversed => "REVERSED".into(),
        Verdict::Still => "STILL".into(),
        Verdict::Right => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::signs::MovedFin;
    use crate::report::chart::tests::check;

    #[test]
    fn sign_bars_mark_what_is_wrong() {
        let fin = |name: &str, e: [f64; 3], sign: f64, verdict: Verdict| MovedFin {
            surface: name.into(),
            asked_deg: 3.0,
            reached_deg: 3.0 * sign,
            moved_deg: vec![3.0 * sign],
            found: e.map(|v| 0.93 * sign * v),
            expected: e,
            verdict,
        };
        let all = SignCheck {
            speed_kn: 16.0,
            step_deg: 3.0,
            law: None,
            fins: vec![
                fin("forward port", [0.02, 0.3, 0.2], 1.0, Verdict::Right),
                fin(
                    "forward starboard",
                    [0.02, -0.3, 0.2],
                    -1.0,
                    Verdict::Reversed,
                ),
                fin("aft port", [0.05, 0.8, -0.5], 1.0, Verdict::Right),
                fin("aft starboard", [0.05, -0.8, -0.5], 0.0, Verdict::Still),
            ],
            tilts: Vec::new(),
        };
        let head = Heading::new("Signs of the fins", "Tarnwick, 16 kn", "Invented craft");
        let figure = sign_bars(&all, head);
        let texts = [
            "REVERSED",
            "STILL",
            "expected of this fin",
            "forward starboard",
            "maim",
        ];
        check(&figure, "signs", &texts);
        assert_eq!(figure.panel_count(), 3);
    }
}
