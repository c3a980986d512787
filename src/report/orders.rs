//! What was ordered in a run and what followed: mode, speed, heading, motions and fins over the whole
//! time.
//!
//! # Checked by
//! `orders_stand_over_what_followed`

use super::chart::{Figure, Heading};
use super::curves::histories::{Histories, HistoryPanel, Trace, histories};
use crate::sim::record::Record;
use crate::units::{KNOT_M_S, to_deg};

/// Most fins that are shown.
const MOST_FINS: usize = 4;

/// Orders and what followed in one run.
pub fn order_history(record: &Record, heading: Heading) -> Figure {
    let degree = to_deg(1.0);
    let mut panels = Vec::new();
    let mut add = |name: &str, unit: &str, lines: &[(&str, &str, f64)]| {
        let traces: Vec<Trace> = lines
            .iter()
            .enumerate()
            .filter_map(|(look, (column, words, factor))| {
                let data = &record.column(column)?.data;
                Some(Trace {
                    name: (*words).to_owned(),
                    look,
                    t0_s: 0.0,
                    dt_s: record.interval_s,
                    values: data.iter().map(|v| v * factor).collect(),
                })
            })
            .collect();
        if !traces.is_empty() {
            panels.push(HistoryPanel {
                name: name.to_owned(),
                unit: unit.to_owned(),
                traces,
                limits: Vec::new(),
            });
        }
    };
    let modes = "0 off, 1 manual, 2 standby, 3 engaged";
    add("mode", modes, &[("law.mode", "value", 1.0)]);
    let speeds = [
        ("u", "value", 1.0 / KNOT_M_S),
        ("order.speed", "ordered", 1.0 / KNOT_M_S),
    ];
    add("speed through the water", "kn", &speeds);
    let headings = [
        ("yaw", "value", degree),
        ("order.course", "ordered", degree),
    ];
    add(
        "heading off the first course, to starboard",
        "deg",
        &headings,
    );
    add("heave, up positive", "m", &[("heave_up", "value", 1.0)]);
    add(
        "pitch, bow up positive",
        "deg",
        &[("pitch", "value", degree)],
    );
    add(
        "roll, starboard down positive",
        "deg",
        &[("roll", "value", degree)],
    );
    let names: Vec<String> = record
        .columns
        .iter()
        .filter_map(|c| c.name.strip_suffix(".angle").map(str::to_owned))
        .take(MOST_FINS)
        .collect();
    for n in &names {
        let (angle, command) = (format!("{n}.angle"), format!("{n}.command"));
        let lines = [
            (angle.as_str(), "value", degree),
            (command.as_str(), "ordered", degree),
        ];
        add(&format!("{n}, lift up positive"), "deg", &lines);
    }
    let happened = record.happenings.iter();
    histories(&Histories {
        heading,
        run_in_s: record.run_in_samples as f64 * record.interval_s,
        window_s: None,
        panels,
        events: happened.map(|h| (h.t_s, h.words.clone())).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;
    use crate::sim::orders::Happening;

    #[test]
    fn orders_stand_over_what_followed() {
        let mut r = Record::new(0.5, 20);
        for (name, unit) in [
            ("law.mode", "1"),
            ("u", "m/s"),
            ("order.speed", "m/s"),
            ("heave_up", "m"),
            ("pitch", "rad"),
            ("fwd.angle", "rad"),
            ("fwd.command", "rad"),
        ] {
            let c = r.add(name, unit, name, 400);
            let at = |k: i32| f64::from(k) * 0.01;
            r.columns[c].data.extend((0..400).map(|k| at(k).sin()));
        }
        for (t_s, words) in [
            (30.0, "engaged"),
            (33.0, "set-point 0.1 m up"),
            (90.0, "aft port by hand 5 deg"),
            (95.0, "release"),
            (170.0, "rudders 10 deg"),
        ] {
            r.happenings.push(Happening {
                t_s,
                words: words.into(),
            });
        }
        let figure = order_history(&r, Heading::new("Orders", "toy", "Invented craft"));
        assert_eq!(figure.panel_count(), 5);
        let texts = [
            "engaged",
            "set-point 0.1 m up",
            "aft port by hand 5 deg",
            "ordered",
        ];
        check(&figure, "orders", &texts);
    }
}
