//! `coefficients`: added mass, damping and wave force against frequency; how well the memory fits.

use std::fmt::Write;
use std::path::Path;

use nalgebra::Matrix6;
use num_complex::Complex64;
use serde::Serialize;

use super::args::CoefficientsOptions;
use super::output::{self, Head};
use super::progress::Progress;
use super::shell::Shell;
use super::table::{decimals_for, fixed, polar, significant, table};
use super::{Status, craft_model};
use crate::dynamics::model::CraftModel;
use crate::error::Result;
use crate::frames::{Dof, encounter_rad_s};
use crate::hydro::craft_hydro::HydroAtSpeed;
use crate::hydro::memory::CouplingError;
use crate::hydro::radiation::{RadiationTable, stf_matrix};
use crate::units::{deg, kn, to_deg};

/// Headings of the wave force when none is asked for, deg.
const HEADINGS_DEG: [f64; 3] = [180.0, 90.0, 0.0];
/// Couplings told: heave-pitch, sway-roll-yaw, surge. The matrices are symmetric.
pub(super) const COUPLINGS: [(usize, usize); 11] = [
    (2, 2),
    (2, 4),
    (4, 4),
    (1, 1),
    (1, 3),
    (3, 3),
    (1, 5),
    (5, 5),
    (3, 5),
    (0, 0),
    (0, 4),
];
/// Every so manyth frequency is printed.
const PRINTED: usize = 4;

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    head: Head,
    /// How the limit of zero frequency is taken.
    zero_frequency_treatment: &'static str,
    first_standing_wave_rad_s: f64,
    pub(super) natural_rad_s: Vec<f64>,
    pub(super) speeds: Vec<AtSpeed>,
}

/// One speed.
#[derive(Clone, Debug, Serialize)]
pub(super) struct AtSpeed {
    pub(super) speed_kn: f64,
    /// Frequencies of A and B, as encountered, rad/s.
    pub(super) omega_rad_s: Vec<f64>,
    pub(super) couplings: Vec<Coupling>,
    memory: Memory,
    pub(super) wave_force: Vec<Force>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    strip_theory: Vec<StripTheory>,
}

/// A and B of one coupling about O; kg, kg m, kg m2 and the same per second.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Coupling {
    pub(super) name: String,
    pub(super) mode: (usize, usize),
    pub(super) added_mass: Vec<f64>,
    pub(super) damping: Vec<f64>,
    pub(super) added_mass_infinite: f64,
    pub(super) added_mass_zero: f64,
    /// Of the memory model, at the same frequencies.
    pub(super) fit_added_mass: Vec<f64>,
    /// Of the memory model.
    pub(super) fit_damping: Vec<f64>,
}

#[derive(Clone, Debug, Serialize)]
struct Memory {
    states: usize,
    couplings: Vec<Fit>,
    smallest_damping_eigenvalue: f64,
    misses: Vec<String>,
}

#[derive(Clone, Debug, Serialize)]
struct Fit {
    name: String,
    retardation_of_peak: f64,
    damping_of_aim: f64,
    added_mass: f64,
    natural_damping: f64,
}

/// Wave force per metre of amplitude, potential part, heave up.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Force {
    pub(super) heading_deg: f64,
    pub(super) omega_rad_s: Vec<f64>,
    pub(super) omega_e_rad_s: Vec<f64>,
    /// By mode: surge, sway, heave up, roll, pitch, yaw; N/m and N m/m.
    pub(super) amplitude: [Vec<f64>; 6],
    /// Lead over the crest at O.
    pub(super) phase_deg: [Vec<f64>; 6],
}

/// Speed-dependent matrices of strip theory in seakeeping axes at an encounter frequency.
#[derive(Clone, Debug, Serialize)]
struct StripTheory {
    omega_e_rad_s: f64,
    added_mass: Vec<Vec<f64>>,
    damping: Vec<Vec<f64>>,
}

/// Prints coefficients.
///
/// # Errors
/// When the craft cannot be read or its memory cannot be fitted.
pub fn run(
    options: &CoefficientsOptions,
    cache: Option<&Path>,
    shell: &mut Shell,
) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let model = craft_model::build(&options.craft, cache, shell)?;
    let mut speeds = options.speed.speed_kn.clone();
    if speeds.is_empty() {
        speeds.push(0.0);
        speeds.extend(model.craft.spec.design_speed_kn);
    }
    let headings = match options.heading.heading_deg.as_slice() {
        [] => HEADINGS_DEG.to_vec(),
        asked => asked.to_vec(),
    };
    let progress = Progress::new(shell, speeds.len(), "speeds");
    let mut report = Report {
        head: Head::new(&model.craft.spec.name, &model.warnings),
        zero_frequency_treatment: super::cmd_stability::treatment(&model),
        first_standing_wave_rad_s: model.hydro.regularisation.gap_rad_s,
        natural_rad_s: model.hydro.natural_rad_s.clone(),
        speeds: Vec::new(),
    };
    for &speed_kn in &speeds {
        let hydro = model.hydro.at_speed(kn(speed_kn))?;
        for warning in &hydro.warnings {
            let text = format!("at {speed_kn} kn: {warning}");
            shell.warn(&text, None);
            report.head.warnings.push(text);
        }
        let row = at_speed(&model, &hydro, speed_kn, &headings, options.strip_theory);
        report.speeds.push(row);
        progress.step();
    }
    progress.finish();
    output::tell(shell, &options.output, "coefficients", &report, || {
        tables(&model, &report)
    })?;
    if let Some(dir) = out {
        super::pictures::coefficients(&model, &report, &dir, shell)?;
    }
    Ok(Status::Met)
}

