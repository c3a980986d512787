//! Pictures of the craft verbs: from their results to figures of the report room.

use std::path::Path;

use super::cmd_response::sea_word;
use super::shell::Shell;
use super::{cmd_bound, cmd_coefficients, cmd_hydrostatics, cmd_response, cmd_sea, cmd_stability};
use crate::dynamics::actuator::Actuator;
use crate::dynamics::model::CraftModel;
use crate::error::Result;
use crate::geometry::craft::Craft;
use crate::hydro::surface::Surface;
use crate::math::spectral;
use crate::report::chart::{Figure, Heading};
use crate::report::craft_views::craft_views;
use crate::report::curves::bound::{BoundLaw, BoundPanel, BoundPicture, bound_picture};
use crate::report::curves::coefficients::{self, Coefficients};
use crate::report::curves::hydrostatics::{HydrostaticCurves, hydrostatic_curves};
use crate::report::curves::poles::{PoleMark, PolePicture, pole_picture};
use crate::report::curves::sea::{SeaPicture, sea_picture};
use crate::report::curves::stability::{StabilityPicture, stability_picture};
use crate::report::curves::transfer::{TransferCurve, TransferPanel, Transfers, transfers};
use crate::sea::realisation::Realisation;
use crate::spec::craft::SurfaceGroup;
use crate::units::{kn, to_deg};

/// Writes a figure and says so.
fn write(figure: &Figure, dir: &Path, stem: &str, shell: &mut Shell) -> Result<()> {
    for file in figure.write(dir, stem)? {
        shell.talk(&format!("wrote {}", file.display()));
    }
    Ok(())
}

/// Words at the head; the caption says where demonstration craft come from.
fn heading(craft: &Craft, title: &str, subtitle: impl Into<String>) -> Heading {
    let tonnes = craft.mass.mass_kg / 1000.0;
    let subtitle: String = subtitle.into();
    let caption = format!("{}, {tonnes:.1} t", craft.spec.name);
    Heading::new(title, subtitle, caption)
}

/// The craft in plan, profile and section.
pub(super) fn craft(
    craft: &Craft,
    surfaces: &[Surface],
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    let head = heading(craft, &craft.spec.name, "Plan, profile and section");
    write(&craft_views(craft, surfaces, head), dir, "craft", shell)
}

/// Righting arms and immersion, and the craft's views.
pub(super) fn hydrostatics(
    model: &CraftModel,
    report: &cmd_hydrostatics::Report,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    craft(&model.craft, &model.surfaces, dir, shell)?;
    let cross = &model.craft.spec.cross_structure;
    let clearance = -model.craft.underside_z_m;
    let figure = hydrostatic_curves(&HydrostaticCurves {
        heading: heading(
            &model.craft,
            "Heel and immersion",
            "sinkage and trim free in heel",
        ),
        heel_deg: report.righting_arms.iter().map(|p| p.heel_deg).collect(),
        gz_m: report.righting_arms.iter().map(|p| p.gz_m).collect(),
        gm_t_m: model.craft.hydrostatics.gm_t_m,
        touches_deg: Some(to_deg((clearance / cross.half_breadth_m).atan())),
        sinkage_m: report.immersion.iter().map(|p| p.sinkage_m).collect(),
        displacement_t: report.immersion.iter().map(|p| p.displacement_t).collect(),
        mass_t: model.craft.mass.mass_kg / 1000.0,
        marks: Vec::new(),
    });
    write(&figure, dir, "hydrostatics", shell)
}

/// A and B of each speed with the memory's fit, and wave forces.
pub(super) fn coefficients(
    model: &CraftModel,
    report: &cmd_coefficients::Report,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    let names = ["heave", "roll", "pitch"];
    let marks: Vec<(f64, String)> = report
        .natural_rad_s
        .iter()
        .zip(names)
        .map(|(w, n)| (*w, n.to_owned()))
        .collect();
    for s in &report.speeds {
        for (stem, group) in [("vertical", &[0, 1, 2][..]), ("lateral", &[3, 4, 5, 7])] {
            let couplings = group
                .iter()
                .map(|k| coupling(&s.couplings[*k], s))
                .collect();
            let figure = coefficients::coefficients(&Coefficients {
                heading: heading(
                    &model.craft,
                    "Added mass and damping about O",
                    format!(
                        "{} kn; zero-speed form in body axes, heave down",
                        s.speed_kn
                    ),
                ),
                couplings,
                marks: marks.clone(),
            });
            let stem = format!("coefficients_{stem}_{}kn", s.speed_kn);
            write(&figure, dir, &stem, shell)?;
        }
        let figure = wave_forces(model, s);
        write(&figure, dir, &format!("wave_force_{}kn", s.speed_kn), shell)?;
    }
    Ok(())
}

