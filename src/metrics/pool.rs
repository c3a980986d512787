//! Reports as flat lists, and several seeds together.
//!
//! # Equation
//! ```text
//! one record   its own intervals
//! n < 4        mean over records; half widths of the records' own intervals, sqrt(sum h^2)/n
//! n >= 4       mean over records -+ t_(n-1) s/sqrt(n)
//! RMS values are averaged through their squares
//! ```
//!
//! # Symbols
//! n records of the same sea, law, speed and heading with different seeds.
//!
//! # Valid when
//! Records of equal length, drawn independently. With few seeds Student's t would say more about
//! their number than about the sea, while each record's own interval has been checked for its
//! coverage; so those are combined as independent errors. Numbers without an interval of their own
//! use t all the same.
//!
//! # Source
//! Student (1908); [`crate::math::stats::sample`].
//!
//! # Checked by
//! `seeds_are_pooled_by_student`, `few_seeds_combine_their_own_intervals`,
//! `one_record_keeps_its_interval`.

use serde::Serialize;

use super::ride::RideReport;
use crate::math::stats::{Interval, sample};

/// What a number of a report is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// RMS of a motion, m or deg.
    MotionRms,
    /// Significant amplitude of a motion, m or deg.
    MotionSignificant,
    /// Vertical acceleration RMS, m/s2.
    VerticalRms,
    /// Vertical velocity RMS, m/s.
    VerticalVelocityRms,
    /// Lateral acceleration felt, RMS, m/s2.
    LateralRms,
    /// Wk-weighted vertical acceleration, m/s2.
    WeightedVertical,
    /// Wd-weighted lateral acceleration, m/s2.
    WeightedLateral,
    /// Motion sickness dose value, m/s^1.5.
    Msdv,
    /// People who may vomit, ISO 2631-1, per cent.
    Vomiting,
    /// MSI of 1974, per cent.
    Msi1974,
    /// MSI of 1976, per cent.
    Msi1976,
    /// Mean frequency of the vertical motion, Hz.
    MeanFrequency,
    /// Interruptions per minute.
    Mii,
    /// Contacts or emergences per hour.
    EventRate,
    /// RMS of a surface's deflection, deg.
    SurfaceRms,
    /// RMS of a surface's rate, deg/s.
    SurfaceRateRms,
    /// Share of the time at the angle limit.
    AtAngleLimit,
    /// Share of the time at the rate limit.
    AtRateLimit,
    /// Travel of a surface, deg/h.
    Travel,
}

/// From this many seeds on, the scatter between them gives the interval.
const SEEDS_FOR_STUDENT: usize = 4;

impl Quantity {
    /// Whether records are averaged by their squares.
    fn is_rms(self) -> bool {
        matches!(
            self,
            Quantity::MotionRms
                | Quantity::VerticalRms
                | Quantity::VerticalVelocityRms
                | Quantity::LateralRms
                | Quantity::WeightedVertical
                | Quantity::WeightedLateral
                | Quantity::Msdv
                | Quantity::SurfaceRms
                | Quantity::SurfaceRateRms
        )
    }
}

/// One number of a report.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Entry {
    /// What it is.
    pub quantity: Quantity,
    /// Of which motion, point, thing or surface.
    pub of: String,
    /// Unit as printed.
    pub unit: &'static str,
    /// Value with interval.
    pub value: Interval,
}

/// Numbers of one case: one record or several seeds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseNumbers {
    /// Records in it.
    pub records: usize,
    /// All reached their end.
    pub completed: bool,
    /// All stayed where the model holds.
    pub in_validity: bool,
    /// The numbers.
    pub entries: Vec<Entry>,
}

impl CaseNumbers {
    /// A number, when the case has it.
    pub fn get(&self, quantity: Quantity, of: &str) -> Option<Interval> {
        self.entries
            .iter()
            .find(|e| e.quantity == quantity && e.of == of)
            .map(|e| e.value)
    }
}

/// The numbers of one report.
pub fn entries(r: &RideReport) -> Vec<Entry> {
    let mut out = Vec::new();
    for m in &r.motions {
        put(&mut out, Quantity::MotionRms, &m.name, m.unit, m.stats.rms);
        put(
            &mut out,
            Quantity::MotionSignificant,
            &m.name,
            m.unit,
            m.stats.significant,
        );
    }
    for p in &r.points {
        let f = Interval::exact(p.mean_frequency_hz);
        for (q, unit, v) in [
            (Quantity::VerticalRms, "m/s2", p.vertical_rms_m_s2),
            (
                Quantity::VerticalVelocityRms,
                "m/s",
                p.vertical_velocity_rms_m_s,
            ),
            (Quantity::LateralRms, "m/s2", p.lateral_rms_m_s2),
            (Quantity::WeightedVertical, "m/s2", p.weighted_vertical_m_s2),
            (Quantity::WeightedLateral, "m/s2", p.weighted_lateral_m_s2),
            (Quantity::Msdv, "m/s1.5", p.msdv_m_s1_5),
            (Quantity::Vomiting, "%", p.vomiting_percent),
            (Quantity::Msi1974, "%", p.msi_1974_percent),
            (Quantity::Msi1976, "%", p.msi_1976_percent),
            (Quantity::MeanFrequency, "Hz", f),
            (Quantity::Mii, "1/min", p.mii_per_min),
        ] {
            put(&mut out, q, &p.name, unit, v);
        }
    }
    for e in &r.events {
        put(
            &mut out,
            Quantity::EventRate,
            &e.name,
            "1/h",
            e.stats.rate_per_h,
        );
    }
    for s in &r.surfaces {
        put(&mut out, Quantity::SurfaceRms, &s.name, "deg", s.rms_deg);
        put(
            &mut out,
            Quantity::SurfaceRateRms,
            &s.name,
            "deg/s",
            s.rate_rms_deg_s,
        );
        put(
            &mut out,
            Quantity::AtAngleLimit,
            &s.name,
            "",
            Interval::exact(s.at_angle_limit_frac),
        );
        put(
            &mut out,
            Quantity::AtRateLimit,
            &s.name,
            "",
            Interval::exact(s.at_rate_limit_frac),
        );
        put(
            &mut out,
            Quantity::Travel,
            &s.name,
            "deg/h",
            Interval::exact(s.travel_deg_per_h),
        );
    }
    out
}

