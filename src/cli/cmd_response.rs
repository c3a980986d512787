//! `response`: transfer functions from waves to motions and to named points, fins fixed at trim.

use std::fmt::Write;
use std::path::Path;

use serde::Serialize;

use super::args::ResponseOptions;
use super::output::{self, Head};
use super::progress::Progress;
use super::shell::Shell;
use super::table::{decimals_for, fixed, polar, table};
use super::{Status, craft_model};
use crate::dynamics::model::CraftModel;
use crate::dynamics::plant::Plant;
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::linear::assemble::LinearModel;
use crate::linear::regular_wave::{self, model_without_drag};
use crate::linear::response::WaveResponse;
use crate::linear::trim;
use crate::math::eigen;
use crate::spec::scenario::CourseSpec;
use crate::units::{deg, kn, to_deg};

/// Headings when none is asked for, deg.
const HEADINGS_DEG: [f64; 5] = [180.0, 135.0, 90.0, 45.0, 0.0];
/// Wave frequencies: from, to and step, in units of sqrt(g/L) of the lower hulls.
const GRID: (f64, f64, f64) = (0.3, 4.5, 0.05);
/// Every so manyth frequency is printed.
const PRINTED: usize = 4;
/// Natural period of the springs that hold mean course and speed, s.
const SPRING_PERIOD_S: f64 = 120.0;
/// Amplitude per metre of wave below which a response is rounding, in its own unit.
const ROUNDING: f64 = 1e-6;

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    head: Head,
    controller: &'static str,
    course: &'static str,
    /// Wave amplitude at which quadratic drag is linearised.
    pub(super) amplitude_m: f64,
    pub(super) cases: Vec<Case>,
}

/// One speed and heading.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Case {
    pub(super) speed_kn: f64,
    pub(super) heading_deg: f64,
    pub(super) omega_rad_s: Vec<f64>,
    /// Signed: negative where the craft overtakes the waves.
    pub(super) omega_e_rad_s: Vec<f64>,
    pub(super) curves: Vec<Curve>,
}

/// Amplitude per metre of wave amplitude and lead over the crest at O.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Curve {
    pub(super) name: String,
    pub(super) unit: &'static str,
    pub(super) amplitude: Vec<f64>,
    pub(super) phase_deg: Vec<f64>,
}

impl Curve {
    /// No wave of this heading moves it, as symmetry has it.
    pub(super) fn is_nil(&self) -> bool {
        self.amplitude.iter().all(|a| *a <= 0.0)
    }
}

/// Prints transfer functions.
///
/// # Errors
/// When the craft cannot be read, a speed is missing, or there is no equilibrium at a speed.
pub fn run(options: &ResponseOptions, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let model = craft_model::build(&options.craft, cache, shell)?;
    let speeds = options.speed.or_design(model.craft.spec.design_speed_kn)?;
    let headings = match options.heading.heading_deg.as_slice() {
        [] => HEADINGS_DEG.to_vec(),
        asked => asked.to_vec(),
    };
    let progress = Progress::new(shell, speeds.len() * headings.len(), "speeds and headings");
    let mut cases = Vec::new();
    let mut unstable = Vec::new();
    for &speed_kn in &speeds {
        let course = CourseSpec::MeanHeld {
            spring_period_s: SPRING_PERIOD_S,
        };
        let plant = model.plant(kn(speed_kn), &course)?;
        let level = trim::level(&plant)?;
        let linear = model_without_drag(&plant, &level.x);
        unstable.extend(growth(&linear, speed_kn)?);
        for &heading_deg in &headings {
            cases.push(case(
                &model,
                &plant,
                &linear,
                speed_kn,
                heading_deg,
                options.amplitude_m,
            )?);
            progress.step();
        }
    }
    progress.finish();
    let mut report = Report {
        head: Head::new(&model.craft.spec.name, &model.warnings),
        controller: "surfaces fixed at their trim angles",
        course: "mean course and speed held by soft springs of 120 s",
        amplitude_m: options.amplitude_m,
        cases,
    };
    for case in &report.cases {
        if let Some(text) = slow_encounter(case) {
            shell.warn(&text, None);
            report.head.warnings.push(text);
        }
    }
    for text in unstable {
        shell.warn(&text, None);
        report.head.warnings.push(text);
    }
    output::tell(shell, &options.output, "response", &report, || {
        tables(&model, &report)
    })?;
    if let Some(dir) = out {
        super::pictures::response(&model, &report, &dir, shell)?;
    }
    Ok(Status::Met)
}

