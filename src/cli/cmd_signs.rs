//! `signs`: moves each fin alone, tilts the craft, and says whether fins and law turn the right way.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::{CraftArg, OutputArgs};
use super::output::{self, Head};
use super::shell::Shell;
use super::table::table;
use super::{Status, craft_model};
use crate::campaign::signs::{SignCheck, Tilt, Verdict, check};
use crate::campaign::stage::LawPlan;
use crate::caution::FIN_CAUTION;
use crate::dynamics::model::CraftModel;
use crate::error::{Error, Result};
use crate::report::chart::Heading;
use crate::report::signs::sign_bars;
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::load::load_controller;
use crate::spec::source::locate;
use crate::units::{deg, kn};

/// Options of `signs`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    after_help = "Example: ridewright signs scenarios/craft/NAME.json --controller controllers/pid.json --out out\n\
                  Exit status 1 when a fin or the law turns the wrong way."
)]
pub struct Options {
    /// The craft.
    #[command(flatten)]
    pub craft: CraftArg,
    /// Controller file whose calibration and law to check, e.g. --controller controllers/pid.json;
    /// the fins alone when absent.
    #[arg(long, value_name = "CONTROLLER.json")]
    pub controller: Option<PathBuf>,
    /// Speed in knots, e.g. --speed-kn 12; the craft's design speed when absent.
    #[arg(long, value_name = "KN", value_parser = super::args::speed_kn)]
    pub speed_kn: Option<f64>,
    /// Angle in degrees by which each fin is moved, e.g. --step-deg 3.
    #[arg(long, value_name = "DEG", default_value_t = 3.0, value_parser = super::args::step_deg)]
    pub step_deg: f64,
    /// Output.
    #[command(flatten)]
    pub output: OutputArgs,
}

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
struct Report {
    #[serde(flatten)]
    head: Head,
    fin_caution: &'static str,
    passes: bool,
    #[serde(flatten)]
    check: SignCheck,
}

/// Runs the check.
///
/// # Errors
/// What is wrong with craft or controller; a speed of nothing.
pub fn run(options: &Options, cache: Option<&Path>, shell: &mut Shell) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let model = craft_model::build(&options.craft, cache, shell)?;
    let speed_kn = match options.speed_kn.or(model.craft.spec.design_speed_kn) {
        Some(v) if v > 0.0 => v,
        _ => {
            return Err(Error::with_hint(
                "fins move nothing without speed",
                "say --speed-kn KN",
            ));
        }
    };
    let plan = plan(options, &model)?;
    let tilts = options.controller.is_some();
    let found = check(&model, &plan, kn(speed_kn), deg(options.step_deg), tilts)?;
    let passes = found.passes();
    let report = Report {
        head: Head::new(&model.craft.spec.name, &model.warnings),
        fin_caution: FIN_CAUTION,
        passes,
        check: found,
    };
    output::tell(shell, &options.output, "signs", &report, || {
        words(&model, &report)
    })?;
    if let Some(dir) = &out {
        let law = report.check.law.as_deref().unwrap_or("fins alone");
        let subtitle = format!(
            "{}, {} kn, calm water, each fin moved by {} deg alone; {law}",
            model.craft.spec.name,
            report.check.speed_kn.round(),
            options.step_deg
        );
        let caption = "mean over half a second after the servo has moved";
        let head = Heading::new("Signs of the fins", subtitle, caption);
        for file in sign_bars(&report.check, head).write(dir, "signs")? {
            shell.talk(&format!("wrote {}", file.display()));
        }
    }
    Ok(if passes { Status::Met } else { Status::NotMet })
}

/// The controller's law; surfaces held at trim without one.
fn plan(options: &Options, model: &CraftModel) -> Result<LawPlan> {
    if let Some(file) = &options.controller {
        let c = load_controller(file)?;
        return LawPlan::new(&c.spec, c.source.folder(), model)
            .map_err(|e| Error::from(locate(e.problems, &c.source)));
    }
    let fixed = ControllerSpec {
        provenance: None,
        format: crate::control::FORMAT.into(),
        name: "fixed".into(),
        note: String::new(),
        channels: Vec::new(),
        law: LawSpec::Fixed {},
        modes: None,
        monitor: None,
        calibration: Vec::new(),
    };
    LawPlan::new(&fixed, Path::new(""), model)
}

fn words(model: &CraftModel, report: &Report) -> String {
    let c = &report.check;
    let mut text = format!(
        "{}, {:.1} kn, calm water\n\nEach fin moved by {:.1} deg alone, the others held:\n",
        craft_model::title(model, "Signs"),
        c.speed_kn,
        c.step_deg
    );
    text += &fins(c);
    for t in &c.tilts {
        text += &tilt(t);
    }
    text += if report.passes {
        "\nAll signs are right.\n"
    } else {
        "\nNOT all signs are right: do not engage the law.\n"
    };
    text + FIN_CAUTION
}

fn fins(c: &SignCheck) -> String {
    let heads = [
        "fin",
        "reached\ndeg",
        "heave up\nm/s2",
        "expected",
        "roll\ndeg/s2",
        "expected",
        "pitch\ndeg/s2",
        "expected",
        "verdict",
    ];
    let rows = c.fins.iter().map(|f| {
        let mut row = vec![f.surface.clone(), format!("{:+.2}", f.reached_deg)];
        for (found, expected) in f.found.iter().zip(&f.expected) {
            row.push(format!("{found:+.3}"));
            row.push(format!("{expected:+.3}"));
        }
        row.push(match &f.verdict {
            Verdict::Right => "right".into(),
            wrong => wrong.words().to_uppercase(),
        });
        row
    });
    table(heads, rows) + "\n"
}

fn tilt(t: &Tilt) -> String {
    let verdict = match (t.asks_nothing(), t.pushes_wrong_way()) {
        (true, _) => "the law asks for nothing".into(),
        (_, false) => format!("leads back: {:+.1} {}", t.asked, t.unit),
        (_, true) => format!("PUSHES FARTHER: {:+.1} {}", t.asked, t.unit),
    };
    let rows = t.fins.iter().map(|f| {
        let part = match f.leads_back {
            None => "-",
            Some(true) => "leads back",
            Some(false) => "pushes farther",
        };
        vec![
            f.surface.clone(),
            format!("{:+.2}", f.angle_deg),
            part.into(),
        ]
    });
    let rows = table(["fin", "servo told\ndeg", "its part"], rows);
    format!("\nSensors say {}; {verdict}\n{rows}\n", t.tilt)
}
