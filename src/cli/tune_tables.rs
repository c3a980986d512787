//! Tables of a tuning: gains, numbers before and after, front, confirmation.

use super::cmd_compare::heading_word;
use super::shell::Shell;
use super::table::{self, fixed, significant};
use super::tune_report::Report;
use crate::error::Result;
use crate::math::stats::Interval;
use crate::spec::key_path;
use crate::spec::suffix::suffix_of;
use crate::tuning::confirm::Confirmation;
use crate::tuning::layout::Layout;
use crate::tuning::search::Ended;

/// All of them.
pub(super) fn print(report: &Report, layout: &Layout, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "{}: {}\n{}",
        report.tuning, report.head.craft, report.objective
    ))?;
    stages(report, shell)?;
    gains(report, layout, shell)?;
    numbers(report, shell)?;
    front(report, shell)?;
    for doubt in report.found.doubts.iter().take(8) {
        shell.warn(&format!("the law found, {doubt}"), None);
    }
    match &report.confirmation {
        Some(c) => confirmation(c, shell),
        None => shell.data("\nNot simulated: believe it when `compare` does."),
    }
}

fn stages(report: &Report, shell: &mut Shell) -> Result<()> {
    let heads = [
        "stage",
        "laws\njudged",
        "objective\nstart",
        "objective\nbest",
        "ended",
    ];
    let ride = |s: &crate::tuning::Score| match (s.is_judged(), s.is_met()) {
        (false, _) => "unstable".to_owned(),
        (true, true) => fixed(s.ride, 3),
        (true, false) => format!("{} *", fixed(s.ride, 3)),
    };
    let rows = report.stages.iter().map(|s| {
        let ended = match s.ended {
            Ended::Evaluations => "all judged",
            Ended::Converged => "at rest",
            Ended::Stopped => "by time",
        };
        vec![
            s.name.clone(),
            s.evaluations.to_string(),
            ride(&s.start),
            ride(&s.best),
            ended.to_owned(),
        ]
    });
    shell.data(&format!("\n{}", table::table(heads, rows)))?;
    let missed = |s: &crate::tuning::Score| s.is_judged() && !s.is_met();
    if report
        .stages
        .iter()
        .any(|s| missed(&s.start) || missed(&s.best))
    {
        shell.data("* limits not met")?;
    }
    Ok(())
}

/// Every free number before and after; one column a speed where it changes with speed.
fn gains(report: &Report, layout: &Layout, shell: &mut Shell) -> Result<()> {
    let Ok(found) = serde_json::to_value(&report.controller) else {
        return Ok(());
    };
    let each = &layout.each;
    let mut heads = vec!["number".to_owned(), "start".to_owned()];
    if each.is_empty() {
        heads.push("found".to_owned());
    }
    heads.extend(each.iter().map(|s| s.name.replace(' ', "\u{a0}")));
    let mut rows = Vec::new();
    for p in &layout.free {
        let unit = p
            .name
            .rsplit('.')
            .next()
            .and_then(suffix_of)
            .map_or("", |s| s.unit);
        let start = key_path::number(&layout.document, &p.name);
        let mut row = vec![format!("{} {unit}", short(&p.name)), optional(start)];
        let in_rows: Vec<Option<f64>> = each
            .iter()
            .filter_map(|s| {
                let k = s.space.parameters.iter().position(|q| q.name == p.name)?;
                Some(key_path::number(&found, s.paths[k].first()?))
            })
            .collect();
        if in_rows.is_empty() {
            row.push(optional(key_path::number(&found, &p.name)));
        } else {
            row.extend(in_rows.into_iter().map(optional));
        }
        rows.push(row);
    }
    shell.data(&format!("\n{}", table::table(heads, rows)))
}

/// `pitch rate_deg_s_per_deg` of its path, unit left off.
fn short(path: &str) -> String {
    let bare = path.trim_start_matches("law.").replacen("pid.", "", 1);
    let bare = bare.replacen("lqr.", "", 1).replacen("acceptable.", "", 1);
    let last = bare.rsplit('.').next().unwrap_or(&bare).to_owned();
    let ending = suffix_of(&last).map_or("", |s| s.ending);
    let words = bare.strip_suffix(ending).unwrap_or(&bare);
    words.replace(['.', '_'], " ")
}

fn optional(v: Option<f64>) -> String {
    v.map_or_else(|| "-".to_owned(), |v| significant(v, 4))
}