fn put(out: &mut Vec<Entry>, quantity: Quantity, of: &str, unit: &'static str, value: Interval) {
    out.push(Entry {
        quantity,
        of: of.to_owned(),
        unit,
        value,
    });
}

/// Several seeds of one case, or one; `None` for none.
pub fn pool(reports: &[RideReport], level: f64) -> Option<CaseNumbers> {
    let first = reports.first()?;
    let all: Vec<Vec<Entry>> = reports.iter().map(entries).collect();
    let mut pooled = entries(first);
    if reports.len() > 1 {
        for (k, e) in pooled.iter_mut().enumerate() {
            // reports of one case hold the same numbers in the same order
            let values: Vec<Interval> = all
                .iter()
                .filter_map(|r| {
                    r.get(k)
                        .filter(|x| x.quantity == e.quantity && x.of == e.of)
                })
                .map(|x| x.value)
                .collect();
            e.value = together(&values, e.quantity.is_rms(), level);
        }
    }
    Some(CaseNumbers {
        records: reports.len(),
        completed: reports.iter().all(|r| r.completed),
        in_validity: reports.iter().all(|r| r.in_validity),
        entries: pooled,
    })
}

/// Several records of one number.
fn together(values: &[Interval], is_rms: bool, level: f64) -> Interval {
    let centres: Vec<f64> = values.iter().map(|v| v.value).collect();
    let between = if is_rms {
        sample::pooled_rms(&centres, level)
    } else {
        sample::mean_interval(&centres, level)
    };
    // nothing in the list is negative
    if values.len() >= SEEDS_FOR_STUDENT || values.iter().all(|v| v.high <= v.low) {
        return Interval {
            low: between.low.max(0.0),
            ..between
        };
    }
    let n = values.len() as f64;
    let half =
        |f: &dyn Fn(&Interval) -> f64| values.iter().map(|v| f(v).powi(2)).sum::<f64>().sqrt() / n;
    Interval {
        value: between.value,
        low: (between.value - half(&|v| v.value - v.low)).max(0.0),
        high: between.value + half(&|v| v.high - v.value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrics::ride::{MotionSeries, MotionUnit, RideInput, judge};

    fn report(a: f64) -> RideReport {
        let x: Vec<f64> = (0..6000).map(|i| a * (0.1 * f64::from(i)).sin()).collect();
        let flat = vec![0.0; 6000];
        judge(&RideInput {
            dt_s: 0.1,
            roll_rad: &flat,
            pitch_rad: &flat,
            motions: vec![MotionSeries {
                name: "heave",
                unit: MotionUnit::Metre,
                values: &x,
            }],
            points: vec![],
            clearances: vec![],
            surfaces: vec![],
            exposure_s: 7200.0,
            completed: a < 5.0,
            in_validity: true,
            level: 0.95,
        })
    }

    #[test]
    fn seeds_are_pooled_by_student() {
        let eight = [1.0, 1.2, 0.9, 1.1, 1.0, 1.2, 0.9, 1.1];
        let r: Vec<RideReport> = eight.into_iter().map(report).collect();
        let c = pool(&r, 0.95).unwrap();
        let rms = c.get(Quantity::MotionRms, "heave").unwrap();
        // mean of the squares 1, 1.44, 0.81, 1.21, halved for sines
        assert!(
            (rms.value - (1.115f64 / 2.0).sqrt()).abs() < 1e-3,
            "{rms:?}"
        );
        // squares scatter by 0.141 (halved), t_7 = 2.365: 0.5575 -+ 0.118
        assert!(rms.low < 0.69 && rms.high > 0.80, "{rms:?}");
        assert!(c.completed && c.records == 8);
        assert!(!pool(&[report(1.0), report(9.0)], 0.95).unwrap().completed);
    }

    #[test]
    fn few_seeds_combine_their_own_intervals() {
        let one = Interval {
            value: 2.0,
            low: 1.7,
            high: 2.4,
        };
        let two = together(&[one, one], true, 0.95);
        // equal independent records: the half widths shrink by sqrt(2)
        assert!((two.value - 2.0).abs() < 1e-12);
        assert!((two.low - (2.0 - 0.3 / 2f64.sqrt())).abs() < 1e-12);
        assert!((two.high - (2.0 + 0.4 / 2f64.sqrt())).abs() < 1e-12);
    }

    #[test]
    fn one_record_keeps_its_interval() {
        let r = report(1.0);
        let c = pool(std::slice::from_ref(&r), 0.95).unwrap();
        assert_eq!(
            c.get(Quantity::MotionRms, "heave").unwrap(),
            r.motions[0].stats.rms
        );
        assert!(pool(&[], 0.95).is_none());
    }
}
