//! `sea`: target spectrum, moments of one realisation against it, one record, component spacing.

use std::fmt::Write;
use std::path::Path;

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use serde::Serialize;

use super::args::{CraftArg, SeaOptions};
use super::output::{self, replace};
use super::shell::Shell;
use super::table::{fixed, optional, significant, table};
use super::{Status, craft_model};
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::linear::assemble::assemble;
use crate::linear::modes::poles;
use crate::linear::trim;
use crate::sea::realisation::{Realisation, realise};
use crate::sea::spectrum::Spectrum;
use crate::sea::spreading::Spreading;
use crate::sea::states::wmo_state;
use crate::spec::load::load_sea;
use crate::spec::scenario::CourseSpec;
use crate::spec::sea::{Amplitudes, SeaSpec};
use crate::units::{deg, kn};

/// Step of the record, s.
const STEP_S: f64 = 0.25;
/// Component evaluations that a record may cost; longer records are cut and told so.
const MOST_EVALUATIONS: f64 = 4e8;
/// Moments told.
const ORDERS: [i32; 4] = [-1, 0, 1, 2];

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    pub(super) sea: String,
    pub(super) seed: u64,
    pub(super) duration_s: f64,
    amplitudes: Amplitudes,
    state: State,
    systems: Vec<System>,
    moments: Vec<Moment>,
    pub(super) record: RecordRow,
    spacing: Vec<Spacing>,
    #[serde(skip)]
    pub(super) elevation_m: Vec<f64>,
    #[serde(skip)]
    pub(super) target: Vec<[f64; 2]>,
    caution: &'static str,
}

#[derive(Clone, Debug, Serialize)]
struct State {
    code: u8,
    word: &'static str,
    hs_m: f64,
    tz_s: f64,
}

#[derive(Clone, Debug, Serialize)]
struct System {
    hs_m: f64,
    peak_period_s: f64,
    tz_s: f64,
    lowest_rad_s: f64,
    highest_rad_s: f64,
    offset_deg: f64,
    spread_deg: Option<f64>,
    components: usize,
}

/// One moment by wave frequency, m2 (rad/s)^n.
#[derive(Clone, Debug, Serialize)]
struct Moment {
    order: i32,
    /// Of the whole spectrum; null where it diverges or hangs on the tail.
    target: f64,
    /// Of the range that has components: what the realisations have in the mean.
    target_realised_range: f64,
    realised: f64,
    /// One standard deviation between realisations.
    sampling_error: f64,
    /// Difference in standard deviations; null where nothing is random.
    off_by_errors: Option<f64>,
}

/// Statistics of the elevation at O, craft at rest.
#[derive(Clone, Debug, Serialize)]
pub(super) struct RecordRow {
    pub(super) step_s: f64,
    pub(super) length_s: f64,
    variance_m2: f64,
    variance_target_m2: f64,
    /// One standard deviation of the variance of a record of this length.
    variance_error_m2: f64,
    hs_m: f64,
    tz_s: Option<f64>,
    highest_crest_m: f64,
    deepest_trough_m: f64,
}

#[derive(Clone, Debug, Serialize)]
struct Spacing {
    craft: String,
    speed_kn: f64,
    heading_deg: f64,
    motion: &'static str,
    omega_e_rad_s: f64,
    half_bandwidth_rad_s: f64,
    largest_gap_rad_s: f64,
    allowed_gap_rad_s: f64,
    resolution_rad_s: f64,
    components_needed: usize,
    fine: bool,
}

impl Report {
    /// Names and values for the picture.
    pub(super) fn numbers(&self) -> Vec<(String, String)> {
        vec![
            (
                "Hs asked for".into(),
                format!("{} m", fixed(self.state.hs_m, 2)),
            ),
            (
                "Hs of the record".into(),
                format!("{} m", fixed(self.record.hs_m, 2)),
            ),
            (
                "Tz asked for".into(),
                format!("{} s", fixed(self.state.tz_s, 2)),
            ),
            (
                "Tz of the record".into(),
                format!("{} s", optional(self.record.tz_s, 2)),
            ),
            (
                "sea state".into(),
                format!("{} ({})", self.state.code, self.state.word),
            ),
        ]
    }
}

