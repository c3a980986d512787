//! The tables of `failures`: what each fault does in the order of severity, its peaks, its ride, and why.

use std::fmt::Write as _;

use super::table::{fixed, optional, table};
use crate::campaign::failures::{Matrix, Row, RunMeasure, Severity};
use crate::math::stats::Interval;
use crate::spec::number;

/// All tables with their words.
pub(super) fn all(found: &Matrix, name: &str) -> String {
    let keys = Keys::of(found);
    let mut out = format!(
        "{name}: {} after {} seeds{}. Intervals hold with {:.0} %, for all looks together.\n{}\n",
        found.craft,
        list(&found.looks.after),
        if found.looks.after.len() > 1 {
            ", more while the class is undecided"
        } else {
            ""
        },
        100.0 * crate::math::stats::LEVEL,
        keys.words()
    );
    out.push_str(
        "\nRanked. rank: first and last place that intervals leave; disk: least margin of the linear loop; down to: the \
         speed\nthat holds; too late: seeds that pass a limit before they are there; limit: the soonest, from the fault; \
         shares with\ntheir interval\n",
    );
    out.push_str(&ranking(found, &keys));
    out.push_str(
        "\nLargest before the fault, means over seeds and half of their interval; accelerations at the worst of the named \
         points\n",
    );
    out.push_str(&before(found, &keys));
    let told = "rows in which nothing changes are left out (--json has them)";
    let _ = writeln!(out, "\nLargest after it; {told}");
    out.push_str(&peaks(found, &keys));
    let _ = writeln!(
        out,
        "\nRide from 30 s after it, RMS; against the sound craft in the same waves: the worst of roll, pitch and vertical\n\
         accelerations; time to settle of the seeds that do; {told}"
    );
    out.push_str(&ride(found, &keys));
    out.push_str(&why(found, &keys));
    out.push_str(&ended_before(found));
    out.push_str(&limits(found));
    out
}

/// Short names of laws and places, so that a row has room for its fault.
struct Keys<'a> {
    laws: &'a [String],
    /// One row of each place.
    places: Vec<&'a Row>,
}

impl<'a> Keys<'a> {
    fn of(found: &'a Matrix) -> Self {
        let mut places: Vec<&Row> = Vec::new();
        for r in &found.rows {
            if places.iter().all(|p| !p.is_at(r)) {
                places.push(r);
            }
        }
        let sea = |r: &Row| found.seas.iter().position(|s| *s == r.sea);
        places.sort_by(|a, b| {
            let by_speed = a.speed_kn.total_cmp(&b.speed_kn);
            let by_heading = a.heading_deg.total_cmp(&b.heading_deg);
            sea(a).cmp(&sea(b)).then(by_speed).then(by_heading)
        });
        Keys {
            laws: &found.laws,
            places,
        }
    }

    /// The law's letter and the place's number; the letter alone where there is one place.
    fn key(&self, r: &Row) -> String {
        let law = self.laws.iter().position(|l| *l == r.law).unwrap_or(0);
        let place = self.places.iter().position(|p| p.is_at(r)).unwrap_or(0);
        if self.places.len() > 1 {
            format!("{}{}", letter(law), place + 1)
        } else {
            letter(law)
        }
    }

    fn words(&self) -> String {
        let laws = self.laws.iter().enumerate();
        let laws: Vec<String> = laws.map(|(k, l)| format!("{} {l}", letter(k))).collect();
        let places = self.places.iter().enumerate().map(|(k, p)| {
            let (u, h) = (number(p.speed_kn), number(p.heading_deg));
            let words = format!("{}, {u} kn, waves travel to {h} deg", p.sea);
            if self.places.len() > 1 {
                format!("{} {words}", k + 1)
            } else {
                words
            }
        });
        let places: Vec<String> = places.collect();
        format!("{}; {}", laws.join(", "), places.join("; "))
    }
}

/// A, B, ... Z, A1, ...
fn letter(k: usize) -> String {
    let of = |k: usize| char::from(b'A' + (k % 26) as u8);
    if k < 26 {
        of(k).to_string()
    } else {
        format!("{}{}", of(k), k / 26)
    }
}

