//! Where and how often a craft can work: limiting heights by the spectral method, shares of time.
//!
//! For every speed, wave heading, law and class of period the greatest significant height is
//! searched that meets every limit of a criteria set ([`search`]); with it the limit that stops work
//! and the height up to which the method can be trusted ([`mod@probe`]). A scatter diagram then gives shares
//! of time ([`share`]), as a range where doubtful seas matter. [`simulated`] draws seas near the limits and
//! simulates them.

pub mod probe;
pub mod search;
pub mod share;
pub mod simulated;
mod sums;

use rayon::prelude::*;
use serde::Serialize;

use super::prediction::{LawAtSpeed, refusal};
use super::stage::Stage;
use crate::closed_loop::{AtSea, DragModel};
use crate::error::{Error, Result};
use crate::sea::spectrum::Spectrum;
use crate::spec::craft::CraftSpec;
use crate::spec::criteria::CriteriaSpec;
use crate::spec::scatter::{PeriodSpec, ScatterSpec};
use crate::units::{G_M_S2, deg};
use probe::{Method, Probe, Why, probe};
use search::{Found, limiting};
use share::{Sector, Share, sectors};
use sums::sum_up;

/// Steepness (height over the length of the peak's wave) up to which heights are searched; seas
/// break before. As the check of sea files has it.
const STEEPEST: f64 = 0.1;

/// What is asked: an area, limits and how the ride is found.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    /// How often the area has which sea.
    pub scatter: &'a ScatterSpec,
    /// The limits.
    pub set: &'a CriteriaSpec,
    /// How the ride is found.
    pub method: Method,
}

/// What stops work.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stop {
    /// What is limited, in words, with the unit.
    pub what: String,
    /// Point, motion or thing.
    pub of: String,
    /// Value at the limiting height.
    pub value: f64,
    /// The limit.
    pub limit: f64,
}

impl Stop {
    /// In words, without the unit.
    pub fn words(&self) -> String {
        let what = self.what.split(',').next().unwrap_or(&self.what);
        if what.starts_with(self.of.as_str()) {
            return what.to_owned(); // `roll RMS` of roll
        }
        format!("{what}, {}", self.of)
    }
}

/// One law at one speed and heading in seas of one period.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitCell {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// Column of the diagram.
    pub column: usize,
    /// Middle of the class of period as the diagram has it, s.
    pub period_s: f64,
    /// Peak period of the seas, s.
    pub tp_s: f64,
    /// The loop grows by itself: no ride exists.
    pub unstable: bool,
    /// Limiting significant height, m; the greatest height searched when `beyond`.
    pub limit_hs_m: f64,
    /// The limits are met at the greatest height searched.
    pub beyond: bool,
    /// What stops work, or comes nearest to it; none when unstable.
    pub stop: Option<Stop>,
    /// The limiting height is trusted.
    pub trusted: bool,
    /// Height up to which answers are trusted, m.
    pub trusted_to_m: f64,
    /// Why not beyond.
    pub doubts: Vec<Why>,
    /// Largest share of the time that a surface is at a limit there.
    pub at_limits_frac: f64,
    /// Heights looked at.
    pub probes: usize,
}

/// Share of time of one law at one speed and heading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeadingShare {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// The share.
    pub share: Share,
}

/// Share of time of one law at one speed, or over all.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LawShare {
    /// Law.
    pub law: String,
    /// Speed, kn; none for all.
    pub speed_kn: Option<f64>,
    /// Share of time at that speed, all together 1.
    pub time: f64,
    /// The share.
    pub share: Share,
    /// Workable share less that of the first law; none for itself.
    pub gain: Option<f64>,
    /// What stops work at heights beyond the limits, and its share of all time, largest first.
    pub stops: Vec<(String, f64)>,
}

/// Share of the time in one class of the diagram that is workable, over headings and speeds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClassShare {
    /// Law.
    pub law: String,
    /// Row and column.
    pub at: [usize; 2],
    /// The share.
    pub share: Share,
}

/// Everything found.
#[derive(Clone, Debug, Serialize)]
pub struct Operability {
    /// Name of the craft.
    pub craft: String,
    /// Name of the area.
    pub area: String,
    /// Name of the criteria set.
    pub set: String,
    /// Source of the criteria.
    pub source: String,
    /// Laws, the baseline first.
    pub laws: Vec<String>,
    /// Laws without linear form, and why.
    pub refused: Vec<String>,
    /// What the user should know.
    pub remarks: Vec<String>,
    /// Speeds, kn.
    pub speeds_kn: Vec<f64>,
    /// Headings around the circle.
    pub sectors: Vec<Sector>,
    /// Headings of one side stand for the other.
    pub mirrored: bool,
    /// Every speed, heading, law and period that occurs, in this order.
    pub cells: Vec<LimitCell>,
    /// Over all periods.
    pub headings: Vec<HeadingShare>,
    /// Over headings too: speed by speed, then all, law by law.
    pub shares: Vec<LawShare>,
    /// Class by class.
    pub classes: Vec<ClassShare>,
    /// The column that occurs most.
    pub usual_column: usize,
}

