//! Seas near the limits, drawn and simulated: does the simulator agree on pass and fail?
//!
//! # Equation
//! ```text
//! place drawn in proportion to its share of time;  height = limit x exp(u ln 1.2), u uniform in -1..1
//! value simulated: all seeds of the scenario pooled, with its interval
//! agreement: k of n alike, Clopper-Pearson;  counted apart where the simulated interval holds the limit
//! ```
//!
//! # Valid when
//! A draw that lies close to its limit may fall on either side by chance: only decided ones tell.
//!
//! # Source
//! Clopper & Pearson (1934), Biometrika 26, 404-413.
//!
//! # Checked by
//! `near_its_limit_the_simulator_agrees` (tests/operability.rs).

use rayon::prelude::*;
use serde::Serialize;

use super::probe::{Why, probe};
use super::search::Probed;
use super::{LimitCell, Operability, Question, unit_sea};
use crate::campaign::in_order;
use crate::campaign::judge::{EXPOSURE_S, LEVEL, report};
use crate::campaign::prediction::LawAtSpeed;
use crate::campaign::stage::Stage;
use crate::error::Result;
use crate::math::rng::{Purpose, Stream};
use crate::math::stats::Interval;
use crate::math::stats::sample::clopper_pearson;
use crate::metrics::criteria::judge;
use crate::metrics::pool::pool;
use crate::metrics::ride::RideReport;
use crate::sim::run::run;
use crate::spec::scatter::ScatterSpec;

/// Least length of a record that is judged, s.
const LEAST_RECORD_S: f64 = 60.0;
/// Greatest factor between a drawn height and its limit.
const SPREAD: f64 = 1.2;

/// One sea drawn and simulated.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Drawn {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// Peak period, s.
    pub tp_s: f64,
    /// Height, m.
    pub hs_m: f64,
    /// Limiting height found, m.
    pub limit_hs_m: f64,
    /// What limits by the spectral method, in words.
    pub what: String,
    /// Its limit.
    pub limit: f64,
    /// Its value by the spectral method.
    pub spectral: f64,
    /// Its value simulated; none when a record ended before its time.
    pub simulated: Option<Interval>,
    /// The spectral method is trusted there.
    pub trusted: bool,
    /// Why not.
    pub doubts: Vec<Why>,
    /// All limits met by the spectral method.
    pub spectral_met: bool,
    /// All limits met as simulated.
    pub simulated_met: bool,
    /// No simulated interval that matters holds its limit.
    pub decided: bool,
    /// How runs ended that did not reach their end.
    pub endings: Vec<String>,
}

/// How often both agree.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Tally {
    /// Draws.
    pub count: u64,
    /// Alike.
    pub alike: u64,
    /// Share, 95 % interval.
    pub share: Interval,
}

/// Agreement near the limits.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// Every draw.
    pub draws: Vec<Drawn>,
    /// Over all draws.
    pub all: Option<Tally>,
    /// Where the spectral method is trusted.
    pub trusted: Option<Tally>,
    /// Where it is trusted and the simulated interval does not hold the limit.
    pub decided: Option<Tally>,
    /// Spectral over simulated value of the limiting number, trusted draws: mean less one, with 95 % interval.
    pub difference: Option<Interval>,
}

/// Records that [`check`] runs.
pub fn count(stage: &Stage, draws: usize) -> usize {
    draws * stage.scenario.seeds.len()
}

/// Draws seas near the limits of `found` and simulates them. The stage's sea is put back afterwards.
///
/// # Errors
/// A case that cannot be set up.
pub fn check(
    stage: &mut Stage,
    question: &Question<'_>,
    found: &Operability,
    draws: usize,
    seed: u64,
    done: &(dyn Fn() + Sync),
) -> Result<Check> {
    stage.for_many_seas();
    let places: Vec<(&LimitCell, f64)> = places(question.scatter, found);
    let total: f64 = places.iter().map(|p| p.1).sum();
    let mut stream = Stream::new(seed, 0, Purpose::Other);
    let own = stage.sea.clone();
    let mut out = Vec::new();
    for _ in 0..draws {
        let mut left = stream.uniform() * total;
        let factor = SPREAD.powf(2.0 * stream.uniform() - 1.0);
        let Some(cell) = places.iter().find_map(|(c, w)| {
            left -= w;
            (left < 0.0).then_some(*c)
        }) else {
            continue;
        };
        let drawn = draw(stage, question, cell, factor * cell.limit_hs_m, done);
        match drawn {
            Ok(d) => out.push(d),
            Err(e) => {
                stage.sea = own;
                return Err(e);
            }
        }
    }
    stage.sea = own;
    Ok(told(out))
}

