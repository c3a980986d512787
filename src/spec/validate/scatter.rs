//! Checks of a scatter file.

use std::path::Path;

use super::{ascending, number};
use crate::error::Problem;
use crate::spec::scatter::ScatterSpec;
use crate::spec::source::item;

pub(crate) fn scatter(spec: &ScatterSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    let p = &mut problems;
    let at = |i| format!("period_edges_s[{i}]");
    ascending(p, spec.period_edges_s.iter().copied(), at, "s");
    let at = |i| format!("hs_edges_m[{i}]");
    ascending(p, spec.hs_edges_m.iter().copied(), at, "m");
    table(p, spec);
    let speeds = spec.speeds.iter().map(|s| (s.speed_kn, s.share));
    shares(p, "speeds", "speed_kn", "kn", f64::INFINITY, speeds);
    let headings = spec.headings.iter().map(|h| (h.heading_deg, h.share));
    shares(p, "headings", "heading_deg", "deg", 360.0, headings);
    problems
}

fn table(p: &mut Vec<Problem>, spec: &ScatterSpec) {
    let rows = spec.hs_edges_m.len().saturating_sub(1);
    let columns = spec.period_edges_s.len().saturating_sub(1);
    if spec.occurrences.len() != rows {
        let told = format!(
            "has {} rows, must have one for each of the {rows} classes of height",
            spec.occurrences.len()
        );
        let hint = "`hs_edges_m` holds one number more than there are rows";
        p.push(Problem::at("occurrences", told).hint(hint));
    }
    for (i, row) in spec.occurrences.iter().enumerate() {
        if row.len() != columns {
            let told = format!(
                "has {} numbers, must have one for each of the {columns} classes of period",
                row.len()
            );
            let hint = "`period_edges_s` holds one number more than a row; write 0 where a class never occurs";
            p.push(Problem::at(item("occurrences", i), told).hint(hint));
        }
        for (k, v) in row.iter().enumerate().filter(|(_, v)| **v < 0.0) {
            let told = format!("is {}, must be at least 0", number(*v));
            p.push(Problem::at(item(&item("occurrences", i), k), told));
        }
    }
    if spec.total() <= 0.0 {
        let told = "sums to 0, must hold a class that occurs";
        p.push(Problem::at("occurrences", told).hint("counts, per cent or shares"));
    }
}

/// Values that must differ (around a circle of `round`), and shares that must not all be zero.
fn shares(
    p: &mut Vec<Problem>,
    list: &str,
    key: &str,
    unit: &str,
    round: f64,
    all: impl Iterator<Item = (f64, f64)>,
) {
    let all: Vec<(f64, f64)> = all.collect();
    let apart = |a: f64, b: f64| {
        let d = (a - b).abs();
        d.min((round - d).abs())
    };
    for (i, (v, _)) in all.iter().enumerate() {
        if all[..i].iter().any(|(w, _)| apart(*v, *w) < 1e-9) {
            let told = format!("is {} {unit} a second time", number(*v));
            let at = format!("{}.{key}", item(list, i));
            p.push(Problem::at(at, told).hint("each value once: add the shares"));
        }
    }
    if !all.is_empty() && all.iter().map(|a| a.1).sum::<f64>() <= 0.0 {
        let told = "has shares that sum to 0, must hold one above 0";
        p.push(Problem::at(list, told).hint("leave the list away for equal shares"));
    }
}
