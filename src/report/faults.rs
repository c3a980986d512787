//! What broke in a run and what followed: motions, clearance and fins, the same run without the fault
//! thinly behind.
//!
//! # Checked by
//! `a_fault_stands_over_what_followed`

use super::chart::{Axis, Colour, Dash, Figure, Heading, Line, Look, Panel, Row, Rule, RuleWords};
use crate::sim::record::Record;
use crate::units::to_deg;

/// Seconds shown before the first happening and after the last one.
const BEFORE_S: f64 = 60.0;
const AFTER_S: f64 = 120.0;
/// Surfaces shown in any case, in the craft's order.
const FINS: usize = 4;

/// One column against time: heading and unit of the panel, column, factor on it, column of the command.
struct Quantity {
    heading: String,
    column: String,
    factor: f64,
    command: Option<String>,
}

/// Motions and fins about the faults of `record`; `healthy` is the same run without them.
pub fn fault_history(record: &Record, healthy: Option<&Record>, heading: Heading) -> Figure {
    let window = window(record);
    let all = quantities(record);
    let last = all.len().saturating_sub(1);
    let rows = all.iter().enumerate().map(|(i, q)| {
        let panel = panel(record, healthy, q, window, (i == 0, i == last));
        Row::of(if i == last { 136.0 } else { 98.0 }, vec![panel])
    });
    Figure::new(heading, rows.collect())
}

fn window(record: &Record) -> [f64; 2] {
    let end = record.len().saturating_sub(1) as f64 * record.interval_s;
    let times = || record.happenings.iter().map(|h| h.t_s);
    let (first, last) = (times().fold(end, f64::min), times().fold(0.0, f64::max));
    [(first - BEFORE_S).max(0.0), (last + AFTER_S).min(end)]
}

fn quantities(record: &Record) -> Vec<Quantity> {
    let degree = to_deg(1.0);
    let of = |heading: &str, column: &str, factor| Quantity {
        heading: heading.to_owned(),
        column: column.to_owned(),
        factor,
        command: None,
    };
    let mut all = vec![
        of("Pitch, bow up positive (deg)", "pitch", degree),
        of("Roll, starboard down positive (deg)", "roll", degree),
        of("Heave, up positive (m)", "heave_up", 1.0),
        of(
            "Least height of the cross-structure above water (m)",
            "underside.clear",
            1.0,
        ),
    ];
    let names = record
        .columns
        .iter()
        .filter_map(|c| c.name.strip_suffix(".angle"));
    for (i, name) in names.enumerate() {
        let is_told = record.happenings.iter().any(|h| h.words.starts_with(name));
        if i < FINS || is_told {
            all.push(Quantity {
                command: is_told.then(|| format!("{name}.command")),
                ..of(
                    &format!("{}, lift up positive (deg)", capital(name)),
                    &format!("{name}.angle"),
                    degree,
                )
            });
        }
    }
    all.retain(|q| record.column(&q.column).is_some());
    all
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}", first.unwrap_or_default(), letters.as_str())
}

fn panel(
    record: &Record,
    healthy: Option<&Record>,
    q: &Quantity,
    window: [f64; 2],
    (is_first, is_last): (bool, bool),
) -> Panel {
    let x = Axis::new("time", "s").range(window[0], window[1]);
    let x = if is_last { x } else { x.quiet() };
    let mut panel = Panel::new(q.heading.clone(), x, Axis::new("", ""));
    let mut line = |r: &Record, column: &str, words: &str, look: Look, width: f64| {
        let Some(c) = r.column(column) else { return };
        let points = c.data.iter().enumerate();
        let points = points.map(|(k, v)| [k as f64 * r.interval_s, v * q.factor]);
        let seen: Vec<_> = points
            .filter(|p| p[0] >= window[0] && p[0] <= window[1])
            .collect();
        panel.add(Line::new(words, look, seen).width(width));
    };
    if let Some(h) = healthy {
        let look = Look::plain(Colour::SKY);
        line(h, &q.column, "without the fault", look, 1.0);
    }
    if let Some(command) = &q.command {
        let look = Look::plain(Colour::ORANGE).dash(Dash::Dashed);
        line(record, command, "ordered", look, 1.0);
    }
    let look = Look::plain(Colour::INK);
    line(record, &q.column, "with the fault", look, 1.6);
    for h in &record.happenings {
        let words = if is_first { h.words.as_str() } else { "" };
        let look = Look::plain(Colour::VERMILLION).dash(Dash::Dotted);
        panel.add(
            Rule::upright(h.t_s, words)
                .look(look)
                .words(RuleWords::Above),
        );
    }
    panel
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;
    use crate::sim::orders::Happening;

    #[test]
    fn a_fault_stands_over_what_followed() {
        let record = |broken: bool| {
            let mut r = Record::new(0.5, 20);
            for (name, unit) in [
                ("pitch", "rad"),
                ("roll", "rad"),
                ("heave_up", "m"),
                ("fwd.angle", "rad"),
                ("fwd.command", "rad"),
            ] {
                let c = r.add(name, unit, name, 800);
                let t = |k: i32| f64::from(k) * 0.05;
                let jam = |k: i32| broken && k > 400 && name.ends_with("angle");
                let at = |k: i32| if jam(k) { 0.3 } else { t(k).sin() };
                r.columns[c].data.extend((0..800).map(at));
            }
            r
        };
        let mut broken = record(true);
        broken.happenings.push(Happening {
            t_s: 200.0,
            words: "fwd jams".into(),
        });
        let head = Heading::new("Fault", "toy", "Invented craft");
        let figure = fault_history(&broken, Some(&record(false)), head);
        assert_eq!(figure.panel_count(), 4);
        let texts = [
            "fwd jams",
            "ordered",
            "without the fault",
            "Fwd, lift up positive (deg)",
        ];
        check(&figure, "faults", &texts);
        let end_s = 799.0 * 0.5;
        assert!((window(&broken)[0] - 140.0).abs() < 1e-9 && window(&broken)[1] < end_s);
    }
}