impl Operability {
    /// The cell of a speed, evaluated heading, law and column.
    pub fn cell(
        &self,
        speed_kn: f64,
        heading_deg: f64,
        law: &str,
        column: usize,
    ) -> Option<&LimitCell> {
        self.cells.iter().find(|c| {
            c.column == column
                && c.law == law
                && (c.speed_kn - speed_kn).abs() < 1e-9
                && (c.heading_deg - heading_deg).abs() < 1e-9
        })
    }

    /// The share of a law over everything.
    pub fn overall(&self, law: &str) -> Option<&LawShare> {
        let mut all = self.shares.iter();
        all.find(|s| s.law == law && s.speed_kn.is_none())
    }
}

/// How many jobs [`operability`] has.
pub fn count(stage: &Stage) -> usize {
    stage.speeds.len() * stage.scenario.headings_deg.len() * stage.laws.len()
}

/// Limiting heights and shares of time of every law of a stage. The stage's own sea is not used.
/// `done` is called after every speed, heading and law, from any thread.
///
/// # Errors
/// A limit for which the craft has no number; a speed profile without any speed of the scenario; a
/// craft without trim.
pub fn operability(
    stage: &Stage,
    question: &Question<'_>,
    done: &(dyn Fn() + Sync),
) -> Result<Operability> {
    let (scatter, set) = (question.scatter, question.set);
    let speeds_kn: Vec<f64> = stage.speeds.iter().map(|s| s.speed_kn).collect();
    let mut remarks = Vec::new();
    profile_fits(scatter, &speeds_kn, &mut remarks)?;
    let (plans, refused) = judged_laws(stage);
    let headings = &stage.scenario.headings_deg;
    let one_side = headings.iter().all(|h| *h <= 180.0);
    if one_side && !alike_on_both_sides(&stage.model.craft.spec) {
        remarks.push(
            "the craft is not alike on both sides, but the scenario has headings of one side only: \
             they stand for the other; give headings up to 360 deg"
                .to_owned(),
        );
    }
    let ready = ready(stage, &plans)?;
    let mut jobs = Vec::new();
    for speed in 0..speeds_kn.len() {
        for heading_deg in headings {
            for law in 0..plans.len() {
                jobs.push((speed, *heading_deg, law));
            }
        }
    }
    let cells = jobs
        .par_iter()
        .map(|(speed, heading_deg, law)| {
            let name = &stage.laws[plans[*law]].spec.name;
            let law = &ready[speed * plans.len() + law];
            let place = (speeds_kn[*speed], *heading_deg, name.as_str());
            let out = all_periods(stage, law, place, question);
            done();
            out
        })
        .collect::<Vec<_>>()
        .into_iter()
        .collect::<Result<Vec<_>>>()?
        .concat();
    let columns = 0..scatter.period_edges_s.len() - 1;
    let usual_column = columns
        .max_by(|a, b| {
            let order = scatter
                .period_share(*a)
                .total_cmp(&scatter.period_share(*b));
            order.then(b.cmp(a))
        })
        .unwrap_or(0);
    let mut found = Operability {
        craft: stage.model.craft.spec.name.clone(),
        area: scatter.name.clone(),
        set: set.name.clone(),
        source: set.source.clone(),
        laws: plans
            .iter()
            .map(|p| stage.laws[*p].spec.name.clone())
            .collect(),
        refused,
        remarks,
        speeds_kn,
        sectors: sectors(headings, one_side, &scatter.headings),
        mirrored: one_side,
        cells,
        headings: Vec::new(),
        shares: Vec::new(),
        classes: Vec::new(),
        usual_column,
    };
    sum_up(&mut found, scatter, headings);
    Ok(found)
}

fn profile_fits(scatter: &ScatterSpec, speeds_kn: &[f64], remarks: &mut Vec<String>) -> Result<()> {
    if scatter.speeds.is_empty() {
        return Ok(());
    }
    let is_run = |v: f64| speeds_kn.iter().any(|s| (s - v).abs() < 1e-9);
    let (mut with, mut without) = (0.0, 0.0);
    for s in &scatter.speeds {
        if is_run(s.speed_kn) {
            with += s.share;
        } else {
            without += s.share;
        }
    }
    if with <= 0.0 {
        return Err(Error::with_hint(
            format!(
                "the speeds of `{}` are none of the scenario's",
                scatter.name
            ),
            "give the scenario the speeds of the profile, or leave `speeds` of the scatter file away",
        ));
    }
    if without > 0.0 {
        remarks.push(format!(
            "{:.0} % of the time of the speed profile is at speeds that the scenario has not: shares are of the rest",
            100.0 * without / (with + without)
        ));
    }
    Ok(())
}

/// Places of the laws that have a linear form, and why the others have none.
fn judged_laws(stage: &Stage) -> (Vec<usize>, Vec<String>) {
    let (mut plans, mut refused) = (Vec::new(), Vec::new());
    for (i, plan) in stage.laws.iter().enumerate() {
        match refusal(stage, plan) {
            None => plans.push(i),
            Some(why) => refused.push(why),
        }
    }
    (plans, refused)
}