fn at_speed(
    model: &CraftModel,
    hydro: &HydroAtSpeed,
    speed_kn: f64,
    headings_deg: &[f64],
    strip_theory: bool,
) -> AtSpeed {
    let table = &hydro.radiation;
    let strip = if strip_theory {
        strip_matrices(table, hydro.speed_m_s)
    } else {
        Vec::new()
    };
    AtSpeed {
        speed_kn,
        omega_rad_s: table.omega_rad_s.clone(),
        couplings: COUPLINGS.map(|m| coupling(hydro, m)).to_vec(),
        memory: Memory {
            states: hydro.memory.state_count(),
            couplings: hydro.fit.couplings.iter().map(fit).collect(),
            smallest_damping_eigenvalue: hydro.fit.smallest_eigenvalue,
            misses: hydro.fit.misses(),
        },
        wave_force: headings_deg
            .iter()
            .map(|h| force(model, hydro, *h))
            .collect(),
        strip_theory: strip,
    }
}

/// `A35 heave-pitch` and the like.
fn coupling_name(mode: (usize, usize)) -> String {
    let name = |m: usize| Dof::ALL[m].name();
    if mode.0 == mode.1 {
        name(mode.0).to_owned()
    } else {
        format!("{}-{}", name(mode.0), name(mode.1))
    }
}

fn coupling(hydro: &HydroAtSpeed, mode: (usize, usize)) -> Coupling {
    let table = &hydro.radiation;
    let fitted: Vec<_> = table
        .omega_rad_s
        .iter()
        .map(|w| hydro.memory.coefficients(*w))
        .collect();
    Coupling {
        fit_added_mass: fitted.iter().map(|(a, _)| a[mode]).collect(),
        fit_damping: fitted.iter().map(|(_, b)| b[mode]).collect(),
        name: coupling_name(mode),
        mode: (mode.0 + 1, mode.1 + 1),
        added_mass: table.a.iter().map(|a| a[mode]).collect(),
        damping: table.b.iter().map(|b| b[mode]).collect(),
        added_mass_infinite: table.a_inf[mode],
        added_mass_zero: table.a_zero[mode],
    }
}

fn fit(c: &CouplingError) -> Fit {
    Fit {
        name: coupling_name(c.mode),
        retardation_of_peak: c.retardation,
        damping_of_aim: c.damping,
        added_mass: c.added_mass,
        natural_damping: c.natural_damping,
    }
}

fn force(model: &CraftModel, hydro: &HydroAtSpeed, heading_deg: f64) -> Force {
    let t = &hydro.wave_force;
    let mu = deg(heading_deg);
    let found: Vec<[Complex64; 6]> = t.omega_rad_s.iter().map(|w| t.at(mu, *w)).collect();
    // people read heave up
    let up = |j: usize, v: Complex64| if j == Dof::Heave.i() { -v } else { v };
    let g = model.craft.g_m_s2;
    Force {
        heading_deg,
        omega_rad_s: t.omega_rad_s.clone(),
        omega_e_rad_s: t
            .omega_rad_s
            .iter()
            .map(|w| encounter_rad_s(*w, hydro.speed_m_s, mu, g))
            .collect(),
        amplitude: std::array::from_fn(|j| found.iter().map(|f| f[j].norm()).collect()),
        phase_deg: std::array::from_fn(|j| {
            found.iter().map(|f| to_deg(up(j, f[j]).arg())).collect()
        }),
    }
}

fn strip_matrices(table: &RadiationTable, speed_m_s: f64) -> Vec<StripTheory> {
    let rows = |m: &Matrix6<f64>| -> Vec<Vec<f64>> {
        (0..6)
            .map(|i| (0..6).map(|j| m[(i, j)]).collect())
            .collect()
    };
    table
        .omega_rad_s
        .iter()
        .zip(&table.a)
        .zip(&table.b)
        .map(|((w, a), b)| {
            let (a, b) = stf_matrix(a, b, *w, speed_m_s);
            StripTheory {
                omega_e_rad_s: *w,
                added_mass: rows(&a),
                damping: rows(&b),
            }
        })
        .collect()
}

