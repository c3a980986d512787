//! The tables of `operability`.

use std::fmt::Write;

use super::table::{fixed, table};
use crate::campaign::operability::share::Share;
use crate::campaign::operability::simulated::{Check, Drawn, Tally};
use crate::campaign::operability::{LimitCell, Operability, Stop};
use crate::spec::number;
use crate::spec::scatter::ScatterSpec;

/// Shares by law and speed, limiting heights, what stops work, why not to trust.
pub(super) fn all(
    found: &Operability,
    scatter: &ScatterSpec,
    word: &dyn Fn(f64) -> &'static str,
) -> String {
    let mut out = format!(
        "{} in {}, limits of {} ({})\n\nShare of time in which every limit is met, %; in brackets from what is \
         certain to what cannot be ruled out where the\nspectral method cannot be trusted; change against `{}` in \
         points\n",
        found.craft, found.area, found.set, found.source, found.laws[0]
    );
    out.push_str(&shares(found));
    for speed in &found.speeds_kn {
        out.push_str(&limits(found, scatter, *speed, word));
    }
    out.push_str(&stops(found));
    out.push_str(&doubts(found));
    out
}

fn percent(share: &Share) -> String {
    let p = |v: f64| fixed(100.0 * v, 1);
    if share.most - share.least < 5e-4 {
        return p(share.workable);
    }
    let round = |v: f64| fixed(100.0 * v, 0);
    format!(
        "{} ({}-{})",
        p(share.workable),
        round(share.least),
        round(share.most)
    )
}

fn shares(found: &Operability) -> String {
    let mut heads = vec!["speed".to_owned(), "time\n%".to_owned()];
    heads.extend(found.laws.iter().cloned());
    let speeds = found.speeds_kn.iter().map(|v| Some(*v)).chain([None]);
    let rows = speeds.map(|speed| {
        let mine: Vec<_> = found
            .shares
            .iter()
            .filter(|s| s.speed_kn == speed)
            .collect();
        let time = mine.first().map_or(0.0, |s| s.time);
        let mut row = vec![
            speed.map_or("all".to_owned(), |v| format!("{} kn", number(v))),
            fixed(100.0 * time, 0),
        ];
        for s in mine {
            let gain = s
                .gain
                .map_or(String::new(), |g| format!(" {:+.1}", 100.0 * g));
            row.push(format!("{}{gain}", percent(&s.share)).replace(' ', "\u{a0}"));
        }
        row
    });
    table(heads, rows)
}

fn limits(
    found: &Operability,
    scatter: &ScatterSpec,
    speed_kn: f64,
    word: &dyn Fn(f64) -> &'static str,
) -> String {
    let k = found.usual_column;
    let kinds = kinds(found, speed_kn);
    let mut out = format!(
        "\n\n{} kn: limiting significant height at periods of {} to {} s (the most frequent), m, the limit that stops \
         work there,\nshare of time over all periods, %; > more than was searched; ! not trusted; {}\n",
        number(speed_kn),
        number(scatter.period_edges_s[k]),
        number(scatter.period_edges_s[k + 1]),
        kinds
            .iter()
            .enumerate()
            .map(|(i, w)| format!("{} {w}", letter(i)))
            .collect::<Vec<_>>()
            .join("; ")
    );
    let mut headings: Vec<f64> = Vec::new();
    for h in &found.headings {
        if !headings.iter().any(|x| x.total_cmp(&h.heading_deg).is_eq()) {
            headings.push(h.heading_deg);
        }
    }
    let rows = headings.iter().map(|heading| {
        let mut row = vec![format!("{}\u{a0}{}°", word(*heading), number(*heading))];
        for law in &found.laws {
            let cell = found.cell(speed_kn, *heading, law, k);
            let share = found.headings.iter().find(|h| {
                h.law == *law
                    && h.speed_kn.total_cmp(&speed_kn).is_eq()
                    && h.heading_deg.total_cmp(heading).is_eq()
            });
            let time = share.map_or(String::new(), |s| fixed(100.0 * s.share.workable, 0));
            row.push(cell.map_or(String::new(), |c| height(c, &kinds, &time)));
        }
        row
    });
    let heads = std::iter::once("waves".to_owned()).chain(found.laws.iter().cloned());
    out.push_str(&table(heads, rows));
    out
}

/// What stops work at the most frequent periods of a speed.
fn kinds(found: &Operability, speed_kn: f64) -> Vec<String> {
    let mut out = Vec::new();
    let here =
        |c: &&LimitCell| c.column == found.usual_column && c.speed_kn.total_cmp(&speed_kn).is_eq();
    for c in found.cells.iter().filter(here) {
        let words = c.stop.as_ref().map(Stop::words);
        if let Some(w) = words.filter(|w| !out.contains(w)) {
            out.push(w);
        }
    }
    out
}

fn letter(i: usize) -> char {
    char::from(b'a' + (i % 26) as u8)
}

