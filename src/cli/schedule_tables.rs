//! Tables of `schedule`.

use std::fmt::Write;

use super::cmd_margins::db;
use super::cmd_schedule::Job;
use super::craft_model;
use super::schedule_report::{LawReport, Report, WorstRow};
use super::table::{fixed, table};
use crate::closed_loop::margins::robust::Summary;
use crate::closed_loop::schedule::frozen::FrozenPoint;
use crate::units::{to_deg, to_kn};

/// Gain (dB), phase (deg) and disk margin of common practice: a rule of thumb.
pub(super) const PRACTICE: [f64; 3] = [6.0, 30.0, 2.0 / 3.0];

/// All tables.
pub(super) fn tables(job: &Job, report: &Report) -> String {
    let mut text = craft_model::title(&job.model, "Schedule over speed") + "\n";
    text += &surge(report);
    for law in &report.laws {
        let _ = writeln!(
            text,
            "\n{}: frozen at {} speeds from {:.1} to {:.1} kn",
            law.law,
            law.frozen.len(),
            report.speeds_kn[0],
            report.speeds_kn[1]
        );
        text += &frozen(law);
        let _ = writeln!(text, "\n{}", law.sentence);
        for l in &law.loadings {
            let told = l
                .told_t
                .map_or_else(String::new, |t| format!(" (gains for {t:.1} t)"));
            let _ = writeln!(text, "{}{told}: {}", l.loading, l.sentence);
        }
        text += &speed_hold(law);
        for m in &law.missed {
            let _ = writeln!(text, "NOT MET: {m}");
        }
        text += &ramps(job, law, report);
        text += &turns(job, law);
    }
    text += "\nMargins: the least over fins, pairs and demands of heave, pitch and roll, one at a time and all together; \
             - without\nlimit. * below common practice (6 dB, 30 deg, disk 0.67), a rule of thumb. Damping: of the craft's own \
             motions. A\nfrozen grid proves nothing of speeds that change; a ramp proves itself alone.\n";
    text
}

fn surge(report: &Report) -> String {
    let mut text = String::new();
    let most = report
        .surge
        .iter()
        .map(|p| p.up_m_s2)
        .fold(f64::NEG_INFINITY, f64::max);
    let least = report
        .surge
        .iter()
        .min_by(|a, b| a.up_m_s2.total_cmp(&b.up_m_s2));
    if let Some(l) = least {
        let _ = writeln!(
            text,
            "\nSurge at full thrust: {:.3} to {most:.3} m/s2, least at {:.1} kn (resistance {:.0} kN of {:.0} kN thrust)",
            l.up_m_s2,
            to_kn(l.speed_m_s),
            l.resistance_n / 1e3,
            l.thrust_n / 1e3
        );
    }
    let time = |t: Option<f64>| t.map_or_else(|| "not reached".to_owned(), |t| format!("{t:.0} s"));
    let _ = writeln!(
        text,
        "Shortest time over the range: up {}, down {}",
        time(report.shortest_s[0]),
        time(report.shortest_s[1])
    );
    text
}

fn star(value: f64, decimals: usize, practice: f64) -> String {
    let mark = if value < practice { "*" } else { "" };
    format!("{}{mark}", fixed(value, decimals))
}

/// Speeds that the speed hold does not keep.
fn speed_hold(law: &LawReport) -> String {
    let poles = law
        .frozen
        .iter()
        .filter_map(|r| Some((r.speed_kn, r.surge_pole_1_s?)));
    let Some((kn, p)) = poles.max_by(|a, b| a.1[0].total_cmp(&b.1[0])) else {
        return String::new();
    };
    let at: Vec<String> = law
        .frozen
        .iter()
        .filter(|r| r.surge_pole_1_s.is_some())
        .map(|r| format!("{:.1}", r.speed_kn))
        .collect();
    format!(
        "At {} kn resistance falls with speed and the scenario's speed hold is too slow for it: surge runs away at {:.4} 1/s\n         ({kn:.1} kn), which is no matter of the law; the other motions are judged at held speed. Shorten `speed_hold_s`.\n",
        at.join(", "),
        p[0]
    )
}

fn numbers(s: &Summary) -> Vec<String> {
    vec![
        format!(
            "{}\u{a0}{}",
            fixed(s.damping_ratio.value, 3),
            s.damping_ratio.at.replace(' ', "\u{a0}")
        ),
        star(db(s.gain_up.value), 1, PRACTICE[0]),
        star(db(s.gain_down.value), 1, PRACTICE[0]),
        star(to_deg(s.phase_rad.value), 0, PRACTICE[1]),
        fixed(1e3 * s.delay_s.value, 0),
        star(s.disk.value, 2, PRACTICE[2]),
    ]
}

const HEADS: [&str; 8] = [
    "speed kn",
    "least damping",
    "gain up dB",
    "down dB",
    "phase deg",
    "delay ms",
    "disk",
    "verdict",
];

