//! `fins`: each surface's force and hinge moment, downwash, and what each fin effect is worth.

use std::fmt::Write;

use serde::Serialize;

use super::args::FinsOptions;
use super::output::{self, Head, replace};
use super::shell::Shell;
use super::table::{fixed, significant, table};
use super::{Status, craft_model};
use crate::dynamics::actuator::Actuator;
use crate::error::{Error, Result};
use crate::geometry::craft::Craft;
use crate::hydro::downwash::{DownwashLink, links};
use crate::hydro::surface::effects::{EffectRow, Reference, effect_table};
use crate::hydro::surface::{Surface, build_surfaces};
use crate::spec::craft::{CraftSpec, SurfaceGroup};
use crate::spec::source::locate;
use crate::units::{deg, kn, to_deg};

/// Everything between these two lines of a document is generated.
pub const MARKS: (&str, &str) = (
    "<!-- fin effects: generated, do not edit -->",
    "<!-- end of fin effects -->",
);

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
struct Report {
    #[serde(flatten)]
    head: Head,
    surfaces: Vec<Geometry>,
    downwash: Vec<Link>,
    speeds: Vec<AtSpeed>,
}

#[derive(Clone, Debug, Serialize)]
struct Geometry {
    name: String,
    group: SurfaceGroup,
    area_m2: f64,
    /// Effective: doubled by the hull where the root is sealed.
    effective_aspect: f64,
    depth_m: f64,
    x_m: f64,
    y_m: f64,
    slope_incidence_per_rad: f64,
    slope_deflection_per_rad: f64,
    carry_over_incidence: f64,
    surface_ratio: f64,
    stall_deg: f64,
    added_mass_kg: f64,
}

#[derive(Clone, Debug, Serialize)]
struct Link {
    from: String,
    to: String,
    distance_m: f64,
    angle_per_lift_coefficient_rad: f64,
    /// Inflow angle lost over incidence of the feeding surface.
    share: f64,
}

#[derive(Clone, Debug, Serialize)]
struct AtSpeed {
    speed_kn: f64,
    forces: Vec<Force>,
    reference: ReferenceRow,
    effects: Vec<Effect>,
}

#[allow(clippy::struct_field_names)] // the names are the keys of the JSON
#[derive(Clone, Debug, Serialize)]
struct Force {
    name: String,
    lower_limit_deg: f64,
    upper_limit_deg: f64,
    force_per_deg_n: f64,
    force_at_limit_n: f64,
    lift_coefficient_at_limit: f64,
    hinge_moment_at_limit_nm: f64,
    cavitation_margin_at_limit: f64,
    cavitates_at_limit: bool,
}

#[derive(Clone, Debug, Serialize)]
struct ReferenceRow {
    wave_rad_s: f64,
    heading_deg: f64,
    amplitude_m: f64,
    motion_over_wave: f64,
}

#[allow(clippy::struct_field_names)] // the names are the keys of the JSON
#[derive(Clone, Debug, Serialize)]
struct Effect {
    effect: &'static str,
    static_stiffness_nm_rad: f64,
    static_stiffness_share: f64,
    static_aft_force_n_rad: f64,
    static_aft_force_share: f64,
    stiffness_nm_rad: f64,
    stiffness_share: f64,
    aft_force_n: f64,
    aft_force_share: f64,
}

