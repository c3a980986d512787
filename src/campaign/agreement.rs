//! Records of the simulator beside linear records of the same waves.
//!
//! # Equation
//! ```text
//! x_lin(t) = sum_i a_i Re{X_i exp(i (omega_i t + phase_i - k_i (x(t) cos mu_i + y(t) sin mu_i)))}
//! R^2 = sum_s var x_sim / sum_s var x_lin          over records s of different seeds
//! e_s = var x_sim - R^2 var x_lin                  half width of R: t sd(e)/(2 sqrt(n) R mean var x_lin)
//! difference = (S/L)/R - 1                         S spectral RMS, L its linear part; half width (S/L)/R^2 that of R
//! ```
//! The linear record carries the scatter of its waves, so the ratio is known to a per cent long
//! before either RMS is. x, y: the simulated track about the nominal one, smoothed over half a
//! minute, so that a craft that makes a little less speed or wanders meets its waves as it did. Variance
//! by the sensors' noise, which the spectral method gives, is added to that of the linear record.

use std::path::Path;

use rayon::prelude::*;
use serde::Serialize;

use super::compare::Selection;
use super::stage::Stage;
use crate::error::Result;
use crate::math::stats;
use crate::spec::validate::Bundle;

mod paired;

use paired::{Place, pair};

/// Median of the differences that is asked.
pub const WORST_MEDIAN_FRAC: f64 = 0.03;
/// Largest difference that is asked.
pub const WORST_SINGLE_FRAC: f64 = 0.08;
/// Share of the time at limits up to which agreement is asked.
const LIMITS_FRAC: f64 = 0.05;
/// Share of slow variance up to which agreement is asked.
const SLOW_FRAC: f64 = 0.2;

/// What is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Compared {
    /// Heave, up positive.
    Heave,
    /// Pitch.
    Pitch,
    /// Roll.
    Roll,
    /// Vertical acceleration at the point of interest.
    Vertical,
    /// Angles of the forward surfaces, together.
    Forward,
    /// Angles of the aft surfaces, together.
    Aft,
}

/// All of them, in the order of every list.
pub const COMPARED: [Compared; 6] = [
    Compared::Heave,
    Compared::Pitch,
    Compared::Roll,
    Compared::Vertical,
    Compared::Forward,
    Compared::Aft,
];

/// How long to go on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Records at least.
    pub least: usize,
    /// Records at most.
    pub most: usize,
    /// Half width of every difference at which to stop.
    pub half_width: f64,
}

impl Effort {
    /// Whether to look at the ratios after so many records: at the least, at twice that and so on, and at
    /// the end. Fewer looks keep more of the coverage that stopping at a lucky moment costs.
    fn looks_at(&self, records: usize) -> bool {
        let least = self.least.min(self.most).max(2);
        records == self.most
            || (records.is_multiple_of(least) && (records / least).is_power_of_two())
    }
}

impl Default for Effort {
    fn default() -> Self {
        Effort {
            least: 4,
            most: 32,
            half_width: 0.01,
        }
    }
}

/// One quantity of one cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ratio {
    /// What.
    pub compared: Compared,
    /// RMS by the spectral method, m, rad or m/s2.
    pub spectral_rms: f64,
    /// The same by the linear part alone.
    pub spectral_linear_rms: f64,
    /// RMS of the linear records.
    pub linear_rms: f64,
    /// RMS of the simulated ones.
    pub simulated_rms: f64,
    /// Simulated over linear.
    pub ratio: f64,
    /// Its 95 % half width.
    pub half_width: f64,
    /// Spectral over simulated RMS, less one.
    pub difference: f64,
    /// Its 95 % half width.
    pub difference_half_width: f64,
    /// Correlation of both records.
    pub correlation: f64,
    /// Share of the linear variance slower than a minute as encountered.
    pub slow_frac: f64,
}

/// One speed, heading and law.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PairedCell {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Law.
    pub law: String,
    /// Simulated with linear restoring.
    pub linear_restoring: bool,
    /// Why there is nothing to compare.
    pub refused: Option<String>,
    /// Records.
    pub records: usize,
    /// How runs ended that did not reach their end.
    pub endings: Vec<String>,
    /// Share of the time of all records that a surface was at its angle or rate limit, of all surfaces but rudders the
    /// largest.
    pub limit_frac: f64,
    /// Share of the time in contact, cross-structure, of the record that has most of it.
    pub contact_frac: f64,
    /// Mean speed made good over the nominal one, less one.
    pub speed_change: f64,
    /// The comparison.
    pub ratios: Vec<Ratio>,
}

/// Why agreement is not asked of a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// A run ended before its time.
    Ended,
    /// Fins are on their limits for too long.
    Limits,
    /// Too much of the variance is slow.
    Slow,
    /// The simulator's restoring is not linear.
    Restoring,
    /// The ratio is not known well enough to tell.
    Uncertain,
}

impl Ratio {
    /// RMS of the linear part alone over the simulated one, less one.
    pub fn linear_difference(&self) -> f64 {
        1.0 / self.ratio - 1.0
    }

    /// Whether the interval is too wide to tell what agrees; one that lies wholly beyond the largest
    /// difference asked tells enough.
    fn is_uncertain(&self) -> bool {
        let half = self.difference_half_width;
        half > WORST_MEDIAN_FRAC && self.difference.abs() - half <= WORST_SINGLE_FRAC
    }
}

impl PairedCell {
    /// What the number's conditions lack, restoring apart.
    fn lacks(&self, r: &Ratio) -> Option<Why> {
        if !self.endings.is_empty() {
            Some(Why::Ended)
        } else if self.limit_frac > LIMITS_FRAC {
            Some(Why::Limits)
        } else if r.slow_frac > SLOW_FRAC {
            Some(Why::Slow)
        } else {
            None
        }
    }