/// Objective, terms and watched numbers, start beside what was found.
fn numbers(report: &Report, shell: &mut Shell) -> Result<()> {
    let (a, b) = (&report.start, &report.found);
    let heads = ["over all cases", "start", "found", "limit"];
    let mut rows = vec![vec![
        "objective".to_owned(),
        optional(a.ride),
        optional(b.ride),
        String::new(),
    ]];
    for (t, u) in a.terms.iter().zip(&b.terms) {
        rows.push(vec![
            format!("{} {}, mean", t.name, t.unit),
            optional(t.value),
            optional(u.value),
            String::new(),
        ]);
    }
    let work = |l: &super::tune_report::Law| {
        l.ride
            .map_or_else(|| "-".to_owned(), |_| significant(l.fin_rate_rms_deg_s, 3))
    };
    let name = "fin rate RMS deg/s, over fins and cases".to_owned();
    rows.push(vec![name, work(a), work(b), String::new()]);
    for (i, w) in report.watched.iter().enumerate() {
        let (x, y) = (a.watched[i], b.watched[i]);
        if x.is_none() && y.is_none() {
            continue;
        }
        let limit = w.limit.map_or_else(String::new, |l| {
            let word = if w.is_least { "least" } else { "most" };
            format!("{word} {}", significant(l, 3))
        });
        let value = |v: Option<f64>| v.map_or_else(|| "-".to_owned(), |v| significant(v, 3));
        let over = |v: Option<f64>| {
            let missed = v
                .zip(w.limit)
                .is_some_and(|(v, l)| if w.is_least { v < l } else { v > l });
            if missed {
                format!("{} *", value(v))
            } else {
                value(v)
            }
        };
        rows.push(vec![
            format!("{} {}, worst", w.name, w.unit),
            over(x),
            over(y),
            limit,
        ]);
    }
    shell.data(&format!("\n{}", table::table(heads, rows)))?;
    shell.data(if report.limits_met {
        "All limits are met. Margins: at all fins together."
    } else {
        "* NOT ALL LIMITS ARE MET: this law comes nearest to them. Margins: at all fins together."
    })
}

fn front(report: &Report, shell: &mut Shell) -> Result<()> {
    if report.front.is_empty() {
        return Ok(());
    }
    let heads = ["front", "objective", "fin rate RMS\ndeg/s", "file in --out"];
    let rows = report.front.iter().enumerate().map(|(i, p)| {
        vec![
            (i + 1).to_string(),
            fixed(p.ride, 3),
            fixed(p.fin_rate_rms_deg_s, 2),
            p.file.clone(),
        ]
    });
    shell.data(&format!("\n{}", table::table(heads, rows)))
}

fn confirmation(c: &Confirmation, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "\nSimulated: {} seeds of {} s each, the same seas for all laws; mean and 95 % interval",
        c.seeds.len(),
        crate::spec::number(c.duration_s)
    ))?;
    let value = |v: &Option<Interval>| {
        v.map_or_else(|| "run ended".to_owned(), |v| significant(v.value, 3))
    };
    let change = |v: &Option<Interval>| {
        v.map_or_else(String::new, |v| {
            format!(
                "{:+.0}\u{a0}({:+.0}\u{a0}to\u{a0}{:+.0})",
                v.value, v.low, v.high
            )
        })
    };
    let mut heads = vec!["case".to_owned(), "number".to_owned()];
    heads.extend(c.laws.iter().cloned());
    heads.push("change\n%".to_owned());
    let bounded = c.numbers.iter().any(|n| n.least.is_some());
    if bounded {
        heads.push("least\nreachable".to_owned());
    }
    let mut rows: Vec<Vec<String>> = Vec::new();
    for n in &c.numbers {
        let case = format!(
            "{:.0}\u{a0}kn {}\u{a0}{:.0}°",
            n.speed_kn,
            heading_word(n.heading_deg),
            n.heading_deg
        );
        let mut row = vec![case, format!("{} {}", n.name, n.unit)];
        row.extend(n.values.iter().map(value));
        row.push(change(&n.change_percent));
        if bounded {
            row.push(
                n.least
                    .map_or_else(|| "-".to_owned(), |l| significant(l.rms, 3)),
            );
        }
        rows.push(row);
    }
    let mut row = vec!["all".to_owned(), "objective".to_owned()];
    row.extend(c.objective.iter().map(value));
    row.push(change(&c.change_percent));
    rows.push(row);
    let mut row = vec!["all".to_owned(), "fin rate RMS deg/s".to_owned()];
    row.extend(c.fin_rate_deg_s.iter().map(|v| optional(*v)));
    row.push(String::new());
    rows.push(row);
    shell.data(&table::table(heads, rows))?;
    if bounded {
        shell.data(
            "Least reachable: by any causal linear law with fins as busy as under the law found, spent on this\n\
             number alone; linear model, no limits, no margins (see `bound`).",
        )?;
    }
    for l in &c.limits {
        let word = if l.met { "met" } else { "NOT met" };
        shell.data(&format!(
            "{} in simulation: {} {}, most {}: {word}",
            l.name,
            significant(l.value, 3),
            l.unit,
            significant(l.limit, 3)
        ))?;
    }
    shell.data(&format!("\n{}", c.words))
}