fn frozen(law: &LawReport) -> String {
    let first = law.frozen.first().map(|r| r.verdict.as_str());
    let same = law
        .frozen
        .iter()
        .all(|r| r.margins.is_none() && Some(r.verdict.as_str()) == first);
    if same {
        return String::new(); // the sentence says why
    }
    let rows = law.frozen.iter().map(|r| {
        let mut row = vec![format!("{:.1}", r.speed_kn)];
        match &r.margins {
            Some(s) => row.extend(numbers(s)),
            None => row.extend(std::iter::repeat_n("-".to_owned(), 6)),
        }
        let surge = if r.surge_pole_1_s.is_some() {
            ", surge\u{a0}not"
        } else {
            ""
        };
        row.push(format!("{}{surge}", r.verdict));
        row
    });
    table(HEADS, rows)
}

/// The worst margin in a sentence: that which is nearest to, or farthest below, common practice.
pub(super) fn sentence(
    worst: &[WorstRow],
    unstable_kn: &[[f64; 2]],
    points: &[FrozenPoint],
    step_kn: f64,
) -> String {
    if !unstable_kn.is_empty() {
        let spans: Vec<String> = unstable_kn
            .iter()
            .map(|s| {
                if s[1] > s[0] {
                    format!("from {:.1} to {:.1} kn", s[0], s[1])
                } else {
                    format!("at {:.1} kn", s[0])
                }
            })
            .collect();
        return format!("UNSTABLE {}: there is no margin.", spans.join(", "));
    }
    if worst.len() < 7 {
        let why = points.iter().find_map(|p| p.judged.as_ref().err());
        return format!(
            "No margins: {}.",
            why.map_or("no speed could be judged", String::as_str)
        );
    }
    let shares = [
        db(worst[0].value) / PRACTICE[0],
        db(worst[1].value) / PRACTICE[0],
        to_deg(worst[2].value) / PRACTICE[1],
        f64::INFINITY,
        worst[4].value / PRACTICE[2],
    ];
    let k = (0..5)
        .min_by(|a, b| shares[*a].total_cmp(&shares[*b]))
        .unwrap_or(0);
    let w = &worst[k];
    let value = match k {
        0 | 1 => format!("{:.1} dB", db(w.value)),
        2 => format!("{:.0} deg", to_deg(w.value)),
        _ => format!("{:.2}", w.value),
    };
    let omega = w
        .omega_rad_s
        .map_or_else(String::new, |o| format!(", {o:.2} rad/s"));
    let judged = points.iter().filter(|p| p.summary().is_some()).count();
    let rest = if judged < points.len() {
        format!(
            " {} of {} speeds could not be judged.",
            points.len() - judged,
            points.len()
        )
    } else {
        String::new()
    };
    format!(
        "Worst margin, frozen every {step_kn} kn: {} {value} at {:.1} kn ({}{omega}), {:.0} % of common practice;\nleast \
         damping {:.3} at {:.1} kn ({}); least delay margin {:.0} ms at {:.1} kn.{rest}",
        w.quantity,
        w.speed_kn,
        w.at,
        100.0 * shares[k],
        worst[6].value,
        worst[6].speed_kn,
        worst[6].at,
        1e3 * worst[3].value,
        worst[3].speed_kn
    )
}

fn ramps(job: &Job, law: &LawReport, report: &Report) -> String {
    if law.ramps.is_empty() {
        return String::new();
    }
    let mut text = format!(
        "\n{}: ramped up and back, throttles at their stops; trim of the start, or level trim fed by speed; sea:\nwaves travel to {:.0} deg\n",
        law.law, report.heading_deg
    );
    let took = |t: Option<f64>| t.map_or_else(|| "not\u{a0}reached".into(), |t| fixed(t, 0));
    let rows = law.ramps.iter().map(|r| {
        let (w, jumps) = (&r.run.windows, r.run.jumps_rad());
        vec![
            format!(
                "{},\u{a0}{}",
                r.water,
                if r.has_trim_by_speed { "fed" } else { "start" }
            ),
            took(r.run.took_s[0]),
            took(r.run.took_s[1]),
            fixed(to_deg(r.run.pitch_peak_rad()), 2),
            fixed(to_deg(w[0].pitch_rms_rad.max(w[4].pitch_rms_rad)), 2),
            fixed(to_deg(w[2].pitch_rms_rad), 2),
            fixed(to_deg(jumps[0]), 2),
            fixed(to_deg(jumps[1]), 2),
            if r.is_bounded {
                "bounded".to_owned()
            } else {
                format!("NOT\u{a0}AT\u{a0}TRIM, {}", r.run.outcome)
            },
        ]
    });
    text += &table(
        [
            "water, trim",
            "up s",
            "down s",
            "pitch peak deg",
            "RMS low deg",
            "RMS high deg",
            "jump ramp deg",
            "jump steady deg",
            "verdict",
        ],
        rows,
    );
    text += "\nJump: greatest change of a fin's command from one sample to the next. Bounded: ran to the end; in calm water also\nat rest near trim (pitch RMS below 0.2 deg, within 3 deg of level trim) at the top and back.\n";
    let fins = job.crafts[0].plant.actuators.iter();
    let rate = fins.map(|a| a.max_rate_rad_s).fold(0.0, f64::max);
    let _ = writeln!(
        text,
        "The fastest servo does {:.2} deg in a sample.",
        to_deg(rate * job.crafts[0].setup.sample_period_s)
    );
    for s in &law.steady {
        let _ = writeln!(
            text,
            "Same sea at a steady {:.1} kn: pitch peak {:.2} deg, RMS {:.2} deg, greatest jump {:.2} deg, {}",
            s.speed_kn,
            to_deg(s.window.pitch_peak_rad),
            to_deg(s.window.pitch_rms_rad),
            to_deg(s.window.jump_rad),
            s.outcome
        );
    }
    text += &bumps(law);
    if let (Some(m), Some(kn)) = (law.memory_error, report.memory_kn) {
        let _ = writeln!(
            text,
            "The ramp has the memory of {kn:.1} kn at all speeds: that moves the least damping ratio by up to {:.3} and the \
             disk\nmargin by up to {:.3}; verdicts differ at {} speeds.",
            m.damping_ratio, m.disk, m.verdicts
        );
    }
    text
}

