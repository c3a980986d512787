//! Tables of rare events.

use super::table;
use crate::campaign::rare::told::{EventTold, Told};
use crate::math::stats::Interval;
use crate::spec::number;

/// Everything told: what was run, probabilities, plain runs, levels.
pub(super) fn all(told: &Told) -> String {
    let fault = told.fault.as_ref();
    let fault = fault.map_or_else(String::new, |f| format!(", {f}"));
    let mut out = format!(
        "{}: {}, {}, {}{fault}, {} kn, {} deg, records of {} s after {} s of run-in, seed {}\n\
         Probability that a record has the event at least once, with its {:.0} % interval.\n",
        told.name,
        told.craft,
        told.law,
        told.sea,
        number(told.speed_kn),
        number(told.heading_deg),
        number(told.duration_s),
        number(told.run_in_s),
        told.seed,
        100.0 * told.level_frac
    );
    out += &table::table(
        [
            "event",
            "probability",
            "interval",
            "an hour",
            "runs",
            "equal plain runs",
            "ratio of cost",
        ],
        told.events.iter().map(probabilities),
    );
    if told.events.iter().any(|e| e.plain.is_some()) {
        out += "\n\nPlain runs beside it:\n";
        out += &table::table(
            ["event", "runs", "with it", "share", "interval", "agrees"],
            told.events.iter().filter_map(plain),
        );
    }
    out += "\n\nLevels, mean over repetitions:\n";
    out += &table::table(
        [
            "event",
            "level",
            "runs reach",
            "share that goes on",
            "steps taken",
        ],
        told.events.iter().flat_map(levels),
    );
    for e in &told.events {
        out += &remarks(e, told);
    }
    out
}

fn tiny(p: f64) -> String {
    table::significant(p, 3)
}

fn range(i: &Interval) -> String {
    format!("{} to {}", tiny(i.low), tiny(i.high))
}

fn probabilities(e: &EventTold) -> Vec<String> {
    let ratio = e.cost_ratio.map_or_else(
        || "-".to_owned(),
        |r| {
            let two = |x| table::significant(x, 2);
            format!("{} ({} to {})", two(r.value), two(r.low), two(r.high))
        },
    );
    vec![
        e.event.clone(),
        if e.repetitions_with_it > 0 {
            tiny(e.probability.value)
        } else {
            format!("below {}", tiny(e.probability.high))
        },
        range(&e.probability),
        tiny(e.rate_per_h.value),
        e.runs.to_string(),
        e.equal_plain_runs
            .map_or_else(|| "-".to_owned(), |n| table::significant(n, 2)),
        ratio,
    ]
}

fn plain(e: &EventTold) -> Option<Vec<String>> {
    let p = e.plain.as_ref()?;
    Some(vec![
        e.event.clone(),
        p.runs.to_string(),
        p.hits.to_string(),
        tiny(p.probability.value),
        range(&p.probability),
        if p.agrees { "yes" } else { "NO" }.to_owned(),
    ])
}

fn levels(e: &EventTold) -> Vec<Vec<String>> {
    let rows = e.levels.iter().enumerate();
    rows.map(|(k, l)| {
        let reach = l.above.map_or_else(
            || "any".to_owned(),
            |x| format!("{} {}", table::significant(x, 3), e.unit),
        );
        let taken = if k == 0 || !l.accepted_frac.is_finite() {
            "-".to_owned()
        } else {
            format!("{:.0} %", 100.0 * l.accepted_frac)
        };
        let share = |x: f64| {
            if x.is_finite() {
                format!("{:.1} %", 100.0 * x)
            } else {
                "-".to_owned() // no repetition came here
            }
        };
        vec![
            if k == 0 {
                e.event.clone()
            } else {
                String::new()
            },
            (k + 1).to_string(),
            reach,
            share(l.share_frac),
            taken,
        ]
    })
    .collect()
}

fn remarks(e: &EventTold, told: &Told) -> String {
    let mut out = Vec::new();
    let of = e.repetitions.len();
    if e.repetitions_with_it < of {
        out.push(format!(
            "\n{}: only {} of {of} repetitions met it; give more levels or runs a level.",
            e.event, e.repetitions_with_it
        ));
    }
    if e.left_range_frac > 0.0 {
        out.push(format!(
            "\n{}: {:.0} % of the runs with it left the range in which the model holds and count for that.",
            e.event,
            100.0 * e.left_range_frac
        ));
    }
    if e.probability.value > 0.1 {
        out.push(format!(
            "\n{}: happens in more than one record of {} s in ten; a campaign tells it as well.",
            e.event,
            number(told.duration_s)
        ));
    }
    out.concat()
}