/// Waves that hardly pass the craft: surge, sway and yaw there are those of the springs.
fn slow_encounter(case: &Case) -> Option<String> {
    let slow = std::f64::consts::TAU / SPRING_PERIOD_S * 3.0;
    let met = |w: &&f64| w.abs() < slow;
    let count = case.omega_e_rad_s.iter().filter(met).count();
    (count > 0).then(|| {
        format!(
            "at {} kn, {} deg, {count} of the waves are met at less than {slow:.2} rad/s: surge, sway and \
             yaw there depend on the springs that hold the course, and a real craft would surf",
            case.speed_kn, case.heading_deg
        )
    })
}

/// What to say of the fastest growing pole, when there is one that grows.
fn growth(linear: &LinearModel, speed_kn: f64) -> Result<Option<String>> {
    let values = eigen::eigenvalues(&linear.a)
        .ok_or_else(|| Error::new("the poles of the linear model could not be found"))?;
    let most = values
        .iter()
        .copied()
        .max_by(|a, b| a.re.total_cmp(&b.re))
        .filter(|v| v.re > 1e-6);
    let Some(value) = most else { return Ok(None) };
    let rate = value.re;
    let shapes =
        eigen::vector(&linear.a, value).zip(eigen::vector(&linear.a.transpose(), value.conj()));
    // position and velocity along y and about z: course and track, which only springs hold here
    let is_course = shapes.is_some_and(|(right, left)| {
        let part = eigen::Mode { value, right, left }.participation();
        [1, 5, 7, 11].iter().map(|i| part[*i]).sum::<f64>() > 0.5
    });
    Ok(Some(if is_course {
        format!(
            "at {speed_kn} kn the springs do not keep the course for ever (it wanders off at {rate:.3} \
             1/s without rudders): the response is that of the wave's frequency alone"
        )
    } else {
        format!(
            "at {speed_kn} kn the craft with fixed fins is unstable (fastest growth {rate:.3} 1/s): no \
             steady response exists there, the numbers are of the algebra alone; see `stability`"
        )
    }))
}

fn case(
    model: &CraftModel,
    plant: &Plant,
    linear: &LinearModel,
    speed_kn: f64,
    heading_deg: f64,
    amplitude_m: f64,
) -> Result<Case> {
    let unit = (plant.g_m_s2 / model.hydro.length_m).sqrt();
    let count = ((GRID.1 - GRID.0) / GRID.2).round() as usize;
    let omega: Vec<f64> = (0..=count)
        .map(|i| unit * (GRID.0 + GRID.2 * i as f64))
        .collect();
    let found: Vec<WaveResponse> = omega
        .iter()
        .map(|&w| {
            regular_wave::response(linear, plant, w, deg(heading_deg), amplitude_m).ok_or_else(
                || {
                    Error::new(format!(
                        "no response found at {speed_kn} kn, {heading_deg} deg, {w:.3} rad/s"
                    ))
                },
            )
        })
        .collect::<Result<_>>()?;
    Ok(Case {
        speed_kn,
        heading_deg,
        omega_rad_s: omega,
        omega_e_rad_s: found.iter().map(|r| r.omega_e_rad_s).collect(),
        curves: curves(model, &found),
    })
}