fn coupling(
    c: &cmd_coefficients::Coupling,
    s: &cmd_coefficients::AtSpeed,
) -> coefficients::Coupling {
    let turns = usize::from(c.mode.0 > 3) + usize::from(c.mode.1 > 3);
    let unit = ["t", "t m", "t m²"][turns];
    let tonnes = |v: &[f64]| v.iter().map(|v| v / 1e3).collect::<Vec<_>>();
    coefficients::Coupling {
        name: format!("{}{}, {}", c.mode.0, c.mode.1, c.name),
        added_unit: unit.to_owned(),
        damping_unit: format!("{unit}/s"),
        omega_rad_s: s.omega_rad_s.clone(),
        added: tonnes(&c.added_mass),
        damping: tonnes(&c.damping),
        fit_omega_rad_s: s.omega_rad_s.clone(),
        fit_added: tonnes(&c.fit_added_mass),
        fit_damping: tonnes(&c.fit_damping),
        added_infinite: Some(c.added_mass_infinite / 1e3),
    }
}

fn wave_forces(model: &CraftModel, s: &cmd_coefficients::AtSpeed) -> Figure {
    let modes = [
        "surge",
        "sway",
        "heave, up positive",
        "roll",
        "pitch, bow up",
        "yaw",
    ];
    let panels = (0..6).map(|j| TransferPanel {
        name: modes[j].to_owned(),
        amplitude: "wave force / amplitude".to_owned(),
        unit: if j < 3 { "kN/m" } else { "kN m/m" }.to_owned(),
        curves: s
            .wave_force
            .iter()
            .enumerate()
            .map(|(i, f)| TransferCurve {
                name: format!("{} ({}°)", sea_word(f.heading_deg), f.heading_deg),
                look: i,
                x: f.omega_rad_s.clone(),
                amplitude: f.amplitude[j].iter().map(|v| v / 1e3).collect(),
                phase_deg: without_noise(&f.amplitude[j], &f.phase_deg[j]),
            })
            .collect(),
    });
    transfers(&Transfers {
        heading: heading(
            &model.craft,
            "Potential wave force",
            format!("{} kn; Froude-Krylov and diffraction", s.speed_kn),
        ),
        abscissa: "wave frequency".to_owned(),
        abscissa_unit: "rad/s".to_owned(),
        panels: panels.collect(),
    })
}

/// Phases of an amplitude that symmetry makes zero are no phases.
fn without_noise(amplitude: &[f64], phase_deg: &[f64]) -> Vec<f64> {
    let largest = amplitude.iter().copied().fold(0.0, f64::max);
    let floor = (1e-3 * largest).max(1e-6);
    amplitude
        .iter()
        .zip(phase_deg)
        .map(|(a, p)| if *a > floor { *p } else { f64::NAN })
        .collect()
}

