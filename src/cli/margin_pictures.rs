//! Pictures of `margins`: from loops to figures of the report room.

use std::path::{Path, PathBuf};

use nalgebra::DMatrix;
use num_complex::Complex64;
use rayon::prelude::*;

use super::cmd_margins::{Case, Job, PoleRow, Report, db, pole_rows};
use super::margin_tables::PRACTICE_DISK;
use crate::campaign::stage::LawPlan;
use crate::closed_loop::LoopCraft;
use crate::closed_loop::margins::analyse::{CutMargins, LoopMargins, complement, swept};
use crate::closed_loop::margins::craft::{CraftLoop, UNNAMED};
use crate::closed_loop::margins::disturbance::{Answer, short, step, stiffness};
use crate::closed_loop::margins::loops::OpenLoop;
use crate::closed_loop::margins::structured::sigma_max;
use crate::closed_loop::margins::sweep::Sweep;
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::frames::Dof;
use crate::report::chart::{Figure, Heading};
use crate::report::curves::bode::{BodeCurve, BodePicture, bode_picture};
use crate::report::curves::nyquist::{Locus, NyquistPicture, nyquist_picture};
use crate::report::curves::poles::{PoleMark, PolePicture, pole_picture};
use crate::report::curves::sensitivity::{
    SensitivityCurve, SensitivityPicture, sensitivity_picture,
};
use crate::report::curves::steps::{AnswerPicture, AnswerRow, TimeCurve, answer_picture};
use crate::units::{deg, kn, to_deg};

/// Frequencies shown, rad/s.
const SHOWN_RAD_S: [f64; 2] = [0.03, 31.0];
/// Speeds of a pole map at least.
const POLE_SPEEDS: usize = 9;
/// Factors on all gains of a pole map, and their step.
const FACTORS: (f64, f64) = (3.0, 0.2);
/// Poles shown, 1/s and rad/s.
const WINDOW: [[f64; 2]; 2] = [[-1.2, 0.3], [0.0, 2.5]];
/// Time shown of answers, s.
const SHOWN_S: f64 = 40.0;
/// Curves in one panel at most: more cannot be told apart.
const CURVES: usize = 7;

/// Draws everything; returns the files.
pub(super) fn draw(job: &Job, report: &Report, dir: &Path) -> Result<Vec<PathBuf>> {
    let own = &job.model.craft.spec.name;
    let cases: Vec<&Case> = report
        .cases
        .iter()
        .filter(|c| c.margins.is_some() && c.loading == *own)
        .collect();
    let mut tasks: Vec<Task> = cases.iter().map(|c| Task::Case(c)).collect();
    tasks.extend(job.laws.iter().map(Task::Speeds));
    tasks.extend(job.speeds_kn.iter().map(|v| Task::Answers(*v)));
    let files = tasks
        .par_iter()
        .map(|t| {
            let mut files = Vec::new();
            for (stem, figure) in t.figures(job)? {
                files.extend(figure.write(dir, &stem)?);
            }
            Ok(files)
        })
        .collect::<Result<Vec<_>>>()?;
    Ok(files.into_iter().flatten().collect())
}

enum Task<'a> {
    Case(&'a Case),
    Speeds(&'a LawPlan),
    Answers(f64),
}

impl Task<'_> {
    fn figures(&self, job: &Job) -> Result<Vec<(String, Figure)>> {
        match self {
            Task::Case(case) => of_case(job, case),
            Task::Speeds(plan) => Ok(against_speed(job, plan)),
            Task::Answers(speed_kn) => answers(job, *speed_kn),
        }
    }
}

fn heading(job: &Job, title: &str, subtitle: String) -> Heading {
    let tonnes = job.model.craft.mass.mass_kg / 1000.0;
    Heading::new(
        title,
        subtitle,
        format!("{}, {tonnes:.1} t", job.model.craft.spec.name),
    )
}

/// `modal_pid`
fn slug(name: &str) -> String {
    let word = |c: char| {
        if c.is_ascii_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '_'
        }
    };
    name.chars().map(word).collect()
}

