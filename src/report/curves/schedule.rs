//! Margins of laws against speed, with the lines they must not fall below.
//!
//! # Checked by
//! `margins_stand_against_their_lines`

use crate::report::chart::{
    Axis, Colour, Dash, Figure, Hatch, Heading, Line, Look, Panel, Row, Rule, RuleWords, Shade,
};

/// A law over speed; NaN where there is no number.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ScheduleCurve {
    /// In the legend.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// kn, ascending.
    pub speed_kn: Vec<f64>,
    /// dB.
    pub gain_up_db: Vec<f64>,
    /// dB, positive: by how much the gain may fall.
    pub gain_down_db: Vec<f64>,
    /// deg.
    pub phase_deg: Vec<f64>,
    /// s.
    pub delay_s: Vec<f64>,
    /// Disk margin of all fins at once.
    pub disk: Vec<f64>,
    /// Least damping ratio of the craft's motions.
    pub damping: Vec<f64>,
    /// Speeds between which the loop is unstable, kn.
    pub unstable_kn: Vec<[f64; 2]>,
}

/// Laws and the lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SchedulePicture {
    /// Words at the head.
    pub heading: Heading,
    /// Laws.
    pub curves: Vec<ScheduleCurve>,
    /// Least gain margin, dB; phase, deg; delay, s; disk; damping ratio. None draws no line.
    pub required: [Option<f64>; 5],
    /// Words at the lines: `required`, or `common practice`.
    pub words: String,
}

/// One number of a curve.
type Pick = fn(&ScheduleCurve) -> &Vec<f64>;

/// Title, unit and lines of a panel.
type Rows<'a> = [(&'a str, &'a str, &'a [(Pick, Dash, &'a str)]); 5];

/// Five panels over one speed axis.
pub fn schedule_picture(data: &SchedulePicture) -> Figure {
    let rows: Rows = [
        (
            "Gain margin: up in full, down dashed (dB)",
            "dB",
            &[
                (|c| &c.gain_up_db, Dash::Solid, ""),
                (|c| &c.gain_down_db, Dash::Dashed, "down"),
            ],
        ),
        (
            "Phase margin (deg)",
            "deg",
            &[(|c| &c.phase_deg, Dash::Solid, "")],
        ),
        (
            "Delay margin, up to 3 s (s)",
            "s",
            &[(|c| &c.delay_s, Dash::Solid, "")],
        ),
        (
            "Disk margin, all fins at once",
            "",
            &[(|c| &c.disk, Dash::Solid, "")],
        ),
        (
            "Least damping ratio of the craft's motions",
            "",
            &[(|c| &c.damping, Dash::Solid, "")],
        ),
    ];
    let last = rows.len() - 1;
    let panels = rows.iter().enumerate().map(|(i, (title, unit, lines))| {
        let x = Axis::new("speed", "kn");
        let x = if i == last { x } else { x.quiet() };
        let mut panel = Panel::new(*title, x, Axis::new("", *unit).with_zero());
        panel.y.unit.clear();
        if i == DELAY_ROW {
            panel.y = panel.y.range(0.0, longest_delay_s(data));
        }
        shades(&mut panel, data, i == 0);
        for c in &data.curves {
            for (pick, dash, what) in *lines {
                let look = Look::nth(c.look).dash(*dash);
                // the legend names a law once
                let name = if what.is_empty() { c.name.as_str() } else { "" };
                let xy = c.speed_kn.iter().zip(pick(c)).map(|(x, y)| [*x, *y]);
                panel.add(Line::new(name, look, xy.collect()).width(1.6));
            }
        }
        if let Some(least) = data.required[i] {
            let look = Look::plain(Colour::INK).dash(Dash::Dotted);
            panel.add(
                Rule::level(least, data.words.as_str())
                    .look(look)
                    .words(RuleWords::Low),
            );
        }
        let height = if i == last { 150.0 } else { 120.0 };
        Row::of(height, vec![panel])
    });
    Figure::new(data.heading.clone(), panels.collect())
}

/// Row of the delay margin.
const DELAY_ROW: usize = 2;
/// Longest delay margin shown, s: beyond it nobody asks.
const SHOWN_S: f64 = 3.0;

fn longest_delay_s(data: &SchedulePicture) -> f64 {
    let all = data.curves.iter().flat_map(|c| &c.delay_s);
    let most = all.copied().filter(|v| v.is_finite()).fold(0.1, f64::max);
    (1.1 * most).min(SHOWN_S)
}

/// Unstable speeds; laws that share a span share its words, told in the first panel.
fn shades(panel: &mut Panel, data: &SchedulePicture, is_first: bool) {
    let same = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).abs() + (a[1] - b[1]).abs() < 1e-9;
    for (i, c) in data.curves.iter().enumerate() {
        for span in &c.unstable_kn {
            let has = |o: &&ScheduleCurve| o.unstable_kn.iter().any(|s| same(s, span));
            if data.curves[..i].iter().any(|o| has(&o)) {
                continue;
            }
            let names: Vec<&str> = data
                .curves
                .iter()
                .filter(has)
                .map(|o| o.name.as_str())
                .collect();
            panel.add(Shade {
                x: Some(*span),
                y: None,
                label: if is_first {
                    format!("{} unstable", names.join(", "))
                } else {
                    String::new()
                },
                colour: Colour::VERMILLION,
                hatch: Hatch::None,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn margins_stand_against_their_lines() {
        let speed: Vec<f64> = (0..=16).map(|i| 10.0 + 0.5 * f64::from(i)).collect();
        let curve = |name: &str, look: usize, k: f64| {
            let of = |a: f64, b: f64| -> Vec<f64> {
                speed
                    .iter()
                    .map(|u| a + b * ((u - 14.0) / 4.0).powi(2))
                    .collect()
            };
            ScheduleCurve {
                name: name.into(),
                look,
                gain_up_db: of(7.0 * k, 3.0),
                gain_down_db: of(9.0 * k, 2.0),
                phase_deg: of(35.0 * k, 10.0),
                delay_s: of(0.2 * k, 0.1),
                disk: of(0.6 * k, 0.2),
                damping: of(0.2 * k, 0.1),
                speed_kn: speed.clone(),
                unstable_kn: Vec::new(),
            }
        };
        let mut second = curve("LQG", 2, 0.8);
        second.unstable_kn = vec![[13.5, 14.5]];
        let data = SchedulePicture {
            heading: Heading::new("Margins over speed", "every 0.5 kn", "Data are synthetic."),
            curves: vec![curve("modal PID", 1, 1.0), second],
            required: [Some(6.0), Some(30.0), None, Some(2.0 / 3.0), Some(0.1)],
            words: "required".into(),
        };
        let figure = schedule_picture(&data);
        assert_eq!(figure.panel_count(), 5);
        check(
            &figure,
            "schedule",
            &[
                "Phase margin (deg)",
                "LQG unstable",
                "required",
                "speed (kn)",
            ],
        );
    }
}