fn curves(model: &CraftModel, found: &[WaveResponse]) -> Vec<Curve> {
    let curve = |name: String, unit, value: &dyn Fn(&WaveResponse) -> num_complex::Complex64| {
        let mut z: Vec<_> = found.iter().map(value).collect();
        // what symmetry makes zero is zero, not rounding
        if z.iter().all(|v| v.norm() < ROUNDING) {
            z.fill(num_complex::Complex64::ZERO);
        }
        Curve {
            name,
            unit,
            amplitude: z.iter().map(|v| v.norm()).collect(),
            phase_deg: z.iter().map(|v| to_deg(v.arg())).collect(),
        }
    };
    let mut out = Vec::new();
    for dof in [
        Dof::Heave,
        Dof::Pitch,
        Dof::Roll,
        Dof::Surge,
        Dof::Sway,
        Dof::Yaw,
    ] {
        let (name, scale, unit) = match dof {
            Dof::Heave => ("heave up", -1.0, "m/m"),
            _ if dof.is_translation() => (dof.name(), 1.0, "m/m"),
            _ => (dof.name(), to_deg(1.0), "deg/m"),
        };
        out.push(curve(name.to_owned(), unit, &|r| {
            r.motion()[dof.i()] * scale
        }));
    }
    for (name, at) in &model.craft.points {
        out.push(curve(
            format!("{name}, vertical acceleration up"),
            "m/s2/m",
            &|r| -r.vertical_acceleration(at),
        ));
    }
    out
}

fn tables(model: &CraftModel, report: &Report) -> String {
    let mut text = craft_model::title(model, "Transfer functions, surfaces fixed at trim");
    let _ = write!(
        text,
        "\nper metre of wave amplitude; phase: lead over the crest at O, deg; quadratic drag \
         linearised at {} m\n",
        report.amplitude_m
    );
    for case in &report.cases {
        let _ = write!(
            text,
            "\n{} kn, waves travel to {} deg ({})\n",
            case.speed_kn,
            case.heading_deg,
            sea_word(case.heading_deg)
        );
        text += &case_table(case);
        text.push('\n');
        text += &peaks(case);
        text.push('\n');
    }
    text
}

/// The trade's word for a wave heading.
pub(super) fn sea_word(heading_deg: f64) -> &'static str {
    let off = heading_deg.rem_euclid(360.0);
    let side = if off > 180.0 { 360.0 - off } else { off };
    match side {
        s if s > 157.5 => "head seas",
        s if s > 112.5 => "bow seas",
        s if s > 67.5 => "beam seas",
        s if s > 22.5 => "quartering seas",
        _ => "following seas",
    }
}

/// Motions over wave frequency and frequency of encounter.
fn case_table(case: &Case) -> String {
    let motions = &case.curves[..6];
    let mut heads = vec!["wave rad/s".to_owned(), "met rad/s".to_owned()];
    heads.extend(motions.iter().map(|c| format!("{} {} deg", c.name, c.unit)));
    let decimals = motions.iter().map(|c| {
        let largest = c.amplitude.iter().copied().fold(0.0, f64::max);
        if largest <= 0.0 {
            0
        } else {
            decimals_for(largest)
        }
    });
    let decimals: Vec<usize> = decimals.collect();
    let rows = (0..case.omega_rad_s.len()).step_by(PRINTED).map(|i| {
        let mut row = vec![
            fixed(case.omega_rad_s[i], 3),
            fixed(case.omega_e_rad_s[i], 3),
        ];
        row.extend(
            motions
                .iter()
                .zip(&decimals)
                .map(|(c, d)| polar(c.amplitude[i], c.phase_deg[i], *d)),
        );
        row
    });
    table(heads, rows)
}

/// Greatest value of every curve and where.
fn peaks(case: &Case) -> String {
    let there = case.curves.iter().filter(|c| !c.is_nil());
    let rows = there.map(|c| {
        let i = (0..c.amplitude.len())
            .max_by(|a, b| c.amplitude[*a].total_cmp(&c.amplitude[*b]))
            .unwrap_or(0);
        vec![
            c.name.clone(),
            fixed(c.amplitude[i], 3),
            c.unit.to_owned(),
            fixed(case.omega_rad_s[i], 3),
            fixed(std::f64::consts::TAU / case.omega_rad_s[i], 1),
            fixed(case.omega_e_rad_s[i], 3),
        ]
    });
    table(
        [
            "greatest of",
            "value",
            "unit",
            "wave (rad/s)",
            "wave period (s)",
            "met (rad/s)",
        ],
        rows,
    )
}