/// Prints a sea.
///
/// # Errors
/// When the sea, its spectra or the craft cannot be read.
pub fn run(options: &SeaOptions, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let file = load_sea(&options.sea)?;
    let dir = file.source.folder().to_owned();
    let draw = |spec: &SeaSpec, speed: f64, mu: f64| {
        let mut rng = ChaCha8Rng::seed_from_u64(options.seed);
        realise(spec, &dir, mu, speed, options.duration_s, &mut rng)
            .map_err(|e| Error::from(crate::spec::source::locate(e.problems, &file.source)))
    };
    let sea = draw(&file.spec, 0.0, 0.0)?;
    // the same waves with fixed amplitudes hold the energy of every bin
    let mut fixed_spec = file.spec.clone();
    fixed_spec.amplitudes = Amplitudes::Fixed;
    let bins = draw(&fixed_spec, 0.0, 0.0)?;
    let spectra: Vec<Spectrum> = file
        .spec
        .systems
        .iter()
        .map(|s| Spectrum::of(&s.spectrum, &dir))
        .collect::<Result<_>>()?;
    let mut report = assess(options, &file.spec, &spectra, &sea, &bins)?;
    if report.record.length_s + STEP_S < options.duration_s {
        let text = format!(
            "the record is cut at {} s",
            fixed(report.record.length_s, 0)
        );
        shell.warn(&text, Some("fewer components or a shorter --duration-s"));
    }
    if let Some(craft) = &options.craft {
        report.spacing = spacing(options, craft, cache, shell, &|u, mu| {
            draw(&file.spec, u, mu)
        })?;
    }
    for s in report.spacing.iter().filter(|s| !s.fine) {
        shell.warn(
            &format!(
                "components are too far apart for {} at {} kn, {} deg: {} rad/s, a third of the \
                 half-bandwidth is {} rad/s",
                s.motion,
                s.speed_kn,
                s.heading_deg,
                significant(s.largest_gap_rad_s, 2),
                significant(s.allowed_gap_rad_s, 2)
            ),
            Some(&format!(
                "`components` of about {} in the sea file",
                s.components_needed
            )),
        );
    }
    output::tell(shell, &options.output, "sea", &report, || tables(&report))?;
    if let Some(dir) = out {
        write_record(&report, &dir, shell)?;
        super::pictures::sea(&report, &sea, &dir, shell)?;
    }
    Ok(Status::Met)
}

fn assess(
    options: &SeaOptions,
    spec: &SeaSpec,
    spectra: &[Spectrum],
    sea: &Realisation,
    bins: &Realisation,
) -> Result<Report> {
    let m0: f64 = spectra.iter().map(|s| s.moment(0)).sum();
    let m2: f64 = spectra.iter().map(|s| s.moment(2)).sum();
    let hs = 4.0 * m0.sqrt();
    let state = wmo_state(hs);
    let systems = spec
        .systems
        .iter()
        .zip(spectra)
        .map(|(w, s)| {
            let spread = w.spreading.map(Spreading::of).transpose()?;
            let (low, high) = s.range_rad_s();
            Ok(System {
                hs_m: s.hs_m(),
                peak_period_s: std::f64::consts::TAU / s.peak_rad_s(),
                tz_s: s.tz_s(),
                lowest_rad_s: low,
                highest_rad_s: high,
                offset_deg: w.offset_deg,
                spread_deg: spread.map(|s| s.spread_rad().to_degrees()),
                components: if matches!(s, Spectrum::Line { .. }) {
                    1
                } else {
                    spec.components
                },
            })
        })
        .collect::<Result<Vec<_>>>()?;
    let elevation_m = record(sea, options.duration_s);
    Ok(Report {
        sea: spec.name.clone(),
        seed: options.seed,
        duration_s: options.duration_s,
        amplitudes: spec.amplitudes,
        state: State {
            code: state.code,
            word: state.word,
            hs_m: hs,
            tz_s: std::f64::consts::TAU * (m0 / m2).sqrt(),
        },
        systems,
        moments: ORDERS.map(|n| moment(n, spec, spectra, sea, bins)).to_vec(),
        record: record_row(&elevation_m, spectra, m0),
        spacing: Vec::new(),
        target: density(spectra),
        elevation_m,
        caution: crate::caution::CAUTION,
    })
}