fn of_case(job: &Job, case: &Case) -> Result<Vec<(String, Figure)>> {
    let Some(margins) = &case.margins else {
        return Ok(Vec::new());
    };
    let Some(plan) = job.laws.iter().find(|p| p.spec.name == case.law) else {
        return Ok(Vec::new());
    };
    let craft = LoopCraft::new(&job.model, kn(case.speed_kn), &job.course)?;
    let law = Job::law(plan, &craft)?;
    let open = CraftLoop::new(&craft, &law)?;
    let sets = [
        (
            "Demands of heave, pitch and roll",
            open.at_modes(),
            &margins.modes,
        ),
        ("Fins", open.at_fins(), &margins.fins),
    ];
    let sets = sets
        .into_iter()
        .map(|(name, l, m)| Ok((name, swept(&l)?, l, m)))
        .collect::<Result<Vec<_>>>()?;
    let subtitle = format!(
        "{}, {:.1} kn, one loop at a time, the others closed",
        case.law, case.speed_kn
    );
    let end = format!("{}_{:.0}kn", slug(&case.law), case.speed_kn);
    let bode = BodePicture {
        heading: heading(job, "Loop gain and phase", subtitle.clone()),
        sets: sets
            .iter()
            .map(|(name, grid, _, m)| ((*name).to_owned(), bode_curves(grid, m)))
            .collect(),
        range_rad_s: SHOWN_RAD_S,
    };
    let nyquist = NyquistPicture {
        heading: heading(job, "Loci of the loops", subtitle),
        sets: sets
            .iter()
            .map(|(name, grid, l, m)| ((*name).to_owned(), loci(grid, l, m)))
            .collect(),
        asked: Some((
            PRACTICE_DISK,
            "gain x2, x1/2 and 37°: common practice".to_owned(),
        )),
        least: sets.iter().map(|(_, _, _, m)| least_disk(m)).collect(),
    };
    let sensitivity = sensitivities(job, case, &sets[0].1, &sets[1].1, margins);
    let gain = against_gain(job, case, &craft, &law)?;
    Ok(vec![
        (format!("bode_{end}"), bode_picture(&bode)),
        (format!("nyquist_{end}"), nyquist_picture(&nyquist)),
        (
            format!("sensitivity_{end}"),
            sensitivity_picture(&sensitivity),
        ),
        (format!("poles_gain_{end}"), gain),
    ])
}

/// Loops that do something, with their places: a demand that no gain reaches is no curve.
fn shown(m: &LoopMargins) -> impl Iterator<Item = (usize, &CutMargins)> {
    m.one
        .iter()
        .enumerate()
        .filter(|(_, c)| c.mt.is_some_and(|t| t.value > 1e-3))
        .take(CURVES)
}

/// l = 1/S - 1 of one channel over the grid.
fn locus(grid: &Sweep, i: usize) -> Vec<Complex64> {
    grid.s.iter().map(|s| 1.0 / s[(i, i)] - 1.0).collect()
}

fn bode_curves(grid: &Sweep, m: &LoopMargins) -> Vec<BodeCurve> {
    shown(m)
        .enumerate()
        .map(|(look, (i, c))| {
            let l = locus(grid, i);
            let k = &c.classic;
            let worst = k
                .phases_rad
                .iter()
                .min_by(|a, b| a.value.abs().total_cmp(&b.value.abs()));
            BodeCurve {
                name: c.name.clone(),
                look,
                omega_rad_s: grid.omega_rad_s.clone(),
                gain_db: l.iter().map(|v| db(v.norm())).collect(),
                phase_deg: l.iter().map(|v| to_deg(v.arg())).collect(),
                phase_margin: worst.map(|p| [p.omega_rad_s, to_deg(p.value)]),
                gain_margins: [k.gain_up, k.gain_down]
                    .into_iter()
                    .flatten()
                    .filter(|g| g.omega_rad_s > 0.0)
                    .map(|g| [g.omega_rad_s, db(g.value)])
                    .collect(),
            }
        })
        .collect()
}

fn loci(grid: &Sweep, open: &OpenLoop<'_>, m: &LoopMargins) -> Vec<Locus> {
    shown(m)
        .enumerate()
        .map(|(look, (i, c))| {
            let at = |w: f64| {
                let s = open.sensitivity(Complex64::new(0.0, w))?;
                let l = 1.0 / s[(i, i)] - 1.0;
                Some([l.re, l.im])
            };
            Locus {
                name: c.name.clone(),
                look,
                points: locus(grid, i).iter().map(|l| [l.re, l.im]).collect(),
                worst: c.disk.and_then(|d| at(d.omega_rad_s)),
            }
        })
        .collect()
}

fn least_disk(m: &LoopMargins) -> f64 {
    shown(m)
        .filter_map(|(_, c)| c.disk)
        .map(|d| d.alpha)
        .fold(f64::INFINITY, f64::min)
}

