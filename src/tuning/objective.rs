//! From ride numbers of many cases to one objective, and what must be kept.
//!
//! # Equation
//! ```text
//! case       J_c = sum_t w_t m_t/a_t / sum_t w_t      or  max_t m_t/a_t
//! all cases  J   = sum_c w_c J_c / sum_c w_c          or  max_c J_c
//! miss       (limit - value)/limit for least values, (value - limit)/limit for greatest, never below 0;
//!            a greatest value is taken smaller by the file's reserve
//! ```
//!
//! # Symbols
//! m ride number, a its just acceptable value, w weights; J below 1: better than just acceptable.
//!
//! # Checked by
//! `sums_and_worsts`, `misses_are_relative`.

use crate::metrics::pool::{Entry, Quantity};
use crate::spec::tuning::{OfTerms, RideNumberSpec, Robust, TuningLimitsSpec, TuningSpec};

/// A ride number with its just acceptable value.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    /// What it is in the reports of rides.
    pub quantity: Quantity,
    /// Of which motion or point.
    pub of: String,
    /// In words, `vertical acceleration at bridge`.
    pub name: String,
    /// Unit.
    pub unit: &'static str,
    /// Just acceptable value.
    pub acceptable: f64,
    /// Weight.
    pub weight: f64,
}

/// One sea, speed and heading.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseAt {
    /// Index of the tuning file's case, and of its sea.
    pub case: usize,
    /// Index of the speed in the list of all speeds.
    pub speed: usize,
    /// Speed, kn.
    pub speed_kn: f64,
    /// Wave heading, deg.
    pub heading_deg: f64,
    /// Weight in the mean.
    pub weight: f64,
}

/// What is made small, and over what.
#[derive(Clone, Debug, PartialEq)]
pub struct Objective {
    /// Terms in the file's order.
    pub terms: Vec<Term>,
    /// Cases: file order, then speed, then heading.
    pub cases: Vec<CaseAt>,
    of_terms: OfTerms,
    robust: Robust,
}

impl Objective {
    /// Of a tuning file; `speeds_kn` are all speeds in order.
    pub fn new(tuning: &TuningSpec, speeds_kn: &[f64]) -> Self {
        let mut cases = Vec::new();
        for (case, c) in tuning.cases.iter().enumerate() {
            for &speed_kn in &c.speeds_kn {
                let here = |v: &f64| (v - speed_kn).abs() < 1e-9;
                let speed = speeds_kn.iter().position(here).unwrap_or(0);
                let weight = c.weight / c.headings_deg.len() as f64;
                cases.extend(c.headings_deg.iter().map(|&heading_deg| CaseAt {
                    case,
                    speed,
                    speed_kn,
                    heading_deg,
                    weight,
                }));
            }
        }
        let of = &tuning.objective;
        Objective {
            terms: of.terms.iter().map(|t| term(&t.of, t.weight)).collect(),
            cases,
            of_terms: of.of_terms,
            robust: of.robust,
        }
    }

    /// The objective of one case from the values of its terms.
    pub fn of_case(&self, values: &[f64]) -> f64 {
        let both = || self.terms.iter().zip(values);
        match self.of_terms {
            OfTerms::Worst => both().map(|(t, v)| v / t.acceptable).fold(0.0, f64::max),
            OfTerms::Sum => {
                let weights: f64 = self.terms.iter().map(|t| t.weight).sum();
                both()
                    .map(|(t, v)| t.weight * v / t.acceptable)
                    .sum::<f64>()
                    / weights
            }
        }
    }

    /// The objective from those of cases with their weights.
    pub fn of_all(&self, cases: &[(f64, f64)]) -> f64 {
        match self.robust {
            Robust::Worst => cases.iter().map(|c| c.1).fold(0.0, f64::max),
            Robust::Mean => {
                let weights: f64 = cases.iter().map(|c| c.0).sum();
                cases.iter().map(|(w, j)| w * j).sum::<f64>() / weights
            }
        }
    }

    /// In words: `mean over 25 cases of vertical acceleration at bridge / 0.3 m/s2`.
    pub fn words(&self) -> String {
        let together = match self.robust {
            Robust::Mean => "mean",
            Robust::Worst => "worst",
        };
        let terms: Vec<String> = self
            .terms
            .iter()
            .map(|t| {
                let acceptable = crate::spec::number(t.acceptable);
                let weight = if (t.weight - 1.0).abs() < 1e-12 {
                    String::new()
                } else {
                    format!(" (weight {})", crate::spec::number(t.weight))
                };
                format!("{} / {acceptable} {}{weight}", t.name, t.unit)
            })
            .collect();
        let of = match (self.of_terms, terms.len()) {
            (OfTerms::Worst, 2..) => "the worst of ",
            _ => "",
        };
        let n = self.cases.len();
        let cases = if n == 1 { "case" } else { "cases" };
        format!("{together} over {n} {cases} of {of}{}", terms.join(", "))
    }