/// Prints surfaces, or renews the table of effects in a document.
///
/// # Errors
/// When the craft cannot be read or has no speed.
pub fn run(options: &FinsOptions, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let (file, physics) = craft_model::read(&options.craft)?;
    let at_line = |e: Error| Error::from(locate(e.problems, &file.source));
    let craft = Craft::build(&file.spec).map_err(at_line)?;
    let spec = &file.spec;
    let speeds = options.speed.or_design(spec.design_speed_kn)?;
    if let Some(document) = &options.markdown {
        let old = std::fs::read_to_string(document)
            .map_err(|e| Error::io("read this file", document, &e))?;
        let new = renewed(&old, &craft, speeds[0])
            .map_err(at_line)?
            .ok_or_else(|| {
                Error::with_hint(
                    "has no place for the table of fin effects",
                    format!("put these two lines into it: {} and {}", MARKS.0, MARKS.1),
                )
                .in_file(document)
            })?;
        replace(document, &new)?;
        shell.talk(&format!(
            "wrote the table of fin effects into {}",
            document.display()
        ));
        return Ok(Status::Met);
    }
    let surfaces =
        build_surfaces(spec, &|x| radius_m(&craft, x), &physics.fins).map_err(at_line)?;
    let wash = links(&surfaces, &physics.fins);
    let mut report = Report {
        head: Head::new(&spec.name, &[]),
        surfaces: surfaces.iter().map(geometry).collect(),
        downwash: wash.iter().map(|l| link(&surfaces, l)).collect(),
        speeds: Vec::new(),
    };
    for &speed_kn in &speeds {
        report
            .speeds
            .push(at_speed(&craft, &surfaces, speed_kn).map_err(at_line)?);
    }
    output::tell(shell, &options.output, "fins", &report, || {
        tables(spec, &report)
    })?;
    shell.talk(crate::caution::FIN_CAUTION);
    if let Some(dir) = out {
        super::pictures::craft(&craft, &surfaces, &dir, shell)?;
    }
    Ok(Status::Met)
}

/// Radius that a surface's root sees: zero where there is no hull.
fn radius_m(craft: &Craft, x_m: f64) -> f64 {
    craft.hull.section_at(x_m).map_or(0.0, |s| s.half_breadth_m)
}

fn geometry(s: &Surface) -> Geometry {
    Geometry {
        name: s.name.clone(),
        group: s.group,
        area_m2: s.area_m2,
        effective_aspect: s.aspect,
        depth_m: s.design_depth_m,
        x_m: s.r_m.x,
        y_m: s.r_m.y,
        slope_incidence_per_rad: s.slope_incidence,
        slope_deflection_per_rad: s.slope_deflection,
        carry_over_incidence: s.carry.incidence(),
        surface_ratio: s.surface_ratio_at_design(),
        stall_deg: to_deg(s.stall_rad),
        added_mass_kg: s.added_mass_kg,
    }
}

fn link(surfaces: &[Surface], l: &DownwashLink) -> Link {
    Link {
        from: surfaces[l.from].name.clone(),
        to: surfaces[l.to].name.clone(),
        distance_m: l.distance_m,
        angle_per_lift_coefficient_rad: l.angle_per_lift_coefficient,
        share: l.angle_per_lift_coefficient * surfaces[l.from].slope_incidence,
    }
}

fn at_speed(craft: &Craft, surfaces: &[Surface], speed_kn: f64) -> Result<AtSpeed> {
    let speed = kn(speed_kn);
    let q = 0.5 * craft.rho_kg_m3 * speed * speed;
    let servos = Actuator::all(&craft.spec);
    let reference = Reference::following(speed.max(0.1));
    let rows = effect_table(&craft.spec, &|x| radius_m(craft, x), &reference)?;
    Ok(AtSpeed {
        speed_kn,
        forces: surfaces
            .iter()
            .zip(&servos)
            .map(|(s, servo)| force(s, servo, speed, q))
            .collect(),
        reference: ReferenceRow {
            wave_rad_s: reference.wave_rad_s,
            heading_deg: to_deg(reference.heading_rad),
            amplitude_m: reference.amplitude_m,
            motion_over_wave: reference.follow_frac,
        },
        effects: rows.iter().map(effect).collect(),
    })
}