fn moment(
    n: i32,
    spec: &SeaSpec,
    spectra: &[Spectrum],
    sea: &Realisation,
    bins: &Realisation,
) -> Moment {
    let realised = sea.moment(n);
    let in_range: f64 = spectra.iter().map(|s| range_moment(s, n)).sum();
    // a^2/2 of a Rayleigh amplitude scatters by its own mean
    let scatter: f64 = bins
        .components
        .iter()
        .map(|c| (0.5 * c.amplitude_m * c.amplitude_m * c.omega_rad_s.powi(n)).powi(2))
        .sum();
    let random = spec.amplitudes == Amplitudes::Random
        && !spectra.iter().all(|s| matches!(s, Spectrum::Line { .. }));
    let error = if random { scatter.sqrt() } else { 0.0 };
    Moment {
        order: n,
        target: spectra.iter().map(|s| s.moment(n)).sum(),
        target_realised_range: in_range,
        realised,
        sampling_error: error,
        off_by_errors: (error > 0.0).then(|| (realised - in_range) / error),
    }
}

/// Moment over the range that has components, the cut tail's energy spread over it as the
/// realisation does.
fn range_moment(s: &Spectrum, n: i32) -> f64 {
    if matches!(s, Spectrum::Line { .. }) {
        return s.moment(n);
    }
    let (low, high) = s.range_rad_s();
    let kept = integral(low, high, &|w| s.density(w));
    if kept <= 0.0 {
        return 0.0;
    }
    integral(low, high, &|w| s.density(w) * w.powi(n)) * s.moment(0) / kept
}