fn list(numbers: &[usize]) -> String {
    let words: Vec<String> = numbers.iter().map(ToString::to_string).collect();
    words.join(", ")
}

/// No-break spaces: the fault alone gives way when a table is full.
fn whole(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

fn ranking(found: &Matrix, keys: &Keys) -> String {
    let heads = [
        "fault",
        "at",
        "rank",
        "disk\n-",
        "down\nto kn",
        "too late\n%",
        "limit\ns",
        "passed\n%",
    ];
    let mut rows = Vec::new();
    let mut last = String::new();
    for r in &found.rows {
        let class = r.class();
        if last != class {
            let mut head = vec![String::new(); heads.len()];
            head[0] = format!("[{class}]");
            rows.push(head);
            last = class;
        }
        rows.push(ranked(r, keys));
    }
    table(heads, rows)
}

fn ranked(r: &Row, keys: &Keys) -> Vec<String> {
    let none = || "-".to_owned();
    let disk = match &r.linear {
        Some(l) if !l.is_stable => "grows".to_owned(),
        Some(l) => optional(l.disk, 2),
        None => none(),
    };
    let down = match (&r.come_down.fails, r.come_down.speed_kn) {
        (None, _) => none(),
        (Some(_), Some(v)) => fixed(v, 1),
        (Some(_), None) => "none".to_owned(),
    };
    let [from, to] = r.rank;
    let rank = if from == to {
        from.to_string()
    } else {
        format!("{from}-{to}")
    };
    let slow = r.slow_down.as_ref();
    vec![
        r.fault.clone(),
        keys.key(r),
        rank,
        disk,
        down,
        slow.map_or_else(none, |s| share(&s.too_late)),
        optional(r.limit.as_ref().map(|l| l.after_s), 0),
        share(&r.passes_limit),
    ]
}

/// A share in percent with its interval.
fn share(i: &Interval) -> String {
    let percent = |v: f64| fixed(100.0 * v, 0);
    let (v, low, high) = (percent(i.value), percent(i.low), percent(i.high));
    format!("{v}\u{a0}({low}-{high})")
}

/// A mean with half of its interval.
fn half(i: &Interval, decimals: usize) -> String {
    let half = 0.5 * (i.high - i.low);
    if half.is_finite() {
        format!(
            "{}\u{b1}{}",
            fixed(i.value, decimals),
            fixed(half, decimals)
        )
    } else {
        fixed(i.value, decimals)
    }
}

/// A rate with both ends where it is none.
fn rate(i: &Interval) -> String {
    if i.value > 0.0 {
        half(i, 0)
    } else {
        format!("0-{}", fixed(i.high, 0))
    }
}

const PEAKS: [&str; 6] = [
    "roll\ndeg",
    "pitch\ndeg",
    "heave\nm",
    "vertical\nm/s2",
    "lateral\nm/s2",
    "contacts\n1/h",
];

fn before(found: &Matrix, keys: &Keys) -> String {
    let sound = found.faults.first();
    let rows = found.rows.iter().filter(|r| Some(&r.fault) == sound);
    let mut rows: Vec<Vec<String>> = rows
        .map(|r| {
            let s = &r.spread;
            vec![
                keys.key(r),
                half(&s.roll_before_deg, 1),
                half(&s.pitch_before_deg, 1),
                half(&s.heave_before_m, 2),
                half(&s.vertical_before_m_s2, 2),
                half(&s.lateral_before_m_s2, 2),
                rate(&s.contacts_before_per_h),
            ]
        })
        .collect();
    rows.sort();
    table(std::iter::once("at").chain(PEAKS), rows)
}

/// Rows in which something changes, and the sound craft's.
fn changed(found: &Matrix) -> impl Iterator<Item = &Row> {
    let is_told = |r: &&Row| {
        let is_none = r.is_decided() && r.severity == Severity::None;
        !is_none || found.faults.first() == Some(&r.fault)
    };
    found.rows.iter().filter(is_told)
}

fn peaks(found: &Matrix, keys: &Keys) -> String {
    let rows = changed(found).map(|r| {
        let s = &r.spread;
        vec![
            r.fault.clone(),
            keys.key(r),
            half(&s.roll_after_deg, 1),
            half(&s.pitch_after_deg, 1),
            half(&s.heave_after_m, 2),
            half(&s.vertical_after_m_s2, 2),
            half(&s.lateral_after_m_s2, 2),
            rate(&s.contacts_after_per_h),
        ]
    });
    table(["fault", "at"].into_iter().chain(PEAKS), rows)
}

fn ride(found: &Matrix, keys: &Keys) -> String {
    let heads = [
        "fault",
        "at",
        "roll\ndeg",
        "pitch\ndeg",
        "vertical\nm/s2",
        "worse\n%",
        "settles\ns",
    ];
    let rows = changed(found).map(|r| {
        let s = &r.spread;
        vec![
            r.fault.clone(),
            keys.key(r),
            half(&s.roll_rms_deg, 2),
            half(&s.pitch_rms_deg, 2),
            half(&s.vertical_rms_m_s2, 2),
            r.worse_ratio.as_ref().map_or_else(|| "-".to_owned(), worse),
            settles(r),
        ]
    });
    table(heads, rows)
}

/// A ratio as change in percent with its ends.
fn worse(ratio: &Interval) -> String {
    let of = |v: f64| fixed(100.0 * (v - 1.0), 0);
    let change = of(ratio.value);
    if ratio.high.is_finite() {
        format!(
            "{change}\u{a0}({}\u{a0}to\u{a0}{})",
            of(ratio.low),
            of(ratio.high)
        )
    } else {
        change
    }
}

/// The time, or why there is none: a motion that is still on its way is no dash.
fn settles(r: &Row) -> String {
    let (n, of) = (r.spread.settled_runs, r.runs.len() - r.ended_before_fault);
    let time = half(&r.spread.settles_after_s, 0);
    if n == of && n > 0 {
        return time;
    }
    let open = || r.runs.iter().filter(|r| r.settles.after_s.is_none());
    let moving: Vec<&str> = open().filter_map(|r| r.settles.motion.as_deref()).collect();
    let count = |m: &&str| moving.iter().filter(|o| *o == m).count();
    let why = match moving.iter().max_by_key(|m| (count(m), **m)) {
        Some(motion) => format!("{motion} on its way"),
        None if open().any(RunMeasure::ended_after_fault) => "ended early".to_owned(),
        None => "-".to_owned(),
    };
    if n > 0 {
        format!("{} {}", whole(&format!("{time} ({n}/{of}),")), whole(&why))
    } else {
        whole(&why)
    }
}

fn why(found: &Matrix, keys: &Keys) -> String {
    let is_told = |r: &&Row| !r.is_decided() || r.severity != Severity::RideWorse;
    let mut rows = found.rows.iter().filter(is_told).filter_map(|r| {
        let words: Vec<&str> = [r.because.as_str(), r.open.as_str()]
            .into_iter()
            .filter(|w| !w.is_empty())
            .collect();
        (!words.is_empty()).then(|| format!("  {} {}: {}", keys.key(r), r.fault, words.join("; ")))
    });
    match rows.next() {
        None => String::new(),
        Some(first) => rows.fold(format!("\nWhy:\n{first}\n"), |out, r| out + &r + "\n"),
    }
}

fn ended_before(found: &Matrix) -> String {
    let before: usize = found.rows.iter().map(|r| r.ended_before_fault).sum();
    if before > 0 {
        format!("\n{before} runs ended before their fault; they count for nothing.\n")
    } else {
        String::new()
    }
}

fn limits(found: &Matrix) -> String {
    let l = &found.limits;
    format!(
        "\nLimits: roll {} deg, pitch {} deg, vertical acceleration {} m/s2 at any instant; RMS roll {} deg, pitch {} deg, \
         vertical acceleration {} m/s2; {} contacts an hour; disk margin at least {}; ride worse from {:+.0} % RMS. Common practice, no source.",
        l.roll_deg,
        l.pitch_deg,
        l.vertical_m_s2,
        l.roll_rms_deg,
        l.pitch_rms_deg,
        l.vertical_rms_m_s2,
        l.contacts_per_h,
        l.disk_margin,
        100.0 * l.worse_frac
    )
}
