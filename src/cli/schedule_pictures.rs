//! Pictures of `schedule`.

use std::path::{Path, PathBuf};

use super::cmd_margins::db;
use super::cmd_schedule::{Job, Options};
use super::schedule_report::{LawReport, Report};
use super::schedule_tables::PRACTICE;
use crate::closed_loop::margins::robust::Summary;
use crate::closed_loop::schedule::Course;
use crate::error::Result;
use crate::report::chart::{Figure, Heading};
use crate::report::curves::histories::{Histories, HistoryPanel, Trace, histories};
use crate::report::curves::schedule::{ScheduleCurve, SchedulePicture, schedule_picture};
use crate::spec::craft::SurfaceGroup;
use crate::units::{to_deg, to_kn};

/// Margins without a crossing are drawn no higher than this: dB, deg, s.
const NO_LIMIT: f64 = f64::NAN;

/// Draws everything; returns the files.
pub(super) fn draw(
    job: &Job,
    report: &Report,
    options: &Options,
    dir: &Path,
) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    if report.laws.iter().any(|l| !l.worst.is_empty()) {
        files.extend(margins(job, report, options).write(dir, "schedule_margins")?);
    }
    for (water, stem) in [("calm", "ramp_calm"), ("sea", "ramp_sea")] {
        for by_speed in [false, true] {
            if let Some(figure) = ramp(job, report, water, by_speed) {
                let stem = format!("{stem}{}", if by_speed { "_trim_by_speed" } else { "" });
                files.extend(figure.write(dir, &stem)?);
            }
        }
    }
    Ok(files)
}

fn heading(job: &Job, title: &str, subtitle: String) -> Heading {
    let tonnes = job.model.craft.mass.mass_kg / 1000.0;
    let caption = format!("{}, {tonnes:.1} t", job.model.craft.spec.name);
    Heading::new(title, subtitle, caption)
}

fn margins(job: &Job, report: &Report, options: &Options) -> Figure {
    let asked = options.margins.required();
    let is_asked = asked.iter().any(Option::is_some);
    let practice = [
        Some(PRACTICE[0]),
        Some(PRACTICE[1]),
        None,
        Some(PRACTICE[2]),
        None,
    ];
    let half = 0.5 * report.step_kn;
    let curves = report
        .laws
        .iter()
        .enumerate()
        .filter(|(_, l)| l.frozen.iter().any(|r| r.margins.is_some()))
        .map(|(look, l)| curve(l, look, half))
        .collect();
    schedule_picture(&SchedulePicture {
        heading: heading(
            job,
            "Margins over speed",
            format!(
                "frozen every {} kn from {:.1} to {:.1} kn, the least over fins, pairs and demands",
                report.step_kn, report.speeds_kn[0], report.speeds_kn[1]
            ),
        ),
        curves,
        required: if is_asked { asked } else { practice },
        words: if is_asked {
            "required"
        } else {
            "common practice"
        }
        .into(),
    })
}

fn curve(law: &LawReport, look: usize, half_kn: f64) -> ScheduleCurve {
    let of = |f: &dyn Fn(&Summary) -> f64| -> Vec<f64> {
        law.frozen
            .iter()
            .map(|r| r.margins.as_ref().map_or(f64::NAN, f))
            .map(|v| if v.is_finite() { v } else { NO_LIMIT })
            .collect()
    };
    ScheduleCurve {
        name: law.law.clone(),
        look,
        speed_kn: law.frozen.iter().map(|r| r.speed_kn).collect(),
        gain_up_db: of(&|s| db(s.gain_up.value)),
        gain_down_db: of(&|s| db(s.gain_down.value)),
        phase_deg: of(&|s| to_deg(s.phase_rad.value)),
        delay_s: of(&|s| s.delay_s.value),
        disk: of(&|s| s.disk.value),
        damping: of(&|s| s.damping_ratio.value),
        unstable_kn: law
            .unstable_kn
            .iter()
            .map(|s| [s[0] - half_kn, s[1] + half_kn])
            .collect(),
    }
}

/// Histories of all laws in one water.
fn ramp(job: &Job, report: &Report, water: &str, by_speed: bool) -> Option<Figure> {
    let runs: Vec<(usize, &str, &Course)> = report
        .laws
        .iter()
        .enumerate()
        .flat_map(|(look, l)| l.ramps.iter().map(move |r| (look, l, r)))
        .filter(|(_, _, r)| r.water == water && r.has_trim_by_speed == by_speed)
        .map(|(look, l, r)| (look, l.law.as_str(), &r.run.course))
        .collect();
    runs.first()?;
    let dt_s = job.crafts[0].setup.sample_period_s;
    let panel = |name: &str, unit: &str, f: &dyn Fn(&Course) -> Vec<f64>| HistoryPanel {
        name: name.to_owned(),
        unit: unit.to_owned(),
        traces: runs
            .iter()
            .map(|(look, law, c)| Trace {
                name: (*law).to_owned(),
                look: *look,
                t0_s: 0.0,
                dt_s,
                values: f(c),
            })
            .collect(),
        limits: Vec::new(),
    };
    let deg = |v: &[f64]| -> Vec<f64> { v.iter().map(|x| to_deg(*x)).collect() };
    let mut panels = vec![
        panel("speed", "kn", &|c| {
            c.speed_m_s.iter().map(|u| to_kn(*u)).collect()
        }),
        panel("pitch, bow up positive", "deg", &|c| deg(&c.pitch_rad)),
        panel("heave at O, up positive", "m", &|c| {
            c.heave_m.iter().map(|z| -z).collect()
        }),
    ];
    if water != "calm" {
        panels.push(panel("roll, starboard down positive", "deg", &|c| {
            deg(&c.roll_rad)
        }));
    }
    for group in [SurfaceGroup::Forward, SurfaceGroup::Aft] {
        let mut of = job.crafts[0].setup.surfaces.iter();
        if let Some(i) = of.position(|s| s.group == group) {
            let name = format!(
                "command of {}, lifts when positive",
                job.crafts[0].setup.surfaces[i].name
            );
            panels.push(panel(&name, "deg", &|c| deg(&c.command_rad[i])));
        }
    }
    let sea = if water == "calm" {
        "calm water, pitch off trim at the start".to_owned()
    } else {
        format!(
            "sea of the scenario, waves travel to {:.0}°",
            report.heading_deg
        )
    };
    let trim = if by_speed {
        "level trim fed by speed"
    } else {
        "trim of the start"
    };
    Some(histories(&Histories {
        heading: heading(
            job,
            "Ramp up and back, throttles at their stops",
            format!(
                "{:.1} to {:.1} kn, {sea}, {trim}",
                report.speeds_kn[0], report.speeds_kn[1]
            ),
        ),
        run_in_s: 0.0,
        window_s: None,
        panels,
        events: Vec::new(),
    }))
}
