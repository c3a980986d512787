//! Largest values of a law at a place: what was found, what theory forecasts, and what longer exposure holds.
//!
//! # Equation
//! ```text
//! by theory     mean over draws of the most probable largest by Rayleigh and by a Weibull fit to the amplitudes
//! of means      intervals on the logarithm, those of Gumbel's law cut at zero: a largest value is not negative
//! Gumbel        fitted to the largest of each record by L-moments;  m records: mode + scale ln m most probable
//! ```
//!
//! # Symbols
//! m records of the campaign's duration.
//!
//! # Valid when
//! As [`crate::math::stats::extreme`], whose coverage is tested from eight records on; below no law is fitted. Runs that ended early have no part, so the largest lean to the mild
//! draws where some did.
//!
//! # Source
//! [`crate::math::stats::extreme`].
//!
//! # Checked by
//! `extremes_of_a_known_law`

use std::collections::BTreeMap;

use serde::Serialize;

use super::columns::forecasts_of;
use crate::math::stats::extreme::{Pivots, gumbel_by_l_moments};
use crate::math::stats::{Interval, sample};

/// Records that longer exposures are made of.
const EXPOSURES: [usize; 3] = [1, 10, 100];
/// Records that a Gumbel law asks for at least.
pub const LEAST_RECORDS: usize = 8;
/// Seed of the bootstrap: intervals tell nothing of the campaign's.
const SEED: u64 = 1;

/// The most probable largest of several records.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Exposure {
    /// Records.
    pub records: usize,
    /// Most probable largest.
    pub most_probable: Interval,
}

/// Gumbel's law of the largest of one record.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BlockMaxima {
    /// Mode, in the column's unit.
    pub mode: f64,
    /// Scale, in the column's unit.
    pub scale: f64,
    /// Longer exposures.
    pub exposures: Vec<Exposure>,
    /// What one record in a hundred exceeds.
    pub exceeded_by_hundredth: Interval,
}

/// The largest values of one quantity.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Extreme {
    /// Column of the largest found.
    pub column: String,
    /// Draws.
    pub draws: usize,
    /// Mean of the largest found, over draws.
    pub found: Interval,
    /// Mean of Rayleigh's forecast.
    pub rayleigh: Option<Interval>,
    /// Mean of the Weibull fits' forecast.
    pub weibull: Option<Interval>,
    /// Fit to the largest found; none below [`LEAST_RECORDS`] draws or without scatter.
    pub block_maxima: Option<BlockMaxima>,
}

/// Columns that extremes of `report` need beside it, those that rows have.
pub fn columns_beside(report: &[String], all: &[String]) -> Vec<String> {
    let beside = report.iter().filter_map(|r| forecasts_of(r)).flatten();
    beside.filter(|c| all.contains(c)).collect()
}

/// Draws of the bootstrap, kept for each number of draws.
#[derive(Default)]
pub struct Bootstraps(BTreeMap<usize, Pivots>);

impl Bootstraps {
    /// Extremes of a quantity whose largest of each draw are `found`; none without any. `forecast` gives the
    /// numbers of a column beside it.
    pub fn extreme(
        &mut self,
        column: &str,
        found: &[f64],
        forecast: &dyn Fn(&str) -> Option<Vec<f64>>,
        level: f64,
    ) -> Option<Extreme> {
        let [rayleigh, weibull] = forecasts_of(column)?;
        if found.is_empty() {
            return None;
        }
        let mean = |column: &str| {
            let x = forecast(column).filter(|x| !x.is_empty())?;
            Some(sample::positive_mean_interval(&x, level))
        };
        Some(Extreme {
            column: column.to_owned(),
            draws: found.len(),
            found: sample::positive_mean_interval(found, level),
            rayleigh: mean(&rayleigh),
            weibull: mean(&weibull),
            block_maxima: self.block_maxima(found, level),
        })
    }

    fn block_maxima(&mut self, found: &[f64], level: f64) -> Option<BlockMaxima> {
        if found.len() < LEAST_RECORDS {
            return None;
        }
        let fit = gumbel_by_l_moments(found)?;
        let n = found.len();
        let pivots = self.0.entry(n).or_insert_with(|| Pivots::new(n, SEED));
        let exposure = |records: usize| Exposure {
            records,
            most_probable: not_negative(pivots.largest_of(&fit, records as f64, level)),
        };
        Some(BlockMaxima {
            mode: fit.mode,
            scale: fit.scale,
            exposures: EXPOSURES.map(exposure).to_vec(),
            exceeded_by_hundredth: not_negative(pivots.quantile(&fit, 0.99, level)),
        })
    }
}

/// What cannot be is no loss of coverage.
fn not_negative(i: Interval) -> Interval {
    i.map(|v| v.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::rng::{Purpose, Stream};
    use crate::math::stats::fit::Gumbel;

    #[test]
    fn extremes_of_a_known_law() {
        // references/I_statistics.json, `gumbel`: one in a hundred at 16.900224
        let law = Gumbel {
            mode: 10.0,
            scale: 1.5,
        };
        let mut rng = Stream::new(3, 0, Purpose::Other);
        let x: Vec<f64> = (0..400)
            .map(|_| law.quantile(rng.uniform().max(1e-16)))
            .collect();
        let forecast = |c: &str| (c == "roll.rayleigh_max_deg").then(|| vec![9.0, 11.0]);
        let mut b = Bootstraps::default();
        let e = b.extreme("roll.max_deg", &x, &forecast, 0.999).unwrap();
        assert!((e.rayleigh.unwrap().value - 10.0).abs() < 1e-12 && e.weibull.is_none());
        let m = e.block_maxima.unwrap();
        assert!(m.exceeded_by_hundredth.holds(16.900224), "{m:?}");
        let ten = &m.exposures[1];
        assert!(
            ten.records == 10 && ten.most_probable.holds(10.0 + 1.5 * 10f64.ln()),
            "{m:?}"
        );
        let few = b.extreme("roll.max_deg", &x[..LEAST_RECORDS - 1], &forecast, 0.95);
        assert!(few.unwrap().block_maxima.is_none(), "too few for a law");
        let two = b
            .extreme("roll.max_deg", &[1.0, 30.0], &forecast, 0.95)
            .unwrap();
        assert!(two.found.low > 0.0, "{two:?}");
        assert!(b.extreme("roll.rms_deg", &x, &forecast, 0.95).is_none());
        assert!(
            b.extreme("roll.rayleigh_max_deg", &x, &forecast, 0.95)
                .is_none()
        );
        let report = ["roll.max_deg", "bow.vertical_max_m_s2"].map(String::from);
        let all = ["roll.rayleigh_max_deg", "bow.vertical_weibull_max_m_s2"].map(String::from);
        assert_eq!(columns_beside(&report, &all), all);
    }
}