    /// Values of the terms in the numbers of a report; none when one is missing.
    pub fn values_in(&self, entries: &[Entry]) -> Option<Vec<f64>> {
        let value = |t: &Term| {
            let found = entries
                .iter()
                .find(|e| e.quantity == t.quantity && e.of == t.of);
            found.map(|e| e.value.value)
        };
        self.terms.iter().map(value).collect()
    }
}

fn term(of: &RideNumberSpec, weight: f64) -> Term {
    let make = |quantity, of: &str, name: String, unit, acceptable| Term {
        quantity,
        of: of.to_owned(),
        name,
        unit,
        acceptable,
        weight,
    };
    let motion = |of: &str, unit, a| make(Quantity::MotionRms, of, format!("{of} RMS"), unit, a);
    match of {
        RideNumberSpec::Heave { acceptable_m } => motion("heave", "m", *acceptable_m),
        RideNumberSpec::Pitch { acceptable_deg } => motion("pitch", "deg", *acceptable_deg),
        RideNumberSpec::Roll { acceptable_deg } => motion("roll", "deg", *acceptable_deg),
        RideNumberSpec::VerticalAcceleration {
            point,
            acceptable_m_s2,
        } => {
            let name = format!("vertical acceleration RMS at {point}");
            make(Quantity::VerticalRms, point, name, "m/s2", *acceptable_m_s2)
        }
        RideNumberSpec::LateralAcceleration {
            point,
            acceptable_m_s2,
        } => {
            let name = format!("lateral acceleration RMS at {point}");
            make(Quantity::LateralRms, point, name, "m/s2", *acceptable_m_s2)
        }
        RideNumberSpec::WeightedVertical {
            point,
            acceptable_m_s2,
        } => {
            let name = format!("weighted vertical acceleration at {point}");
            make(
                Quantity::WeightedVertical,
                point,
                name,
                "m/s2",
                *acceptable_m_s2,
            )
        }
        RideNumberSpec::Sickness {
            point,
            acceptable_percent,
        } => {
            let name = format!("motion sickness at {point}");
            make(Quantity::Msi1976, point, name, "%", *acceptable_percent)
        }
    }
}

/// A number that is watched, and its limit when there is one.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Watched {
    /// In words.
    pub name: &'static str,
    /// Unit; empty for ratios.
    pub unit: &'static str,
    /// Must not be less than the limit (else: not more).
    pub is_least: bool,
    /// The limit.
    pub limit: Option<f64>,
    /// Share of a greatest value that the search leaves free.
    pub reserve_frac: f64,
}

/// Numbers watched beside the ride, in the order of [`watched`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watch {
    /// Factor up, dB.
    GainIncrease,
    /// Factor down, dB.
    GainDecrease,
    /// Phase, deg.
    Phase,
    /// Delay, s.
    Delay,
    /// Disk margin.
    Disk,
    /// Damping ratio.
    Damping,
    /// Fin RMS angle, deg.
    FinRms,
    /// Fin RMS rate, deg/s.
    FinRate,
    /// Share of time at limits.
    AtLimits,
    /// Contacts an hour.
    Contacts,
}

/// All of them, in order.
pub const WATCHES: [Watch; 10] = [
    Watch::GainIncrease,
    Watch::GainDecrease,
    Watch::Phase,
    Watch::Delay,
    Watch::Disk,
    Watch::Damping,
    Watch::FinRms,
    Watch::FinRate,
    Watch::AtLimits,
    Watch::Contacts,
];

impl Watch {
    /// One of the margins, which cost more than the ride.
    pub fn is_margin(self) -> bool {
        (self as usize) < Watch::Damping as usize
    }
}

/// Share left free when the file says nothing: the method is held to 8 % of simulation.
const RESERVE: f64 = 0.1;