    /// Why agreement is not asked of a number of this cell; none where it is.
    pub fn why_not(&self, r: &Ratio) -> Option<Why> {
        self.lacks(r)
            .or(r.is_uncertain().then_some(Why::Uncertain))
            .or((!self.linear_restoring).then_some(Why::Restoring))
    }
}

/// One scenario by both ways.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Agreement {
    /// Name of the craft.
    pub craft: String,
    /// Name of the sea.
    pub sea: String,
    /// Against the simulator with linear restoring.
    pub linear: Vec<PairedCell>,
    /// Against the full simulator.
    pub full: Vec<PairedCell>,
}

impl Agreement {
    /// Both simulators, in words.
    pub fn parts(&self) -> [(&'static str, &[PairedCell]); 2] {
        [
            ("simulator with linear restoring", &self.linear),
            ("full simulator", &self.full),
        ]
    }

    /// Whether everything agrees that is asked to.
    pub fn met(&self) -> bool {
        Summary::of(std::slice::from_ref(self)).met()
    }
}

/// Size of a list of differences.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Differences {
    /// How many.
    pub count: usize,
    /// Median of their sizes.
    pub median: f64,
    /// Largest size.
    pub worst: f64,
}

impl Differences {
    fn of(values: &[f64]) -> Self {
        if values.is_empty() {
            return Differences::default();
        }
        Differences {
            count: values.len(),
            median: stats::quantile(values, 0.5),
            worst: values.iter().copied().fold(0.0, f64::max),
        }
    }
}

/// How far both ways agree.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Where agreement is asked.
    pub required: Differences,
    /// The same values by the linear part alone.
    pub linear_part: Differences,
    /// The full simulator under the same conditions but restoring.
    pub full: Differences,
}

impl Summary {
    /// Over several scenarios.
    pub fn of(all: &[Agreement]) -> Self {
        let collect = |cells: fn(&Agreement) -> &[PairedCell], of: fn(&Ratio) -> f64| {
            let mut out = Vec::new();
            for cell in all.iter().flat_map(cells) {
                let fit = |r: &&Ratio| matches!(cell.why_not(r), None | Some(Why::Restoring));
                out.extend(cell.ratios.iter().filter(fit).map(|r| of(r).abs()));
            }
            Differences::of(&out)
        };
        Summary {
            required: collect(|a| &a.linear, |r| r.difference),
            linear_part: collect(|a| &a.linear, Ratio::linear_difference),
            full: collect(|a| &a.full, |r| r.difference),
        }
    }

    /// Whether the differences that count are as small as asked.
    pub fn met(&self) -> bool {
        self.required.median <= WORST_MEDIAN_FRAC && self.required.worst <= WORST_SINGLE_FRAC
    }
}

/// How many cases [`agree`] will go through.
pub fn count(bundle: &Bundle, selection: &Selection) -> usize {
    let s = &bundle.scenario.spec;
    let wanted =
        |list: &[f64], v: f64| list.is_empty() || list.iter().any(|x| (x - v).abs() < 1e-9);
    let speeds = s
        .speeds_kn
        .iter()
        .filter(|v| wanted(&selection.speeds_kn, **v));
    let headings = s
        .headings_deg
        .iter()
        .filter(|v| wanted(&selection.headings_deg, **v));
    let laws = bundle
        .controllers
        .iter()
        .filter(|c| selection.law.as_ref().is_none_or(|l| *l == c.spec.name));
    2 * speeds.count() * headings.count() * laws.count()
}

/// Predicts and simulates every law at every speed and heading, with linear and with full restoring, the
/// craft in order.
///
/// # Errors
/// A case that cannot be set up; a law without linear form.
pub fn agree(
    bundle: &Bundle,
    cache: Option<&Path>,
    selection: &Selection,
    effort: &Effort,
    done: &(dyn Fn() + Sync),
) -> Result<Agreement> {
    let pairs_of = |nonlinear: bool| {
        let mut b = bundle.clone();
        b.scenario.spec.physics.nonlinear_restoring = nonlinear;
        b.fault = None;
        let mut stage = Stage::new(&b, cache)?;
        stage.for_many_seas();
        pair_all(&stage, selection, effort, done)
    };
    Ok(Agreement {
        craft: bundle.craft.spec.name.clone(),
        sea: bundle.sea.spec.name.clone(),
        linear: pairs_of(false)?,
        full: pairs_of(true)?,
    })
}

/// All places of a scenario made ready.
///
/// # Errors
/// As [`agree`].
pub fn pair_all(
    stage: &Stage,
    selection: &Selection,
    effort: &Effort,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<PairedCell>> {
    let wanted =
        |list: &[f64], v: f64| list.is_empty() || list.iter().any(|x| (x - v).abs() < 1e-9);
    let mut places = Vec::new();
    for (speed, s) in stage.speeds.iter().enumerate() {
        for &heading_deg in &stage.scenario.headings_deg {
            for (law, plan) in stage.laws.iter().enumerate() {
                let name = &plan.spec.name;
                if wanted(&selection.speeds_kn, s.speed_kn)
                    && wanted(&selection.headings_deg, heading_deg)
                    && selection.law.as_ref().is_none_or(|l| l == name)
                {
                    places.push(Place {
                        stage,
                        speed,
                        heading_deg,
                        law,
                    });
                }
            }
        }
    }
    places
        .par_iter()
        .map(|p| {
            let cell = pair(p, effort);
            done();
            cell
        })
        .collect()
}