/// Steady force and moment at the limits that hold at this speed, inflow along x.
fn force(s: &Surface, servo: &Actuator, speed_m_s: f64, q_pa: f64) -> Force {
    let (low, high) = servo.angle_range_rad(speed_m_s);
    let worst = |f: &dyn Fn(f64) -> f64| {
        let (a, b) = (f(low), f(high));
        if a.abs() > b.abs() { a } else { b }
    };
    let cl = worst(&|d| s.lift_coefficient(0.0, d));
    let margin = s.cavitation_margin(speed_m_s, s.design_depth_m, cl.abs());
    Force {
        name: s.name.clone(),
        lower_limit_deg: to_deg(low),
        upper_limit_deg: to_deg(high),
        force_per_deg_n: q_pa * s.area_m2 * s.slope_deflection * deg(1.0),
        force_at_limit_n: q_pa * s.area_m2 * cl,
        lift_coefficient_at_limit: cl,
        hinge_moment_at_limit_nm: worst(&|d| s.hinge_moment_nm(q_pa, 0.0, d)),
        cavitation_margin_at_limit: margin,
        cavitates_at_limit: speed_m_s > 0.0 && margin < 0.0,
    }
}

fn effect(r: &EffectRow) -> Effect {
    Effect {
        effect: r.effect,
        static_stiffness_nm_rad: r.static_stiffness_nm_rad,
        static_stiffness_share: r.static_stiffness_share,
        static_aft_force_n_rad: r.static_aft_force_n_rad,
        static_aft_force_share: r.static_aft_force_share,
        stiffness_nm_rad: r.stiffness_nm_rad,
        stiffness_share: r.stiffness_share,
        aft_force_n: r.aft_force_n,
        aft_force_share: r.aft_force_share,
    }
}

fn tables(spec: &CraftSpec, report: &Report) -> String {
    let mut text = format!("Surfaces: {}\n", spec.name);
    let rows = report.surfaces.iter().map(|s| {
        vec![
            s.name.clone(),
            fixed(s.area_m2, 2),
            fixed(s.effective_aspect, 2),
            fixed(s.x_m, 2),
            fixed(s.depth_m, 2),
            fixed(s.slope_incidence_per_rad, 2),
            fixed(s.slope_deflection_per_rad, 2),
            fixed(s.carry_over_incidence, 2),
            fixed(s.surface_ratio, 3),
            fixed(s.stall_deg, 1),
        ]
    });
    text += &table(
        [
            "surface",
            "area (m2)",
            "eff. aspect",
            "x fwd (m)",
            "depth (m)",
            "slope, inflow (1/rad)",
            "slope, angle (1/rad)",
            "carry over",
            "near water line",
            "stall (deg)",
        ],
        rows,
    );
    text += "\n\nDownwash: share of the feeding surface's incidence that the other one loses\n";
    let rows = report.downwash.iter().map(|l| {
        vec![
            l.from.clone(),
            l.to.clone(),
            fixed(l.distance_m, 2),
            significant(l.angle_per_lift_coefficient_rad, 3),
            fixed(100.0 * l.share, 2),
        ]
    });
    text += &table(
        [
            "from",
            "to",
            "distance (m)",
            "angle (rad per lift coeff.)",
            "share (%)",
        ],
        rows,
    );
    for s in &report.speeds {
        let _ = write!(
            text,
            "\n\nForces at {} kn, inflow along x, steady\n",
            s.speed_kn
        );
        text += &force_table(s);
        let _ = write!(
            text,
            "\n\nWhat each fin effect is worth at {} kn\n",
            s.speed_kn
        );
        text += &table(EFFECT_HEADS, s.effects.iter().map(effect_row));
        let _ = write!(text, "\n{}", reference_words(&s.reference));
    }
    text
}

