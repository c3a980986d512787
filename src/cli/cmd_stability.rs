//! `stability`: trim, fin range left, poles and pitch stiffness against speed; divergence speeds.

use std::fmt::Write;
use std::path::Path;

use serde::Serialize;

use super::args::StabilityOptions;
use super::output::{self, Head};
use super::shell::Shell;
use super::table::{fixed, optional, significant, table};
use super::{Status, craft_model};
use crate::dynamics::model::CraftModel;
use crate::error::Result;
use crate::linear::modes::Pole;
use crate::linear::stability::{self, SpeedRow, Stability};
use crate::units::{kn, to_deg};

/// Speeds when none is asked for, kn; the design speed comes to them.
const SPEEDS_KN: [f64; 6] = [0.0, 4.0, 8.0, 12.0, 16.0, 20.0];
/// Real parts above this are growth, 1/s; below lie position and heading, which nothing holds.
pub(super) const GROWS: f64 = 1e-6;
/// Fastest speed at which divergence is looked for, kn (of the linear room).
const SEARCHED_KN: f64 = 40.0;

#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    head: Head,
    /// With surfaces at their angles of level trim and downwash; none up to 40 kn when null.
    pub(super) divergence_kn: Option<f64>,
    /// With surfaces removed.
    pub(super) divergence_bare_kn: Option<f64>,
    /// Heave added mass at zero frequency.
    zero_frequency: Vec<ZeroFrequency>,
    pub(super) zero_frequency_treatment: &'static str,
    pub(super) speeds: Vec<AtSpeed>,
}