/// Pitch stiffness, trim and poles against speed.
pub(super) fn stability(
    model: &CraftModel,
    report: &cmd_stability::Report,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    let rows = &report.speeds;
    let column = |f: &dyn Fn(&cmd_stability::AtSpeed) -> f64| rows.iter().map(f).collect();
    let trim = |f: &dyn Fn(&cmd_stability::TrimRow) -> f64| -> Vec<f64> {
        rows.iter()
            .map(|r| r.trim.as_ref().map_or(f64::NAN, f))
            .collect()
    };
    let mut marks = Vec::new();
    marks.extend(
        report
            .divergence_kn
            .map(|v| (v, "diverges with fins".to_owned())),
    );
    marks.extend(
        report
            .divergence_bare_kn
            .map(|v| (v, "diverges bare".to_owned())),
    );
    let figure = stability_picture(&StabilityPicture {
        heading: heading(
            &model.craft,
            "Pitch stiffness and trim",
            "downwash included",
        ),
        speed_kn: column(&|r| r.speed_kn),
        hydrostatic_nm: column(&|r| r.stiffness.hydrostatic_nm_rad),
        hull_nm: column(&|r| r.stiffness.hull_nm_rad),
        surfaces_nm: column(&|r| r.stiffness.surfaces_nm_rad),
        net_nm: column(&|r| r.stiffness.net_nm_rad),
        net_heave_free_nm: column(&|r| r.stiffness.net_heave_free_nm_rad),
        forward_deg: trim(&|t| t.forward_deg),
        aft_deg: trim(&|t| t.aft_deg),
        forward_limit_deg: limits(model, SurfaceGroup::Forward, rows),
        aft_limit_deg: limits(model, SurfaceGroup::Aft, rows),
        marks,
    });
    write(&figure, dir, "stability", shell)?;
    let speeds = rows.iter().map(|r| {
        let poles = r
            .poles
            .iter()
            .filter(|p| p.real_1_s.hypot(p.imaginary_rad_s) > cmd_stability::GROWS)
            .map(|p| PoleMark {
                re: p.real_1_s,
                im: p.imaginary_rad_s,
                motion: p.motion.to_owned(),
            })
            .collect();
        (r.speed_kn, poles)
    });
    let divergence = report
        .divergence_kn
        .into_iter()
        .map(|v| (v, format!("divergence {v:.1} kn")));
    let figure = pole_picture(&PolePicture {
        heading: heading(
            &model.craft,
            "Poles against speed",
            "about trim, surfaces fixed, course and speed free",
        ),
        parameter: ["speed".to_owned(), "kn".to_owned()],
        points: speeds.collect(),
        window: [[-1.0, 0.2], [0.0, 1.6]],
        marks: divergence.collect(),
        rays: Vec::new(),
    });
    write(&figure, dir, "poles", shell)
}

/// Upper limit of a group's first surface at each speed, deg; empty without one.
fn limits(model: &CraftModel, group: SurfaceGroup, rows: &[cmd_stability::AtSpeed]) -> Vec<f64> {
    let servos = Actuator::all(&model.craft.spec);
    let first = model
        .surfaces
        .iter()
        .zip(&servos)
        .find(|(s, _)| s.group == group);
    let Some((_, servo)) = first else {
        return Vec::new();
    };
    rows.iter()
        .map(|r| to_deg(servo.angle_range_rad(kn(r.speed_kn)).1))
        .collect()
}

/// Motions and accelerations, one picture a speed, one curve a heading.
pub(super) fn response(
    model: &CraftModel,
    report: &cmd_response::Report,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    let mut speeds: Vec<f64> = report.cases.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed_kn in speeds {
        let same = |c: &&cmd_response::Case| c.speed_kn.total_cmp(&speed_kn).is_eq();
        let cases: Vec<&cmd_response::Case> = report.cases.iter().filter(same).collect();
        for (stem, from, to) in [("motions", 0, 6), ("accelerations", 6, usize::MAX)] {
            let count = cases.first().map_or(0, |c| c.curves.len()).min(to);
            if count <= from {
                continue;
            }
            let moves = |k: &usize| cases.iter().any(|c| !c.curves[*k].is_nil());
            let panels = (from..count)
                .filter(moves)
                .map(|k| panel(&cases, k))
                .collect();
            let figure = transfers(&Transfers {
                heading: heading(
                    &model.craft,
                    "Transfer functions",
                    format!(
                        "{speed_kn} kn, surfaces fixed at trim; quadratic drag linearised at {} m of \
                         wave amplitude",
                        report.amplitude_m
                    ),
                ),
                abscissa: "wave frequency".to_owned(),
                abscissa_unit: "rad/s".to_owned(),
                panels,
            });
            write(
                &figure,
                dir,
                &format!("response_{stem}_{speed_kn}kn"),
                shell,
            )?;
        }
    }
    Ok(())
}

fn panel(cases: &[&cmd_response::Case], k: usize) -> TransferPanel {
    let first = &cases[0].curves[k];
    TransferPanel {
        name: first.name.clone(),
        amplitude: "amplitude".to_owned(),
        unit: first.unit.to_owned(),
        curves: cases
            .iter()
            .enumerate()
            .map(|(i, c)| TransferCurve {
                name: format!("{} ({}°)", sea_word(c.heading_deg), c.heading_deg),
                look: i,
                x: c.omega_rad_s.clone(),
                amplitude: c.curves[k].amplitude.clone(),
                phase_deg: without_noise(&c.curves[k].amplitude, &c.curves[k].phase_deg),
            })
            .collect(),
    }
}