/// Every law at every speed, speed by speed.
fn ready(stage: &Stage, plans: &[usize]) -> Result<Vec<LawAtSpeed>> {
    let pairs: Vec<(usize, usize)> = (0..stage.speeds.len())
        .flat_map(|s| plans.iter().map(move |p| (s, *p)))
        .collect();
    pairs
        .par_iter()
        .map(|(s, p)| LawAtSpeed::new(stage, &stage.speeds[*s], &stage.laws[*p]))
        .collect::<Vec<_>>()
        .into_iter()
        .collect()
}

/// Surfaces and weights have their twins on the other side.
fn alike_on_both_sides(craft: &CraftSpec) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    craft.surfaces.iter().all(|s| {
        near(s.root_y_m, 0.0)
            || craft.surfaces.iter().any(|t| {
                t.group == s.group
                    && near(t.root_y_m, -s.root_y_m)
                    && near(t.stock_x_m, s.stock_x_m)
                    && near(t.span_m, s.span_m)
                    && near(t.root_chord_m, s.root_chord_m)
            })
    })
}

/// Peak period of a class, s.
///
/// # Errors
/// A form out of range.
pub fn peak_period_s(scatter: &ScatterSpec, column: usize) -> Result<f64> {
    let period = scatter.period_s(column);
    if scatter.period == PeriodSpec::Peak {
        return Ok(period);
    }
    // every form here has a mean period in proportion to its peak's
    let sea = scatter.sea(1.0, period);
    let spectrum = Spectrum::of(&sea.systems[0].spectrum, std::path::Path::new("."))?;
    Ok(period * period / spectrum.tz_s())
}

/// Greatest height that is searched in a column, m: to the top of the diagram unless seas break
/// before; never below a class that occurs.
pub fn greatest_m(scatter: &ScatterSpec, column: usize, tp_s: f64) -> f64 {
    let breaks = STEEPEST * G_M_S2 * tp_s * tp_s / std::f64::consts::TAU;
    let rows = scatter.occurrences.iter().enumerate();
    let occurs = rows
        .filter(|(_, r)| r[column] > 0.0)
        .map(|(i, _)| scatter.hs_edges_m[i + 1])
        .fold(0.0, f64::max);
    scatter.highest_m().min(breaks).max(occurs)
}

fn all_periods(
    stage: &Stage,
    law: &LawAtSpeed,
    (speed_kn, heading_deg, name): (f64, f64, &str),
    question: &Question<'_>,
) -> Result<Vec<LimitCell>> {
    let scatter = question.scatter;
    let mut out = Vec::new();
    for column in 0..scatter.period_edges_s.len() - 1 {
        if scatter.period_share(column) <= 0.0 {
            continue;
        }
        let tp_s = peak_period_s(scatter, column)?;
        let mut cell = LimitCell {
            speed_kn,
            heading_deg,
            law: name.to_owned(),
            column,
            period_s: scatter.period_s(column),
            tp_s,
            unstable: !law.law.is_stable(),
            limit_hs_m: 0.0,
            beyond: false,
            stop: None,
            trusted: false,
            trusted_to_m: 0.0,
            doubts: Vec::new(),
            at_limits_frac: 0.0,
            probes: 0,
        };
        if cell.unstable {
            cell.doubts.push(Why {
                reason: "unstable loop",
                told: format!("{} growing poles, so no RMS exists", law.law.unstable),
            });
        } else {
            let unit = unit_sea(stage, law, heading_deg, question, tp_s)?;
            let found = limiting(greatest_m(scatter, column, tp_s), &mut |h| {
                probe(&unit, &law.law, &stage.model.craft.points, question, h)
            })?;
            take(&mut cell, found);
        }
        out.push(cell);
    }
    Ok(out)
}

/// A sea of 1 m and of the class's period, its transfers without drag.
///
/// # Errors
/// As [`crate::closed_loop::AtSpeed::at_sea`].
pub fn unit_sea(
    stage: &Stage,
    law: &LawAtSpeed,
    heading_deg: f64,
    question: &Question<'_>,
    tp_s: f64,
) -> Result<AtSea> {
    law.speed.at_sea(
        &question.scatter.sea(1.0, tp_s),
        &stage.sea_folder,
        deg(heading_deg),
        &question.method.fineness,
        DragModel::None,
    )
}

fn take(cell: &mut LimitCell, found: Found<Probe>) {
    let worst = found.at.worst;
    cell.limit_hs_m = found.limit_m;
    cell.beyond = found.beyond;
    cell.trusted = found.at.doubts.is_empty();
    cell.trusted_to_m = found.trusted_to_m;
    cell.doubts = found.at.doubts;
    cell.at_limits_frac = found.at.at_limits_frac;
    cell.probes = found.probes;
    cell.stop = Some(Stop {
        what: worst.what,
        of: worst.of,
        value: worst.value.value,
        limit: worst.limit,
    });
}
