//! Time to find each fault as dots, one row of categories per law.
//!
//! # Checked by
//! `dots_and_misses_are_drawn`

use super::chart::{Axis, Colour, Figure, Heading, Layer, Look, Note, Panel, Points, Row};
use crate::campaign::detection::{Detection, Faulty};

/// Faults in a panel.
const IN_A_PANEL: usize = 9;

/// The picture; the false alarms stand in its title.
pub fn detection_picture(found: &Detection) -> Figure {
    let told: Vec<String> = found
        .healthy
        .iter()
        .map(|h| {
            let p = &h.per_h;
            format!(
                "{}: {} false alarms in {:.1} h (95 %: {:.2} to {:.2} per hour)",
                h.law, h.false_alarms, h.hours, p.low, p.high
            )
        })
        .collect();
    let heading = Heading::new(
        "Time to find a fault",
        format!("{} in {}. {}", found.craft, found.sea, told.join("; ")),
        "One dot a run in which the right target was named; shares of runs missed or wrong where there are any. Invented \
         craft, sea and faults.",
    );
    let most = found
        .faulty
        .iter()
        .flat_map(|f| f.times_s.iter().copied())
        .fold(1.0, f64::max);
    let mut rows = Vec::new();
    for h in &found.healthy {
        let mine: Vec<&Faulty> = found.faulty.iter().filter(|f| f.law == h.law).collect();
        let panels = mine
            .chunks(IN_A_PANEL)
            .map(|some| panel(&h.law, some, most));
        rows.extend(panels.map(|p| Row::of(260.0, vec![p])));
    }
    Figure::new(heading, rows)
}

fn panel(law: &str, faults: &[&Faulty], most_s: f64) -> Panel {
    let mut x = Axis::new("", "");
    x.categories = faults.iter().map(|f| folded(&f.fault)).collect();
    let y = Axis::new("time from fault to finding", "s")
        .range(0.1, 10.0 * most_s)
        .log();
    let mut panel = Panel::new(law, x, y);
    let mut xy = Vec::new();
    for (k, f) in faults.iter().enumerate() {
        let n = f.times_s.len().max(2) as f64;
        for (i, t) in f.times_s.iter().enumerate() {
            let aside = 0.5 * (i as f64 / (n - 1.0) - 0.5);
            xy.push([k as f64 + aside, t.max(0.1)]);
        }
    }
    panel.add(Layer::Points(Points::new("", Look::nth(1), xy)));
    for (k, f) in faults.iter().enumerate() {
        let shares = [("missed", f.missed.value), ("wrong", f.wrong.value)];
        let told = shares.iter().filter(|s| s.1 > 0.0);
        for (line, (word, share)) in told.enumerate() {
            let words = format!("{word} {:.0} %", 100.0 * share);
            let above = [5.0, 2.2][line];
            let note = Note::new([k as f64, above * most_s], words).lean(-0.5, 0.0);
            panel.add(note.colour(Colour::VERMILLION).on_paper());
        }
    }
    panel
}

/// In lines of at most a dozen characters or a word.
fn folded(words: &str) -> String {
    let mut lines = vec![String::new()];
    for w in words.split(' ') {
        let last = lines.len() - 1;
        if lines[last].is_empty() {
            lines[last].push_str(w);
        } else if lines[last].len() + w.len() < 13 {
            lines[last].push(' ');
            lines[last].push_str(w);
        } else {
            lines.push(w.to_owned());
        }
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::detection::{By, Healthy};
    use crate::math::stats::Interval;
    use crate::report::chart::tests::check;

    #[test]
    fn dots_and_misses_are_drawn() {
        let faulty = |fault: &str, times_s: Vec<f64>, missed: f64| Faulty {
            law: "toy".into(),
            fault: fault.into(),
            runs: 4,
            false_before: 0,
            missed: Interval::exact(missed),
            wrong: Interval::exact(0.0),
            time_50_s: By::default(),
            time_90_s: By::default(),
            times_s,
            ended_early: [0, 0],
            recovery: Vec::new(),
        };
        let found = Detection {
            craft: "Toy".into(),
            sea: "moderate sea".into(),
            healthy: vec![Healthy {
                law: "toy".into(),
                set_for_per_h: 1e-3,
                hours: 10.0,
                false_alarms: 0,
                per_h: Interval {
                    value: 0.0,
                    low: 0.0,
                    high: 0.37,
                },
                found: Vec::new(),
            }],
            faulty: vec![
                faulty("aft port jams", vec![1.9, 2.4, 3.1, 7.0], 0.0),
                faulty("roll frozen", vec![0.5, 0.6], 0.5),
            ],
        };
        let figure = detection_picture(&found);
        assert_eq!(figure.rows.len(), 1, "one law, one panel");
        check(&figure, "detection", &["missed 50 %"]);
    }
}