/// Least reachable ride, one picture a speed and heading.
pub(super) fn bound(
    craft: &Craft,
    report: &cmd_bound::Report,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    for case in &report.cases {
        let (speed, mu) = (case.speed_kn, case.heading_deg);
        let subtitle = format!("{speed} kn, {} ({mu}°), {}", sea_word(mu), report.sea);
        let figure = bound_picture(&BoundPicture {
            heading: heading(craft, "Least reachable ride", subtitle),
            panels: case.rides.iter().map(|r| bound_panel(case, r)).collect(),
        });
        write(&figure, dir, &format!("bound_{speed}kn_{mu}deg"), shell)?;
    }
    Ok(())
}

fn bound_panel(case: &cmd_bound::Case, r: &cmd_bound::RideRow) -> BoundPanel {
    let column = |f: &dyn Fn(&cmd_bound::CurveRow) -> f64| r.curve.iter().map(f).collect();
    let fins = r.laws.iter().zip(&case.laws).enumerate();
    BoundPanel {
        name: r.quantity.clone(),
        unit: r.unit.to_owned(),
        fixed: r.fins_fixed_rms,
        angle_deg: column(&|p| p.fin_rms_deg),
        least: column(&|p| p.least_rms),
        foreknown: column(&|p| p.every_wave_known_rms),
        laws: fins
            .filter(|(_, (_, fins))| fins.fin_rms_deg > 0.0)
            .map(|(i, (l, fins))| BoundLaw {
                name: l.law.clone(),
                look: i,
                angle_deg: fins.fin_rms_deg,
                ride: l.rms,
                least: l.least_rms,
                words: above(l.above_least_percent),
            })
            .collect(),
    }
}

/// Samples of a segment of the spectral estimate.
const SEGMENT: usize = 512;
/// Sectors of the rose.
const SECTORS: usize = 24;

/// Spectrum asked for and estimated from the record, and where the energy goes.
pub(super) fn sea(
    report: &cmd_sea::Report,
    sea: &Realisation,
    dir: &Path,
    shell: &mut Shell,
) -> Result<()> {
    if report.elevation_m.len() < 2 * SEGMENT || sea.components.is_empty() {
        shell.talk("no picture: calm, or too short a record");
        return Ok(());
    }
    let estimate = spectral::welch(&report.elevation_m, report.record.step_s, SEGMENT);
    let high = report.target.last().map_or(3.0, |p| p[0]);
    let shown = (0..estimate.s.len()).filter(|k| estimate.omega_rad_s(*k) <= high);
    let shown: Vec<usize> = shown.collect();
    let mut energy = [0.0; SECTORS];
    let width = 360.0 / SECTORS as f64;
    for c in &sea.components {
        let k = (to_deg(c.mu_rad).rem_euclid(360.0) / width).round() as usize % SECTORS;
        energy[k] += 0.5 * c.amplitude_m * c.amplitude_m;
    }
    let all: f64 = energy.iter().sum();
    let figure = sea_picture(&SeaPicture {
        heading: Heading::new(
            &report.sea,
            format!(
                "seed {}, {} s at O, craft at rest",
                report.seed, report.duration_s
            ),
            "directions relative to the wave heading of a scenario, here 0 deg",
        ),
        omega_rad_s: report.target.iter().map(|p| p[0]).collect(),
        target_m2_s: report.target.iter().map(|p| p[1]).collect(),
        realised_omega_rad_s: shown.iter().map(|k| estimate.omega_rad_s(*k)).collect(),
        realised_m2_s: shown.iter().map(|k| estimate.s[*k]).collect(),
        realised_band_m2_s: Vec::new(),
        sectors: (0..SECTORS)
            .filter(|k| energy[*k] > 0.0)
            .map(|k| (k as f64 * width, energy[k] / all))
            .collect(),
        numbers: report.numbers(),
    });
    write(&figure, dir, "sea", shell)
}

/// How far above the bound: percent while that reads well.
fn above(percent: f64) -> String {
    if percent < 100.0 {
        format!("+{percent:.0} %")
    } else {
        format!("{:.1} times", 1.0 + percent / 100.0)
    }
}