fn height(c: &LimitCell, kinds: &[String], time: &str) -> String {
    let Some(stop) = &c.stop else {
        return format!("unstable\u{a0}\u{a0}{time}\u{a0}%");
    };
    let words = stop.words();
    let kind = kinds.iter().position(|k| *k == words).map_or('-', letter);
    let beyond = if c.beyond { ">" } else { "" };
    let mark = if c.trusted { "\u{a0}" } else { "!" };
    format!(
        "{beyond}{:.2}{mark}\u{a0}{kind}\u{a0}{time:>4}\u{a0}%",
        c.limit_hs_m
    )
    .replace(' ', "\u{a0}")
}

fn stops(found: &Operability) -> String {
    let mut out = "\n\nWhat stops work, % of all time\n".to_owned();
    let mut names: Vec<&str> = Vec::new();
    let overall: Vec<_> = found.laws.iter().filter_map(|l| found.overall(l)).collect();
    for (name, _) in overall.iter().flat_map(|s| &s.stops) {
        if !names.contains(&name.as_str()) {
            names.push(name);
        }
    }
    let rows = names.iter().map(|name| {
        let of = |s: &&crate::campaign::operability::LawShare| {
            let share = s.stops.iter().find(|x| x.0 == *name);
            fixed(100.0 * share.map_or(0.0, |x| x.1), 2)
        };
        let mut row = vec![(*name).to_owned()];
        row.extend(overall.iter().map(of));
        row
    });
    let heads = std::iter::once("limit".to_owned()).chain(found.laws.iter().cloned());
    out.push_str(&table(heads, rows.collect::<Vec<_>>()));
    out
}

/// Doubts in words, numbers apart, with how many limits of each law they touch.
fn doubts(found: &Operability) -> String {
    let mut out = String::new();
    for law in &found.laws {
        let mine: Vec<&LimitCell> = found.cells.iter().filter(|c| c.law == *law).collect();
        let doubtful: Vec<_> = mine.iter().filter(|c| !c.trusted).collect();
        let Some(share) = found.overall(law).map(|s| s.share) else {
            continue;
        };
        let _ = write!(
            out,
            "\n{law}: {} of {} limiting heights not trusted; {} % of the time in seas that are not trusted, {} % with an \
             unstable loop",
            doubtful.len(),
            mine.len(),
            fixed(100.0 * share.untrusted, 1),
            fixed(100.0 * share.unstable, 1)
        );
        let mut kinds: Vec<(&'static str, usize)> = Vec::new();
        for c in &doubtful {
            let mut told: Vec<&'static str> = c.doubts.iter().map(|d| d.reason).collect();
            told.sort_unstable();
            told.dedup();
            for k in told {
                match kinds.iter_mut().find(|x| x.0 == k) {
                    Some(x) => x.1 += 1,
                    None => kinds.push((k, 1)),
                }
            }
        }
        kinds.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        for (k, n) in kinds {
            let _ = write!(out, "\n  {n}: {k}");
        }
    }
    out
}

/// Draws near the limits, simulated.
pub(super) fn check(c: &Check, word: &dyn Fn(f64) -> &'static str) -> String {
    let mut out = "\nSeas drawn near their limits, simulated: limiting number by both ways; ! not trusted; ~ simulated \
                   interval holds the limit\n"
        .to_owned();
    let heads = [
        "case",
        "Tp\ns",
        "Hs\nm",
        "number",
        "limit",
        "spectral",
        "simulated",
        "met",
    ];
    out.push_str(&table(heads, c.draws.iter().map(|d| row(d, word))));
    for (name, tally) in [
        ("all draws", c.all),
        ("spectral method trusted", c.trusted),
        ("trusted and decided by simulation", c.decided),
    ] {
        if let Some(t) = tally {
            let _ = write!(out, "\n{name}: {}", alike(&t));
        }
    }
    if let Some(d) = c.difference {
        let _ = write!(
            out,
            "\nspectral over simulated value of the limiting number, trusted draws: {:+.1} % on average (95 %: {:+.1} to {:+.1} %)",
            100.0 * d.value,
            100.0 * d.low,
            100.0 * d.high
        );
    }
    out
}

fn alike(t: &Tally) -> String {
    format!(
        "pass or fail alike in {} of {}, {:.0} % (95 %: {:.0} to {:.0} %)",
        t.alike,
        t.count,
        100.0 * t.share.value,
        100.0 * t.share.low,
        100.0 * t.share.high
    )
}

fn row(d: &Drawn, word: &dyn Fn(f64) -> &'static str) -> Vec<String> {
    let simulated = d.simulated.map_or("run ended".to_owned(), |s| {
        format!("{:.3} ({:.3}-{:.3})", s.value, s.low, s.high)
    });
    let met = |m: bool| if m { "yes" } else { "no" };
    vec![
        format!(
            "{} kn {} {}°, {}{}",
            number(d.speed_kn),
            word(d.heading_deg),
            number(d.heading_deg),
            d.law,
            if d.trusted { "" } else { " !" }
        ),
        fixed(d.tp_s, 1),
        fixed(d.hs_m, 2),
        d.what.clone(),
        number(d.limit),
        format!("{:.3}", d.spectral),
        simulated,
        format!(
            "{}/{}{}",
            met(d.spectral_met),
            met(d.simulated_met),
            if d.decided { "" } else { "~" }
        ),
    ]
}