/// Simpson's rule on a fine grid of log frequency.
fn integral(low: f64, high: f64, f: &dyn Fn(f64) -> f64) -> f64 {
    const N: usize = 4000;
    let (a, b) = (low.max(1e-6).ln(), high.ln());
    let h = (b - a) / N as f64;
    (0..=N)
        .map(|i| {
            let w = (a + h * i as f64).exp();
            let weight = match i {
                0 | N => 1.0,
                i if i % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * f(w) * w
        })
        .sum::<f64>()
        * h
        / 3.0
}

/// Elevation at O of a craft at rest.
fn record(sea: &Realisation, duration_s: f64) -> Vec<f64> {
    let most = (MOST_EVALUATIONS / sea.components.len().max(1) as f64) as usize;
    let n = ((duration_s / STEP_S).floor() as usize + 1).min(most);
    (0..n)
        .map(|i| sea.elevation_m(STEP_S * i as f64, 0.0, 0.0))
        .collect()
}

fn record_row(elevation: &[f64], spectra: &[Spectrum], m0: f64) -> RecordRow {
    let n = elevation.len() as f64;
    let mean = elevation.iter().sum::<f64>() / n;
    let variance = elevation.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / n;
    let length_s = STEP_S * n;
    // variance of the variance of a Gaussian record of length D: 2 pi / D times the integral of S^2
    let squared: f64 = spectra
        .iter()
        .filter(|s| !matches!(s, Spectrum::Line { .. }))
        .map(|s| {
            let (low, high) = s.range_rad_s();
            integral(low, high, &|w| s.density(w).powi(2))
        })
        .sum();
    RecordRow {
        step_s: STEP_S,
        length_s,
        variance_m2: variance,
        variance_target_m2: m0,
        variance_error_m2: (std::f64::consts::TAU / length_s * squared).sqrt(),
        hs_m: 4.0 * variance.sqrt(),
        tz_s: up_crossing_period(elevation, mean),
        highest_crest_m: elevation.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        deepest_trough_m: elevation.iter().copied().fold(f64::INFINITY, f64::min),
    }
}

/// Mean time between up-crossings of the mean, s.
fn up_crossing_period(z: &[f64], mean: f64) -> Option<f64> {
    let at: Vec<usize> = (1..z.len())
        .filter(|&i| z[i - 1] < mean && z[i] >= mean)
        .collect();
    match at.as_slice() {
        [first, .., last] => Some(STEP_S * (last - first) as f64 / (at.len() - 1) as f64),
        _ => None,
    }
}

/// Target density of all systems, rad/s and m2 s/rad.
fn density(spectra: &[Spectrum]) -> Vec<[f64; 2]> {
    let high = spectra
        .iter()
        .map(|s| s.range_rad_s().1)
        .fold(0.0, f64::max)
        .min(3.0);
    (1..=400)
        .map(|i| {
            let w = high * f64::from(i) / 400.0;
            [w, spectra.iter().map(|s| s.density(w)).sum()]
        })
        .collect()
}

/// Advice for the narrowest of heave, pitch and roll at every speed and heading asked for.
fn spacing(
    options: &SeaOptions,
    craft: &Path,
    cache: Option<&Path>,
    shell: &mut Shell,
    draw: &dyn Fn(f64, f64) -> Result<Realisation>,
) -> Result<Vec<Spacing>> {
    let argument = CraftArg {
        craft: craft.to_owned(),
        switches: None,
    };
    let model = craft_model::build(&argument, cache, shell)?;
    let headings = match options.heading.heading_deg.as_slice() {
        [] => vec![180.0, 90.0, 0.0],
        asked => asked.to_vec(),
    };
    let mut out = Vec::new();
    for speed_kn in options.speed.or_design(model.craft.spec.design_speed_kn)? {
        let plant = model.plant(kn(speed_kn), &CourseSpec::default())?;
        let level = trim::level(&plant)?;
        let found = poles(&assemble(&plant, &level.x, None))?;
        for heading_deg in &headings {
            let sea = draw(kn(speed_kn), deg(*heading_deg))?;
            for motion in [Dof::Heave, Dof::Pitch, Dof::Roll] {
                let narrow = found
                    .iter()
                    .filter(|p| p.motion == Some(motion) && p.period_s().is_some())
                    .min_by(|a, b| a.value.re.abs().total_cmp(&b.value.re.abs()));
                let Some(p) = narrow else { continue };
                let a = sea.spacing(p.value.norm(), p.value.re);
                out.push(Spacing {
                    craft: model.craft.spec.name.clone(),
                    speed_kn,
                    heading_deg: *heading_deg,
                    motion: motion.name(),
                    omega_e_rad_s: a.omega_e_rad_s,
                    half_bandwidth_rad_s: a.half_bandwidth_rad_s,
                    largest_gap_rad_s: a.largest_gap_rad_s,
                    allowed_gap_rad_s: a.allowed_gap_rad_s,
                    resolution_rad_s: a.resolution_rad_s,
                    components_needed: a.components_needed,
                    fine: a.is_fine(),
                });
            }
        }
    }
    Ok(out)
}

fn write_record(report: &Report, dir: &Path, shell: &mut Shell) -> Result<()> {
    let mut text = String::from("t_s,elevation_up_m\n");
    for (i, z) in report.elevation_m.iter().enumerate() {
        let _ = writeln!(text, "{},{z:.5}", STEP_S * i as f64);
    }
    let file = dir.join("sea_record.csv");
    replace(&file, &text)?;
    shell.talk(&format!("wrote {}", file.display()));
    Ok(())
}

fn tables(report: &Report) -> String {
    let mut text = format!(
        "{}: Hs {} m, Tz {} s, sea state {} ({}) of WMO table 3700\n",
        report.sea,
        fixed(report.state.hs_m, 2),
        fixed(report.state.tz_s, 2),
        report.state.code,
        report.state.word
    );
    let rows = report.systems.iter().enumerate().map(|(i, s)| {
        vec![
            format!("{}", i + 1),
            fixed(s.hs_m, 2),
            fixed(s.peak_period_s, 2),
            fixed(s.tz_s, 2),
            format!(
                "{} to {}",
                fixed(s.lowest_rad_s, 2),
                fixed(s.highest_rad_s, 2)
            ),
            fixed(s.offset_deg, 0),
            optional(s.spread_deg, 1),
            s.components.to_string(),
        ]
    });
    text += &table(
        [
            "system",
            "Hs (m)",
            "Tp (s)",
            "Tz (s)",
            "range (rad/s)",
            "offset (deg)",
            "spread (deg)",
            "components",
        ],
        rows,
    );
    let _ = write!(
        text,
        "\n\nMoments of the realisation, seed {}, m2 (rad/s)^n; sampling error: one standard \
         deviation between seeds\n",
        report.seed
    );
    text += &moment_table(report);
    let r = &report.record;
    let _ = write!(
        text,
        "\n\nRecord of {} s at O, craft at rest, up positive: its variance scatters by one standard \
         deviation as stated\n",
        fixed(r.length_s, 0)
    );
    text += &table(
        [
            "variance (m2)",
            "target (m2)",
            "sampling error (m2)",
            "Hs (m)",
            "Tz (s)",
            "crest (m)",
            "trough (m)",
        ],
        [vec![
            significant(r.variance_m2, 4),
            significant(r.variance_target_m2, 4),
            significant(r.variance_error_m2, 2),
            fixed(r.hs_m, 3),
            optional(r.tz_s, 2),
            fixed(r.highest_crest_m, 2),
            fixed(r.deepest_trough_m, 2),
        ]],
    );
    if !report.spacing.is_empty() {
        text += "\n\nSpacing of the components as met, against the responses with fins fixed at trim; \
                 waves: components that would be enough\n";
        text += &spacing_table(report);
    }
    text
}

fn moment_table(report: &Report) -> String {
    let rows = report.moments.iter().map(|m| {
        vec![
            format!("m{}", m.order),
            significant(m.target, 4),
            significant(m.target_realised_range, 4),
            significant(m.realised, 4),
            significant(m.sampling_error, 2),
            optional(m.off_by_errors, 2),
        ]
    });
    table(
        [
            "moment",
            "target",
            "target, realised range",
            "realised",
            "sampling error",
            "off by (errors)",
        ],
        rows,
    )
}

fn spacing_table(report: &Report) -> String {
    let rows = report.spacing.iter().map(|s| {
        vec![
            s.motion.to_owned(),
            fixed(s.speed_kn, 1),
            fixed(s.heading_deg, 0),
            fixed(s.omega_e_rad_s, 3),
            significant(s.half_bandwidth_rad_s, 3),
            significant(s.largest_gap_rad_s, 2),
            significant(s.allowed_gap_rad_s.max(s.resolution_rad_s), 2),
            if s.fine { "fine" } else { "too coarse" }.to_owned(),
            s.components_needed.to_string(),
        ]
    });
    table(
        [
            "motion",
            "speed (kn)",
            "heading (deg)",
            "natural (rad/s)",
            "half band (rad/s)",
            "largest gap (rad/s)",
            "allowed (rad/s)",
            "verdict",
            "waves",
        ],
        rows,
    )
}