/// Jumps in the ramp against those at steady speeds, same sea.
fn bumps(law: &LawReport) -> String {
    let at_sea = law
        .ramps
        .iter()
        .find(|r| r.water == "sea" && !r.has_trim_by_speed);
    let steady = law
        .steady
        .iter()
        .map(|s| s.window.jump_rad)
        .fold(0.0, f64::max);
    match at_sea {
        Some(r) if steady > 0.0 => format!(
            "While the speed changes, the greatest jump in the sea is {:.2} times that of the steady speeds.\n",
            r.run.jumps_rad()[0] / steady
        ),
        _ => String::new(),
    }
}

fn turns(job: &Job, law: &LawReport) -> String {
    if law.turns.is_empty() {
        return String::new();
    }
    let deg0 = to_deg(law.turns[0].turn.rudder_rad);
    let mut text = format!(
        "\n{}: steady turn, rudders held {deg0:.0} deg off trim\n",
        law.law
    );
    let rows = law.turns.iter().map(|r| {
        let t = &r.turn;
        vec![
            format!("{:.1}", to_kn(t.entry_m_s)),
            format!("{:.1}", to_kn(t.speed_m_s)),
            format!(
                "{}\u{a0}/\u{a0}{}",
                fixed(to_deg(t.bank_rad), 2),
                fixed(to_deg(t.bank_peak_rad), 2)
            ),
            fixed(to_deg(t.pitch_rad), 2),
            fixed(to_deg(t.yaw_rate_rad_s), 2),
            fixed(t.radius_m, 0),
            fixed(to_deg(t.drift_rad), 1),
        ]
    });
    text += &table(
        [
            "entry kn",
            "in turn kn",
            "bank / peak deg",
            "pitch deg",
            "yaw rate deg/s",
            "radius m",
            "drift deg",
        ],
        rows,
    );
    text += "\n";
    for r in &law.turns {
        let t = &r.turn;
        let names: Vec<String> = t
            .fins
            .iter()
            .map(|f| {
                format!(
                    "{} {:.1}",
                    job.crafts[0].setup.surfaces[f.0].name,
                    to_deg(f.1)
                )
            })
            .collect();
        let _ = writeln!(
            text,
            "{:.1} kn: fins in deg: {}",
            to_kn(t.entry_m_s),
            names.join(", ")
        );
        if !t.at_limit.is_empty() {
            let stuck: Vec<&str> = t
                .at_limit
                .iter()
                .map(|i| job.crafts[0].setup.surfaces[*i].name.as_str())
                .collect();
            let _ = writeln!(
                text,
                "At their limits, so that the linear loop does not hold: {}",
                stuck.join(", ")
            );
        }
        if !t.is_steady {
            let _ = writeln!(
                text,
                "Not steady: {}, pitch and roll scatter by {:.2} and {:.2} deg",
                t.outcome,
                to_deg(t.scatter_rad[0]),
                to_deg(t.scatter_rad[1])
            );
        }
    }
    if law
        .frozen
        .iter()
        .all(|r| r.margins.is_none() && !r.is_unstable)
    {
        return text;
    }
    let rows = law.turns.iter().map(|r| {
        let mut row = vec![format!("{:.1}", to_kn(r.turn.entry_m_s))];
        match &r.margins {
            Some(s) => row.extend(numbers(s)),
            None => row.extend(std::iter::repeat_n("-".to_owned(), 6)),
        }
        row.push(r.verdict.clone());
        row
    });
    let mut heads = HEADS;
    heads[0] = "about the turn from kn";
    text += &table(heads, rows);
    text + "\n"
}