fn force_table(s: &AtSpeed) -> String {
    let rows = s.forces.iter().map(|f| {
        vec![
            f.name.clone(),
            format!(
                "{} / {}",
                fixed(f.lower_limit_deg, 0),
                fixed(f.upper_limit_deg, 0)
            ),
            fixed(f.force_per_deg_n / 1e3, 3),
            fixed(f.force_at_limit_n / 1e3, 2),
            fixed(f.lift_coefficient_at_limit, 2),
            fixed(f.hinge_moment_at_limit_nm / 1e3, 3),
            if f.cavitates_at_limit { "yes" } else { "no" }.to_owned(),
            fixed(f.cavitation_margin_at_limit, 2),
        ]
    });
    table(
        [
            "surface",
            "limits (deg)",
            "force (kN/deg)",
            "at limit (kN)",
            "lift coeff.",
            "hinge moment (kN m)",
            "cavitates",
            "margin",
        ],
        rows,
    )
}

const EFFECT_HEADS: [&str; 5] = [
    "effect switched off",
    "pitch stiffness, steady",
    "aft force, steady",
    "pitch stiffness, in motion",
    "aft force, in motion",
];

/// Effects that need motion or waves have no steady share.
fn is_unsteady(effect: &str) -> bool {
    ["unsteady_lag", "added_mass", "orbital_velocity", "stall"].contains(&effect)
}

fn effect_row(e: &Effect) -> Vec<String> {
    let mega = |v: f64, per: f64| significant(v / per, 4);
    if e.effect == "all on" {
        return vec![
            "none (all on)".to_owned(),
            format!("{} MN m/rad", mega(e.static_stiffness_nm_rad, 1e6)),
            format!("{} kN/deg", mega(e.static_aft_force_n_rad * deg(1.0), 1e3)),
            format!("{} MN m/rad", mega(e.stiffness_nm_rad, 1e6)),
            format!("{} kN", mega(e.aft_force_n, 1e3)),
        ];
    }
    let share = |v: f64| format!("{} %", signed(100.0 * v));
    let steady = |v: f64| {
        if is_unsteady(e.effect) {
            "none".to_owned()
        } else {
            share(v)
        }
    };
    vec![
        e.effect.replace('_', " "),
        steady(e.static_stiffness_share),
        steady(e.static_aft_force_share),
        share(e.stiffness_share),
        share(e.aft_force_share),
    ]
}

/// Three digits that count, always with a sign.
fn signed(percent: f64) -> String {
    let text = significant(percent, 3);
    if percent > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

fn reference_words(r: &ReferenceRow) -> String {
    format!(
        "Share that the effect makes of the whole; negative where it takes away. Aft force: of one \
         aft surface.\nIn motion: waves of {} rad/s and {} m amplitude that travel to {} deg, heave \
         and pitch {} times elevation and slope.",
        fixed(r.wave_rad_s, 2),
        fixed(r.amplitude_m, 1),
        fixed(r.heading_deg, 0),
        fixed(r.motion_over_wave, 1)
    )
}

/// The document with its table of fin effects made anew for a craft; nothing when it lacks the marks.
///
/// # Errors
/// When the surfaces cannot be built.
pub fn renewed(document: &str, craft: &Craft, speed_kn: f64) -> Result<Option<String>> {
    let Some((head, rest)) = document.split_once(MARKS.0) else {
        return Ok(None);
    };
    let Some((_, tail)) = rest.split_once(MARKS.1) else {
        return Ok(None);
    };
    let surfaces = build_surfaces(
        &craft.spec,
        &|x| radius_m(craft, x),
        &crate::spec::scenario::FinEffectsSpec::default(),
    )?;
    let s = at_speed(craft, &surfaces, speed_kn)?;
    let mut text = format!("| {} |\n|---|---|---|---|---|\n", EFFECT_HEADS.join(" | "));
    for e in &s.effects {
        let _ = writeln!(text, "| {} |", effect_row(e).join(" | "));
    }
    Ok(Some(format!(
        "{head}{}\n\n{}, {speed_kn} kn.\n\n{text}\n{}\n\n{}{tail}",
        MARKS.0,
        craft.spec.name,
        reference_words(&s.reference).replace('\n', " "),
        MARKS.1
    )))
}
