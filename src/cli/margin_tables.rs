//! Tables of `margins`.

use std::fmt::Write;

use super::cmd_margins::{Case, Job, QUANTITIES, Report, db};
use super::craft_model;
use super::table::{fixed, table};
use crate::closed_loop::margins::analyse::CutMargins;
use crate::closed_loop::margins::craft::UNNAMED;
use crate::closed_loop::margins::robust::{Summary, Worst};
use crate::units::to_deg;

/// Gain margin below which common practice is not met, dB.
const PRACTICE_DB: f64 = 6.0;
/// Phase margin likewise, deg.
const PRACTICE_DEG: f64 = 30.0;
/// Disk margin likewise: factor 2 either way (6 dB), 37 deg.
pub(super) const PRACTICE_DISK: f64 = 2.0 / 3.0;
/// Poles told, least damped first.
const POLES_LISTED: usize = 4;

/// All tables.
pub(super) fn tables(job: &Job, report: &Report) -> String {
    let mut text = craft_model::title(&job.model, "Margins") + "\n";
    let mut speeds: Vec<f64> = report.cases.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed in speeds {
        let here: Vec<&Case> = report
            .cases
            .iter()
            .filter(|c| c.speed_kn.total_cmp(&speed).is_eq())
            .collect();
        let _ = writeln!(
            text,
            "\n{speed:.1} kn: the least over fins, pairs and demands of heave, pitch and roll, one at a time \
             and all together"
        );
        text += &overview(&here, report);
        text += "\n";
        for case in &here {
            text += &details(case, report);
        }
    }
    let others = report
        .cases
        .iter()
        .any(|c| c.loading != report.cases[0].loading);
    if others && job.laws.iter().any(|l| l.spec.follows_loading()) {
        text += "\nA law with `loadings` is told the displacement of each loading and has its gains there.\n";
    }
    text += "\nGain up and down: dB to the edge; - without limit. Phase: deg either way. Delay: what more the loop bears, \
             and\nits own (hold, servo, sensor). Disk: alpha, gain and phase of every channel changed at once and \
             independently. Ms,\nMt: peaks of the largest singular values at the fins. * below common practice (6 dB, \
             30 to 45 deg, alpha 0.67, Ms\n6 dB): a rule of thumb, no requirement. Inside all limits, small motions.\n";
    text
}

fn overview(cases: &[&Case], report: &Report) -> String {
    let several = report
        .cases
        .iter()
        .any(|c| c.loading != report.cases[0].loading);
    let rows = cases.iter().map(|c| {
        let name = if several {
            format!("{}\u{a0}({})", c.law.replace(' ', "\u{a0}"), c.loading)
        } else {
            c.law.replace(' ', "\u{a0}")
        };
        let mut row = vec![name];
        match (&c.summary, &c.margins) {
            (Some(s), Some(m)) => {
                row.push(star(db(s.gain_up.value), 1, PRACTICE_DB));
                row.push(star(db(s.gain_down.value), 1, PRACTICE_DB));
                row.push(star(to_deg(s.phase_rad.value), 0, PRACTICE_DEG));
                row.push(fixed(1e3 * s.delay_s.value, 0));
                row.push(fixed(
                    1e3 * c.own_delay.map_or(f64::NAN, |d| d.total_s()),
                    0,
                ));
                row.push(star(s.disk.value, 2, PRACTICE_DISK));
                row.push(fixed(m.both.alpha, 2));
                row.push(peak(db(m.fins.ms.value)));
                row.push(fixed(db(m.fins.mt.value), 1));
                row.push(format!(
                    "{}\u{a0}{}",
                    fixed(s.damping_ratio.value, 2),
                    s.damping_ratio.at.replace(' ', "\u{a0}")
                ));
            }
            _ => row.extend(std::iter::repeat_n("-".to_owned(), 10)),
        }
        row
    });
    table(
        [
            "law",
            "gain up dB",
            "down dB",
            "phase deg",
            "delay ms",
            "own ms",
            "disk fins",
            "disk, sensors too",
            "Ms dB",
            "Mt dB",
            "least damped",
        ],
        rows,
    )
}

fn star(value: f64, decimals: usize, practice: f64) -> String {
    let mark = if value < practice { "*" } else { "" };
    format!("{}{mark}", fixed(value, decimals))
}

fn peak(value: f64) -> String {
    let mark = if value > PRACTICE_DB { "*" } else { "" };
    format!("{}{mark}", fixed(value, 1))
}