/// The watched numbers with the limits of a file.
pub fn watched(limits: &TuningLimitsSpec) -> Vec<Watched> {
    let least = |name, unit, limit| Watched {
        name,
        unit,
        is_least: true,
        limit,
        reserve_frac: 0.0,
    };
    let most = |name, unit, limit| Watched {
        is_least: false,
        reserve_frac: limits.reserve_frac.unwrap_or(RESERVE),
        ..least(name, unit, limit)
    };
    let l = limits;
    vec![
        least("gain margin, increase", "dB", l.least_gain_increase_db),
        least("gain margin, decrease", "dB", l.least_gain_decrease_db),
        least("phase margin", "deg", l.least_phase_deg),
        least("delay margin", "s", l.least_delay_s),
        least("disk margin", "", l.least_disk),
        least("damping ratio", "", l.least_damping_ratio),
        most("fin angle RMS", "deg", l.most_fin_rms_deg),
        most("fin rate RMS", "deg/s", l.most_fin_rate_rms_deg_s),
        most("share of time at fin limits", "", l.most_at_limits_frac),
        most("contacts", "1/h", l.most_contacts_per_h),
    ]
}

/// Sum of relative misses; a number that is not there misses nothing.
pub fn excess(watched: &[Watched], values: &[Option<f64>]) -> f64 {
    let miss = |(w, v): (&Watched, &Option<f64>)| {
        let (limit, v) = (w.limit? * (1.0 - w.reserve_frac), (*v)?);
        let over = if w.is_least { limit - v } else { v - limit };
        Some((over / limit.abs().max(1e-12)).max(0.0))
    };
    watched.iter().zip(values).filter_map(miss).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::load::parse;

    fn tuning(of_terms: &str, robust: &str) -> TuningSpec {
        let text = format!(
            r#"{{"format": "ridewright.tuning/1", "name": "x", "craft": "c", "controller": "l",
            "cases": [
                {{"sea": "a", "speeds_kn": [16, 10], "headings_deg": [180, 0], "weight": 2}},
                {{"sea": "b", "speeds_kn": [12], "headings_deg": [90]}}
            ],
            "objective": {{"of_terms": "{of_terms}", "robust": "{robust}", "terms": [
                {{"of": {{"heave": {{"acceptable_m": 0.2}}}}}},
                {{"of": {{"sickness": {{"point": "bridge", "acceptable_percent": 10}}}}, "weight": 3}}
            ]}},
            "free": [{{"key": "a", "low": 0, "high": 1}}]}}"#
        );
        parse::<TuningSpec>("t.json", &text).unwrap().spec
    }

    #[test]
    fn sums_and_worsts() {
        let speeds = [10.0, 12.0, 16.0];
        let sum = Objective::new(&tuning("sum", "mean"), &speeds);
        assert_eq!(sum.cases.len(), 5);
        assert_eq!((sum.cases[0].speed, sum.cases[4].speed), (2, 1));
        assert!((sum.cases[0].weight - 1.0).abs() < 1e-15);
        // 0.4/0.2 once and 5/10 three times
        assert!((sum.of_case(&[0.4, 5.0]) - (2.0 + 1.5) / 4.0).abs() < 1e-15);
        assert!((sum.of_all(&[(1.0, 2.0), (3.0, 1.0)]) - 1.25).abs() < 1e-15);
        let worst = Objective::new(&tuning("worst", "worst"), &speeds);
        assert!((worst.of_case(&[0.4, 5.0]) - 2.0).abs() < 1e-15);
        assert!((worst.of_all(&[(1.0, 2.0), (3.0, 1.0)]) - 2.0).abs() < 1e-15);
        let words = worst.words();
        assert!(
            words.starts_with("worst over 5 cases of the worst of heave RMS / 0.2 m"),
            "{words}"
        );
    }

    #[test]
    fn misses_are_relative() {
        let limits = TuningLimitsSpec {
            least_phase_deg: Some(40.0),
            most_fin_rms_deg: Some(5.0),
            reserve_frac: Some(0.0),
            ..TuningLimitsSpec::default()
        };
        let w = watched(&limits);
        let mut values = vec![None; w.len()];
        assert!(excess(&w, &values).abs() < 1e-15);
        values[Watch::Phase as usize] = Some(30.0);
        values[Watch::FinRms as usize] = Some(6.0);
        values[Watch::FinRate as usize] = Some(99.0);
        assert!((excess(&w, &values) - (0.25 + 0.2)).abs() < 1e-12);
        // a tenth is left free: 6 against 4.5
        let w = watched(&TuningLimitsSpec {
            reserve_frac: None,
            ..limits
        });
        assert!((excess(&w, &values) - (0.25 + 1.0 / 3.0)).abs() < 1e-12);
        assert!(Watch::Disk.is_margin() && !Watch::FinRms.is_margin());
    }
}