#[derive(Clone, Debug, Serialize)]
struct ZeroFrequency {
    speed_kn: f64,
    a33_kg: f64,
    a33_over_mass: f64,
    a33_infinite_frequency_kg: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct AtSpeed {
    pub(super) speed_kn: f64,
    pub(super) trim: Option<TrimRow>,
    pub(super) stiffness: StiffnessRow,
    pub(super) poles: Vec<PoleRow>,
    pub(super) poles_of_servos_lags_and_memory: Vec<PoleRow>,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct TrimRow {
    pub(super) forward_deg: f64,
    pub(super) aft_deg: f64,
    pub(super) sinkage_m: f64,
    pub(super) pitch_bow_up_deg: f64,
    pub(super) thrust_each_n: f64,
    pub(super) limited: bool,
    pub(super) range_left: Vec<RangeLeft>,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct RangeLeft {
    pub(super) surface: String,
    pub(super) angle_deg: f64,
    pub(super) down_to_limit_deg: f64,
    pub(super) up_to_limit_deg: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct StiffnessRow {
    pub(super) hydrostatic_nm_rad: f64,
    pub(super) surfaces_nm_rad: f64,
    pub(super) hull_nm_rad: f64,
    pub(super) net_nm_rad: f64,
    pub(super) net_over_hydrostatic: f64,
    pub(super) net_heave_free_nm_rad: f64,
    pub(super) net_heave_free_over_hydrostatic: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct PoleRow {
    pub(super) motion: &'static str,
    pub(super) real_1_s: f64,
    pub(super) imaginary_rad_s: f64,
    pub(super) period_s: Option<f64>,
    pub(super) damping_ratio: f64,
    /// Time to halve, s; to double when negative.
    pub(super) halves_in_s: f64,
}

/// Prints stability against speed.
///
/// # Errors
/// When the craft cannot be read or its linear model cannot be built.
pub fn run(options: &StabilityOptions, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let model = craft_model::build(&options.craft, cache, shell)?;
    let speeds = speeds(&options.speed.speed_kn, model.craft.spec.design_speed_kn);
    let found = stability::against_speed(&model, &speeds)?;
    let report = assess(&model, &found);
    output::tell(shell, &options.output, "stability", &report, || {
        tables(&model, &report, options.all)
    })?;
    for row in &report.speeds {
        if row.trim.is_none() {
            let text = format!("no equilibrium at {} kn: no poles there", row.speed_kn);
            shell.warn(
                &text,
                Some("see the net pitch stiffness and the divergence speed"),
            );
        }
    }
    if let Some(dir) = out {
        super::pictures::stability(&model, &report, &dir, shell)?;
    }
    Ok(Status::Met)
}

/// The speeds asked for, or the usual ones with the design speed among them.
fn speeds(asked: &[f64], design_kn: Option<f64>) -> Vec<f64> {
    let mut out = if asked.is_empty() {
        let mut usual = SPEEDS_KN.to_vec();
        usual.extend(design_kn);
        usual
    } else {
        asked.to_vec()
    };
    out.sort_by(f64::total_cmp);
    out.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    out
}

fn assess(model: &CraftModel, found: &Stability) -> Report {
    let mass = model.craft.mass.mass_kg;
    let zero_frequency = found
        .rows
        .iter()
        .map(|r| {
            let (table, _) = model.hydro.radiation_at(kn(r.speed_kn));
            ZeroFrequency {
                speed_kn: r.speed_kn,
                a33_kg: table.a_zero[(2, 2)],
                a33_over_mass: table.a_zero[(2, 2)] / mass,
                a33_infinite_frequency_kg: table.a_inf[(2, 2)],
            }
        })
        .collect();
    Report {
        head: Head::new(&model.craft.spec.name, &model.warnings),
        divergence_kn: found.divergence_kn,
        divergence_bare_kn: found.divergence_bare_kn,
        zero_frequency,
        zero_frequency_treatment: treatment(model),
        speeds: found.rows.iter().map(|r| at_speed(model, r)).collect(),
    }
}

/// How the zero-frequency limit of the heave added mass is taken.
pub(super) fn treatment(model: &CraftModel) -> &'static str {
    match model.physics.low_frequency {
        crate::spec::scenario::LowFrequencySpec::FiniteLength => {
            "finite length: damping of long waves follows a strip of the struts' length, added mass \
             from it by Kramers-Kronig"
        }
        crate::spec::scenario::LowFrequencySpec::Sectional => {
            "sectional: two-dimensional damping down to the lowest frequency of the grid, added mass \
             from it by Kramers-Kronig; it depends on the grid"
        }
    }
}

fn at_speed(model: &CraftModel, row: &SpeedRow) -> AtSpeed {
    let k = &row.stiffness;
    let (named, rest): (Vec<&Pole>, Vec<&Pole>) =
        row.poles.iter().partition(|p| p.motion.is_some());
    AtSpeed {
        speed_kn: row.speed_kn,
        trim: row.trim.as_ref().map(|t| TrimRow {
            forward_deg: to_deg(t.forward_rad),
            aft_deg: to_deg(t.aft_rad),
            sinkage_m: t.z_m,
            pitch_bow_up_deg: to_deg(t.theta_rad),
            thrust_each_n: t.thrust_n.first().copied().unwrap_or(0.0),
            limited: t.limited,
            range_left: range_left(model, row.speed_kn, &t.surface_rad),
        }),
        stiffness: StiffnessRow {
            hydrostatic_nm_rad: k.hydrostatic,
            surfaces_nm_rad: k.surfaces,
            hull_nm_rad: k.hull,
            net_nm_rad: k.net,
            net_over_hydrostatic: k.net / k.hydrostatic,
            net_heave_free_nm_rad: k.net_heave_free,
            net_heave_free_over_hydrostatic: k.net_heave_free / k.hydrostatic,
        },
        poles: named.into_iter().map(pole).collect(),
        poles_of_servos_lags_and_memory: rest.into_iter().map(pole).collect(),
    }
}

/// Angle left to the limits that hold at this speed, stops narrowed by the craft's table.
fn range_left(model: &CraftModel, speed_kn: f64, angles: &[f64]) -> Vec<RangeLeft> {
    let servos = crate::dynamics::actuator::Actuator::all(&model.craft.spec);
    model
        .surfaces
        .iter()
        .zip(&servos)
        .zip(angles)
        .map(|((s, servo), angle)| {
            let (low, high) = servo.angle_range_rad(kn(speed_kn));
            RangeLeft {
                surface: s.name.clone(),
                angle_deg: to_deg(*angle),
                down_to_limit_deg: to_deg(angle - low),
                up_to_limit_deg: to_deg(high - angle),
            }
        })
        .collect()
}

fn pole(p: &Pole) -> PoleRow {
    PoleRow {
        motion: p.name(),
        real_1_s: p.value.re,
        imaginary_rad_s: p.value.im,
        period_s: p.period_s(),
        damping_ratio: p.damping_ratio(),
        halves_in_s: -std::f64::consts::LN_2 / p.value.re,
    }
}

fn tables(model: &CraftModel, report: &Report, all: bool) -> String {
    let mut text = craft_model::title(model, "Stability against speed") + "\n\n";
    let say = |v: Option<f64>| {
        v.map_or_else(
            || format!("none up to {SEARCHED_KN:.0} kn"),
            |v| format!("{v:.1} kn"),
        )
    };
    let _ = writeln!(
        text,
        "Heave-pitch divergence, surfaces at their angles of level trim, downwash included: {}; surfaces removed: {}.\n\
         Zero-frequency treatment: {}.\n",
        say(report.divergence_kn),
        say(report.divergence_bare_kn),
        report.zero_frequency_treatment
    );
    text += "Trim: level by both pairs within half their range, else attitude gives way\n";
    text += &trim_table(report);
    text += "\n\nRange left at each speed (deg, down to the lower limit / up to the upper limit; \
             limits against speed of the craft file)\n";
    text += &range_table(report);
    text += "\n\nPitch stiffness about level attitude (MN m/rad), and net over hydrostatic\n";
    text += &stiffness_table(report);
    text += "\n\nHeave added mass at zero frequency\n";
    let rows = report.zero_frequency.iter().map(|z| {
        vec![
            fixed(z.speed_kn, 1),
            fixed(z.a33_kg / 1e3, 1),
            fixed(z.a33_over_mass, 3),
            fixed(z.a33_infinite_frequency_kg / 1e3, 1),
        ]
    });
    text += &table(
        [
            "speed (kn)",
            "A33(0) (t)",
            "A33(0) / mass",
            "A33(infinity) (t)",
        ],
        rows,
    );
    text += "\n\nPoles about trim, course and speed free; a pair is one line; a real pole has no \
             period;\nnamed after the motion with the largest part in it, all others with --all\n";
    text + &pole_table(report, all)
}

fn trim_table(report: &Report) -> String {
    let rows = report.speeds.iter().map(|s| {
        if let Some(t) = &s.trim {
            return vec![
                fixed(s.speed_kn, 1),
                fixed(t.forward_deg, 2),
                fixed(t.aft_deg, 2),
                fixed(t.sinkage_m, 3),
                fixed(t.pitch_bow_up_deg, 2),
                fixed(t.thrust_each_n / 1e3, 1),
                if t.limited { "attitude" } else { "angles" }.to_owned(),
            ];
        }
        let mut row = vec![fixed(s.speed_kn, 1)];
        row.extend(std::iter::repeat_n("-".to_owned(), 5));
        row.push("no equilibrium".to_owned());
        row
    });
    table(
        [
            "speed (kn)",
            "forward pair (deg)",
            "aft pair (deg)",
            "sinkage (m, down)",
            "pitch (deg, bow up)",
            "thrust, each (kN)",
            "held by",
        ],
        rows,
    )
}

fn range_table(report: &Report) -> String {
    let names: Vec<String> = report
        .speeds
        .iter()
        .find_map(|s| s.trim.as_ref())
        .map(|t| t.range_left.iter().map(|r| r.surface.clone()).collect())
        .unwrap_or_default();
    let mut heads = vec!["surface".to_owned()];
    let held: Vec<&AtSpeed> = report.speeds.iter().filter(|s| s.trim.is_some()).collect();
    heads.extend(held.iter().map(|s| format!("{:.0} kn", s.speed_kn)));
    let rows = names.iter().enumerate().map(|(i, name)| {
        let mut row = vec![name.clone()];
        for r in held
            .iter()
            .filter_map(|s| s.trim.as_ref()?.range_left.get(i))
        {
            row.push(format!(
                "{} / {}",
                fixed(r.down_to_limit_deg, 1),
                fixed(r.up_to_limit_deg, 1)
            ));
        }
        row
    });
    table(heads, rows)
}

fn stiffness_table(report: &Report) -> String {
    let mega = |v: f64| fixed(v / 1e6, 2);
    let rows = report.speeds.iter().map(|s| {
        let k = &s.stiffness;
        vec![
            fixed(s.speed_kn, 1),
            mega(k.hydrostatic_nm_rad),
            mega(k.surfaces_nm_rad),
            mega(k.hull_nm_rad),
            mega(k.net_nm_rad),
            fixed(k.net_over_hydrostatic, 2),
            mega(k.net_heave_free_nm_rad),
            fixed(k.net_heave_free_over_hydrostatic, 2),
        ]
    });
    table(
        [
            "speed (kn)",
            "hydro- static",
            "surfaces, downwash",
            "hull in motion",
            "net, heave held",
            "share",
            "net, heave free",
            "share",
        ],
        rows,
    )
}

fn pole_table(report: &Report, all: bool) -> String {
    let mut rows = Vec::new();
    for s in &report.speeds {
        // what grows is told in any case
        let more = s
            .poles_of_servos_lags_and_memory
            .iter()
            .filter(|p| all || p.real_1_s > GROWS);
        for p in s.poles.iter().chain(more) {
            // near zero stand heading and position, which nothing holds
            if !all && p.real_1_s.hypot(p.imaginary_rad_s) < GROWS {
                continue;
            }
            rows.push(vec![
                p.motion.to_owned(),
                fixed(s.speed_kn, 1),
                significant(p.real_1_s, 4),
                significant(p.imaginary_rad_s, 4),
                optional(p.period_s, 2),
                fixed(p.damping_ratio, 4),
                if p.real_1_s < 0.0 {
                    format!("halves in {}", significant(p.halves_in_s, 3))
                } else {
                    format!("doubles in {}", significant(-p.halves_in_s, 3))
                },
            ]);
        }
    }
    table(
        [
            "motion",
            "speed (kn)",
            "real (1/s)",
            "imaginary (rad/s)",
            "period (s)",
            "damping ratio",
            "time (s)",
        ],
        rows,
    )
}