/// Cells with a limit inside the diagram, and their shares of time.
fn places<'f>(scatter: &ScatterSpec, found: &'f Operability) -> Vec<(&'f LimitCell, f64)> {
    let inside = |c: &&LimitCell| !c.unstable && !c.beyond && c.limit_hs_m > 0.0;
    let weigh = |c: &LimitCell| {
        let mine = found.sectors.iter().filter(|s| {
            let away = (s.heading_deg - c.heading_deg).rem_euclid(360.0);
            let twin = (s.heading_deg + c.heading_deg).rem_euclid(360.0);
            let near = |x: f64| x.min(360.0 - x) < 1e-9;
            near(away) || (found.mirrored && near(twin))
        });
        mine.map(|s| s.share).sum::<f64>() * scatter.period_share(c.column)
    };
    found
        .cells
        .iter()
        .filter(inside)
        .map(|c| (c, weigh(c)))
        .collect()
}

fn draw(
    stage: &mut Stage,
    question: &Question<'_>,
    cell: &LimitCell,
    hs_m: f64,
    done: &(dyn Fn() + Sync),
) -> Result<Drawn> {
    stage.sea = question.scatter.sea(hs_m, cell.tp_s);
    let stage = &*stage;
    let near = |v: f64| (v - cell.speed_kn).abs() < 1e-9;
    let speed = stage.speeds.iter().find(|s| near(s.speed_kn));
    let plan = stage.laws.iter().find(|l| l.spec.name == cell.law);
    let (Some(speed), Some(plan)) = (speed, plan) else {
        return Err(crate::error::Error::new(format!(
            "the stage has no {} at {} kn",
            cell.law, cell.speed_kn
        )));
    };
    let law = LawAtSpeed::new(stage, speed, plan)?;
    let unit = unit_sea(stage, &law, cell.heading_deg, question, cell.tp_s)?;
    let points = &stage.model.craft.points;
    let spectral = probe(&unit, &law.law, points, question, hs_m)?;
    let runs = in_order(stage.scenario.seeds.par_iter().map(|seed| {
        let case = stage.case(speed, cell.heading_deg, *seed)?;
        let result = run(&case, plan.make()?.as_mut());
        let names: Vec<String> = points.iter().map(|p| p.0.clone()).collect();
        let judged = (result.record.judged().len() as f64 * result.record.interval_s
            > LEAST_RECORD_S)
            .then(|| report(&result, &speed.plant, &names));
        let ended = (!result.outcome.is_completed()).then(|| result.outcome.to_string());
        done();
        Ok((judged, ended))
    }))?;
    let (reports, endings): (Vec<_>, Vec<_>) = runs.into_iter().unzip();
    let reports: Vec<RideReport> = reports.into_iter().flatten().collect();
    let endings: Vec<String> = endings.into_iter().flatten().collect();
    let judged = pool(&reports, LEVEL).map(|n| judge(question.set, &n, EXPOSURE_S));
    let same = judged.as_ref().and_then(|j| {
        let mut all = j.verdicts.iter();
        all.find(|v| v.what == spectral.worst.what && v.of == spectral.worst.of)
    });
    let simulated_met = judged.as_ref().is_some_and(|j| j.met) && endings.is_empty();
    Ok(Drawn {
        speed_kn: cell.speed_kn,
        heading_deg: cell.heading_deg,
        law: cell.law.clone(),
        tp_s: cell.tp_s,
        hs_m,
        limit_hs_m: cell.limit_hs_m,
        what: format!("{}, {}", spectral.worst.what, spectral.worst.of),
        limit: spectral.worst.limit,
        spectral: spectral.worst.value.value,
        // a record that ended early tells of its end, not of the sea
        simulated: same.map(|v| v.value).filter(|_| endings.is_empty()),
        trusted: spectral.is_trusted(),
        spectral_met: spectral.ratio() <= 1.0,
        simulated_met,
        decided: judged.as_ref().is_some_and(|j| {
            if j.met {
                j.verdicts.iter().all(|v| v.decided)
            } else {
                j.verdicts.iter().any(|v| !v.met && v.decided)
            }
        }) || !endings.is_empty(),
        doubts: spectral.doubts,
        endings,
    })
}

fn told(draws: Vec<Drawn>) -> Check {
    let tally = |fits: &dyn Fn(&&Drawn) -> bool| {
        let mine: Vec<&Drawn> = draws.iter().filter(fits).collect();
        let count = mine.len() as u64;
        let alike = mine
            .iter()
            .filter(|d| d.spectral_met == d.simulated_met)
            .count() as u64;
        (count > 0).then(|| Tally {
            count,
            alike,
            share: clopper_pearson(alike, count, LEVEL),
        })
    };
    let ratios: Vec<f64> = draws
        .iter()
        .filter(|d| d.trusted && d.endings.is_empty())
        .filter_map(|d| Some(d.spectral / d.simulated.filter(|s| s.value > 0.0)?.value - 1.0))
        .collect();
    Check {
        all: tally(&|_| true),
        trusted: tally(&|d| d.trusted),
        decided: tally(&|d| d.trusted && d.decided),
        difference: (ratios.len() > 1)
            .then(|| crate::math::stats::sample::mean_interval(&ratios, LEVEL)),
        draws,
    }
}