fn tables(model: &CraftModel, report: &Report) -> String {
    let mut text = craft_model::title(model, "Added mass and damping about O");
    let _ = write!(
        text,
        "\nzero-speed form in body axes, heave down: speed acts through the interaction and the \
         equations of motion\nzero frequency: {}\nfirst standing wave between the hulls: {} rad/s\n",
        report.zero_frequency_treatment,
        fixed(report.first_standing_wave_rad_s, 3)
    );
    for s in &report.speeds {
        for (title, group) in [
            ("heave and pitch", &[0, 1, 2][..]),
            ("sway, roll and yaw, diagonal", &[3, 5, 7]),
            ("sway, roll and yaw, coupled", &[4, 6, 8]),
        ] {
            let _ = write!(
                text,
                "\n{} kn, {title} (A t, t m, t m2; B the same per s)\n",
                s.speed_kn
            );
            text += &radiation(s, group);
            text.push('\n');
        }
        let [surge, pitch] = [&s.couplings[9], &s.couplings[10]];
        let _ = write!(
            text,
            "\nsurge: A11 {} t, A15 {} t m at every frequency, no damping by waves\n",
            fixed(surge.added_mass_infinite / 1e3, 2),
            fixed(pitch.added_mass_infinite / 1e3, 2)
        );
        text += &memory(s);
        for f in &s.wave_force {
            let _ = write!(
                text,
                "\n{} kn, waves travel to {} deg: potential wave force per metre of amplitude (kN or \
                 kN m, deg of lead over the crest at O)\n",
                s.speed_kn, f.heading_deg
            );
            text += &forces(f);
            text.push('\n');
        }
        if !s.strip_theory.is_empty() {
            text += &strip_table(s);
        }
    }
    text
}

fn radiation(s: &AtSpeed, group: &[usize]) -> String {
    let mut heads = vec!["rad/s".to_owned()];
    for &k in group {
        let (i, j) = s.couplings[k].mode;
        heads.extend([format!("A{i}{j}"), format!("B{i}{j}")]);
    }
    let cell = |v: f64| significant(v / 1e3, 4);
    let line = |name: String, a: &dyn Fn(&Coupling) -> f64, b: &dyn Fn(&Coupling) -> f64| {
        let mut row = vec![name];
        for &k in group {
            row.extend([cell(a(&s.couplings[k])), cell(b(&s.couplings[k]))]);
        }
        row
    };
    let mut rows = vec![line("0".to_owned(), &|c| c.added_mass_zero, &|_| 0.0)];
    for i in (0..s.omega_rad_s.len()).step_by(PRINTED) {
        rows.push(line(
            fixed(s.omega_rad_s[i], 3),
            &|c| c.added_mass[i],
            &|c| c.damping[i],
        ));
    }
    rows.push(line(
        "infinite".to_owned(),
        &|c| c.added_mass_infinite,
        &|_| 0.0,
    ));
    table(heads, rows)
}

fn memory(s: &AtSpeed) -> String {
    let m = &s.memory;
    let mut text = format!(
        "\n{} kn, memory as {} states: errors (smallest scaled eigenvalue of the fitted damping {})\n",
        s.speed_kn,
        m.states,
        significant(m.smallest_damping_eigenvalue, 2)
    );
    let rows = m.couplings.iter().map(|f| {
        vec![
            f.name.clone(),
            fixed(100.0 * f.retardation_of_peak, 3),
            fixed(f.damping_of_aim, 3),
            fixed(100.0 * f.added_mass, 3),
            fixed(100.0 * f.natural_damping, 2),
        ]
    });
    text += &table(
        [
            "coupling",
            "K (% of peak, aim 0.3)",
            "B (of the aim, 1)",
            "A (%, aim 2)",
            "B at natural freq. (%)",
        ],
        rows,
    );
    text.push('\n');
    text
}

fn forces(f: &Force) -> String {
    let heads = [
        "wave rad/s",
        "met rad/s",
        "surge",
        "sway",
        "heave up",
        "roll",
        "pitch",
        "yaw",
    ];
    let decimals: Vec<usize> = f
        .amplitude
        .iter()
        .map(|a| {
            let largest = a.iter().copied().fold(0.0, f64::max) / 1e3;
            // what symmetry makes zero is zero, not rounding
            if largest < 1e-3 {
                0
            } else {
                decimals_for(largest)
            }
        })
        .collect();
    let rows = (0..f.omega_rad_s.len()).step_by(PRINTED).map(|i| {
        let mut row = vec![fixed(f.omega_rad_s[i], 3), fixed(f.omega_e_rad_s[i], 3)];
        row.extend((0..6).map(|j| polar(f.amplitude[j][i] / 1e3, f.phase_deg[j][i], decimals[j])));
        row
    });
    table(heads, rows)
}

fn strip_table(s: &AtSpeed) -> String {
    let mut text = format!(
        "\n{} kn, strip theory with speed in seakeeping axes (A33 t, A35 A53 t m, A55 t m2; B the \
         same per s)\n",
        s.speed_kn
    );
    let rows = s.strip_theory.iter().step_by(PRINTED).map(|r| {
        let mut row = vec![fixed(r.omega_e_rad_s, 3)];
        for (i, j) in [(2, 2), (2, 4), (4, 2), (4, 4)] {
            row.push(significant(r.added_mass[i][j] / 1e3, 4));
            row.push(significant(r.damping[i][j] / 1e3, 4));
        }
        row
    });
    text += &table(
        [
            "rad/s", "A33", "B33", "A35", "B35", "A53", "B53", "A55", "B55",
        ],
        rows,
    );
    text.push('\n');
    text
}