fn sensitivities(
    job: &Job,
    case: &Case,
    modes: &Sweep,
    fins: &Sweep,
    margins: &crate::closed_loop::margins::craft::CraftMargins,
) -> SensitivityPicture {
    let curve = |name: &str, look: usize, grid: &Sweep, f: &dyn Fn(&DMatrix<Complex64>) -> f64| {
        SensitivityCurve {
            name: name.to_owned(),
            look,
            omega_rad_s: grid.omega_rad_s.clone(),
            db: grid.s.iter().map(|s| db(f(s))).collect(),
            peak: None,
        }
    };
    let mark = |c: SensitivityCurve, omega: f64, value: f64| SensitivityCurve {
        peak: Some([omega, db(value)]),
        ..c
    };
    let (ms, mt) = (margins.fins.ms, margins.fins.mt);
    let whole = vec![
        mark(
            curve("largest of S", 1, fins, &sigma_max),
            ms.omega_rad_s,
            ms.value,
        ),
        mark(
            curve("largest of T", 2, fins, &|s| sigma_max(&complement(s))),
            mt.omega_rad_s,
            mt.value,
        ),
        curve("least of S", 3, fins, &|s| s.singular_values().min()),
    ];
    let demands = shown(&margins.modes)
        .enumerate()
        .map(|(look, (i, c))| {
            let curve = curve(&c.name, look, modes, &|s| s[(i, i)].norm());
            match c.ms {
                Some(p) => mark(curve, p.omega_rad_s, p.value),
                None => curve,
            }
        })
        .collect();
    SensitivityPicture {
        heading: heading(
            job,
            "Sensitivities",
            format!("{}, {:.1} kn", case.law, case.speed_kn),
        ),
        panels: vec![
            ("Fins: singular values of S and T".to_owned(), whole),
            ("Demands: S, one loop at a time".to_owned(), demands),
        ],
        range_rad_s: SHOWN_RAD_S,
        allowed_db: 6.0,
    }
}

fn marks(rows: &[PoleRow]) -> Vec<PoleMark> {
    rows.iter()
        .filter(|p| p.real_1_s.hypot(p.imaginary_rad_s) > 1e-4)
        .map(|p| PoleMark {
            re: p.real_1_s,
            im: p.imaginary_rad_s.max(0.0),
            motion: p.motion.to_owned(),
        })
        .collect()
}

/// Poles nearer than this to one of every other gain do not move, 1/s.
const STILL_1_S: f64 = 0.02;

/// Poles of memory and filters that no gain moves are left out.
fn without_still(points: &[(f64, Vec<PoleMark>)]) -> Vec<(f64, Vec<PoleMark>)> {
    let near = |a: &PoleMark, b: &PoleMark| (a.re - b.re).hypot(a.im - b.im) < STILL_1_S;
    let still = |p: &PoleMark| {
        let there = |all: &Vec<PoleMark>| all.iter().any(|q| near(p, q));
        p.motion == UNNAMED && points.iter().all(|(_, all)| there(all))
    };
    let moving = |all: &Vec<PoleMark>| all.iter().filter(|p| !still(p)).cloned().collect();
    points.iter().map(|(v, all)| (*v, moving(all))).collect()
}

fn against_gain(job: &Job, case: &Case, craft: &LoopCraft, law: &LinearLaw) -> Result<Figure> {
    let count = (FACTORS.0 / FACTORS.1).round() as usize;
    let points = (0..=count)
        .into_par_iter()
        .map(|i| {
            // at no gain at all there is no loop
            let factor = (i as f64 * FACTORS.1).max(1e-3);
            let scaled = LinearLaw {
                c: &law.c * factor,
                d: &law.d * factor,
                ..law.clone()
            };
            let rows = pole_rows(&CraftLoop::new(craft, &scaled)?);
            Ok((i as f64 * FACTORS.1, marks(&rows)))
        })
        .collect::<Result<Vec<_>>>()?;
    let points = without_still(&points);
    Ok(pole_picture(&PolePicture {
        heading: heading(
            job,
            "Poles of the closed loop against gain",
            format!(
                "{}, {:.1} kn, all gains by one factor",
                case.law, case.speed_kn
            ),
        ),
        parameter: ["factor on all gains".to_owned(), String::new()],
        points,
        window: WINDOW,
        marks: vec![(1.0, "as filed".to_owned())],
        rays: vec![0.1, 0.3, 0.7],
    }))
}