fn details(case: &Case, report: &Report) -> String {
    let mut text = String::new();
    if let Some(why) = &case.refused {
        let _ = writeln!(text, "\n{}: {why}", case.law);
    }
    for m in &case.missed {
        let _ = writeln!(text, "{}: NOT MET: {m}", case.law);
    }
    if let Some(m) = &case.margins {
        let _ = writeln!(
            text,
            "\n{}, {:.1} kn, {}: loop by loop, the others closed",
            case.law, case.speed_kn, case.loading
        );
        let groups = [
            ("fins", &m.fins),
            ("demands", &m.modes),
            ("sensors", &m.sensors),
        ];
        let mut rows = Vec::new();
        for (name, l) in groups {
            let mut head = vec![name.to_owned()];
            head.resize(9, String::new());
            rows.push(head);
            rows.extend(l.cuts().map(cut));
        }
        text += &table(
            [
                "loop",
                "gain up dB",
                "gain down dB",
                "phase deg",
                "at rad/s",
                "delay ms",
                "disk alpha",
                "Ms dB",
                "Mt dB",
            ],
            rows,
        );
        let poles: Vec<String> = case
            .poles
            .iter()
            .filter(|p| p.imaginary_rad_s > 1e-6 && p.motion != UNNAMED)
            .take(POLES_LISTED)
            .map(|p| {
                format!(
                    "{} {:.3} +- {:.3}i ({:.2})",
                    p.motion, p.real_1_s, p.imaginary_rad_s, p.damping_ratio
                )
            })
            .collect();
        let _ = writeln!(
            text,
            "\nLeast damped motions, poles in 1/s (damping ratio): {}",
            poles.join("; ")
        );
        if let Some(d) = case.own_delay {
            let _ = writeln!(
                text,
                "The loop's own delay: hold {:.0} ms, servo {:.0} ms, sensor {:.0} ms; lag of servo and filter {:.0} ms besides",
                1e3 * d.hold_s,
                1e3 * d.servo_s,
                1e3 * d.sensor_s,
                1e3 * d.lag_s
            );
        }
    }
    text + &robust(case, report)
}

fn cut(c: &CutMargins) -> Vec<String> {
    let k = &c.classic;
    let of = |v: Option<f64>, decimals| fixed(v.unwrap_or(f64::NAN), decimals);
    let phase = k.phase_rad();
    vec![
        format!("\u{a0}{}", c.name),
        star(
            db(k.gain_up.map_or(f64::INFINITY, |g| g.value)),
            1,
            PRACTICE_DB,
        ),
        star(-db(k.gain_down.map_or(0.0, |g| g.value)), 1, PRACTICE_DB),
        star(phase.map_or(f64::NAN, |p| to_deg(p.value)), 0, PRACTICE_DEG),
        of(phase.map(|p| p.omega_rad_s), 2),
        of(k.delay_s.map(|d| 1e3 * d.value), 0),
        c.disk
            .map_or_else(|| "-".to_owned(), |d| star(d.alpha, 2, PRACTICE_DISK)),
        c.ms.map_or_else(|| "-".to_owned(), |p| peak(db(p.value))),
        of(c.mt.map(|p| db(p.value)), 1),
    ]
}

/// A number of a summary with its unit.
fn told(k: usize, value: f64) -> String {
    match k {
        0 | 1 => format!("{} dB", star(db(value), 1, PRACTICE_DB)),
        2 => format!("{} deg", star(to_deg(value), 0, PRACTICE_DEG)),
        3 => format!("{} ms", fixed(1e3 * value, 0)),
        4 => star(value, 2, PRACTICE_DISK),
        _ => fixed(value, 2),
    }
}

fn robust(case: &Case, report: &Report) -> String {
    let Some(r) = &case.robust else {
        return String::new();
    };
    let mut text = format!(
        "\n{}, {:.1} kn, {}: worst of {} crafts, damping, fin effectiveness, GM in roll and pitch each +-{:.0} % (corners \
         and {} draws, seed {})\n",
        case.law,
        case.speed_kn,
        case.loading,
        r.crafts,
        report.spread_percent,
        report.draws,
        report.seed
    );
    let nominal: Option<[&Worst; 7]> = case.summary.as_ref().map(Summary::all);
    let rows = r.worst.iter().enumerate().map(|(k, w)| {
        vec![
            QUANTITIES[k].to_owned(),
            nominal.map_or_else(|| "-".to_owned(), |n| told(k, n[k].value)),
            told(k, w.found.value),
            w.found.at.clone(),
            w.cause.clone(),
        ]
    });
    text += &table(["number", "nominal", "worst", "where", "craft"], rows);
    text += "\n";
    if !r.unstable.is_empty() {
        let _ = writeln!(
            text,
            "Unstable in {} of {}: {}",
            r.unstable.len(),
            r.crafts,
            r.unstable.join("; ")
        );
    }
    text
}