fn against_speed(job: &Job, plan: &LawPlan) -> Vec<(String, Figure)> {
    let speeds = pole_speeds(&job.speeds_kn);
    let points = speeds
        .par_iter()
        .map(|&speed| {
            let craft = LoopCraft::new(&job.model, kn(speed), &job.course)?;
            let law = Job::law(plan, &craft)?;
            let open = CraftLoop::new(&craft, &law)?;
            // those of memory move with speed of themselves: told only where they grow
            let mut found = marks(&pole_rows(&open));
            found.retain(|p| p.motion != UNNAMED || p.re > 0.0);
            Ok((speed, found))
        })
        .collect::<Result<Vec<_>>>();
    // a law without linear form or loop has been told of already; a speed without trim has no poles
    let Ok(points) = points else {
        return Vec::new();
    };
    let figure = pole_picture(&PolePicture {
        heading: heading(
            job,
            "Poles of the closed loop against speed",
            plan.spec.name.clone(),
        ),
        parameter: ["speed".to_owned(), "kn".to_owned()],
        points,
        window: WINDOW,
        marks: Vec::new(),
        rays: vec![0.1, 0.3, 0.7],
    });
    vec![(format!("poles_speed_{}", slug(&plan.spec.name)), figure)]
}

/// The speeds asked for and enough between; of one speed, from 0.6 to 1.2 of it.
fn pole_speeds(asked: &[f64]) -> Vec<f64> {
    let (low, high) = match asked {
        [one] => (0.6 * one, 1.2 * one),
        many => (many[0], many[many.len() - 1]),
    };
    let mut all = asked.to_vec();
    all.extend((0..POLE_SPEEDS).map(|i| low + (high - low) * i as f64 / (POLE_SPEEDS - 1) as f64));
    all.sort_by(f64::total_cmp);
    all.dedup_by(|b, a| (*b - *a).abs() < 0.02 * high);
    all
}

/// A motion, its sign to a reader, its unit, what pushes, and the size of the push in its own unit.
const PUSHES: [(Dof, &str, &str, &str); 3] = [
    (Dof::Heave, "heave, up positive", "m", "Force for 0.1 m up"),
    (
        Dof::Roll,
        "roll, starboard down",
        "deg",
        "Moment for 1° of heel",
    ),
    (Dof::Pitch, "pitch, bow up", "deg", "Moment for 1° of trim"),
];

fn answers(job: &Job, speed_kn: f64) -> Result<Vec<(String, Figure)>> {
    let craft = LoopCraft::new(&job.model, kn(speed_kn), &job.course)?;
    let fixed = LinearLaw::none(craft.setup.sample_period_s);
    let mut laws = vec![("surfaces at trim".to_owned(), fixed)];
    for plan in &job.laws {
        let law = Job::law(plan, &craft);
        if let Ok(law) = law.and_then(|l| CraftLoop::new(&craft, &l).map(|_| l)) {
            laws.push((plan.spec.name.clone(), law));
        }
    }
    laws.truncate(CURVES);
    let mut rows = Vec::new();
    for (j, (along, name, unit, push)) in PUSHES.into_iter().enumerate() {
        let sign = if along == Dof::Heave { -1.0 } else { 1.0 };
        let size = if along == Dof::Heave { 0.1 } else { deg(1.0) };
        let force = sign * size * stiffness(&craft, along);
        let mut row = AnswerRow {
            name: name.to_owned(),
            unit: unit.to_owned(),
            push: push.to_owned(),
            ..AnswerRow::default()
        };
        for (look, (law_name, law)) in laws.iter().enumerate() {
            let long = step(&craft, law, along, force, SHOWN_S)?;
            let short = short(&long, (1.0 / law.sample_period_s).round().max(1.0) as usize);
            let told = |a: &Answer| -> Vec<f64> {
                let unit = |v: f64| if along == Dof::Heave { -v } else { to_deg(v) };
                a.motion.iter().map(|m| unit(m[j])).collect()
            };
            let curve = |values: Vec<f64>| TimeCurve {
                name: law_name.clone(),
                look,
                t_s: short.t_s.clone(),
                values,
            };
            row.impulse.push(curve(told(&short)));
            row.step.push(curve(told(&long)));
            if look > 0 {
                let most = |v: &Vec<f64>| v.iter().map(|x| to_deg(x.abs())).fold(0.0, f64::max);
                row.fins_deg
                    .push(curve(long.surface_rad.iter().map(most).collect()));
            }
        }
        rows.push(row);
    }
    let figure = answer_picture(&AnswerPicture {
        heading: heading(
            job,
            "Answers to a push",
            format!(
                "{speed_kn:.1} kn, calm water, linear; what moves her so far at rest, for 1 s and for good"
            ),
        ),
        rows,
    });
    Ok(vec![(format!("answers_{speed_kn:.0}kn"), figure)])
}
