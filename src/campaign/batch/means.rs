//! Mean of a column over draws, on the scale that the column has, so that no limit is one that cannot be.
//!
//! # Equation
//! ```text
//! counts, rates     events of all records over their time: Garwood's interval of k/d events, times d
//! shares            mean -+ t s/sqrt(n), cut at 0 and 1; all zero: 0 to Clopper and Pearson's limit of none in n
//! never negative    mean exp(-+ t s/(mean sqrt n))
//! signed            mean -+ t s/sqrt(n)
//! ```
//!
//! # Symbols
//! n draws, s standard deviation over them, t Student's quantile; k events; d = max(1, s^2/mean) of the counts of the
//! records: how many times wider than independent events they scatter.
//!
//! # Valid when
//! Draws are independent. A share lies between 0 and 1, so its mean is at most the chance that it is not zero. From
//! one draw an interval has no upper limit, but of no event at all, which tells of the time it lasted.
//!
//! # Source
//! [`crate::math::stats::sample`]; delta method for the logarithm of a mean.
//!
//! # Checked by
//! `columns_have_their_scale`, `no_events_are_not_certainty`

use crate::math::stats::{Interval, mean, sample};

/// What limits a column has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Scale {
    /// Events of a record.
    Count,
    /// Events an hour.
    HourlyRate,
    /// Between 0 and 1.
    Share,
    /// Not negative; zero where nothing happened, whose size then is not known.
    Depth,
    /// Not negative.
    Positive,
    /// Any sign.
    Signed,
}

fn scale_of(column: &str) -> Scale {
    match column.rsplit('.').next().unwrap_or(column) {
        "contacts" => Scale::Count,
        "contacts_per_h" | "emergences_per_h" => Scale::HourlyRate,
        "deepest_contact_m" => Scale::Depth,
        "least_clearance_m" => Scale::Signed,
        of if of.ends_with("_frac") => Scale::Share,
        _ => Scale::Positive,
    }
}

/// Mean of `x`, the numbers of `column` of records of `record_s` seconds each (0 where unknown, and rates are then
/// taken as other numbers), with its interval.
pub fn mean_of(column: &str, x: &[f64], record_s: f64, level: f64) -> Interval {
    let hours = record_s / 3600.0;
    match scale_of(column) {
        Scale::Count => sample::clumped_rate(x, 1.0, level),
        Scale::HourlyRate if hours > 0.0 => {
            let counts: Vec<f64> = x.iter().map(|v| v * hours).collect();
            sample::clumped_rate(&counts, hours, level)
        }
        Scale::Share => share(x, level),
        Scale::Depth if is_nothing(x) => Interval {
            high: f64::INFINITY,
            ..Interval::exact(0.0)
        },
        Scale::HourlyRate | Scale::Depth | Scale::Positive => {
            sample::positive_mean_interval(x, level)
        }
        Scale::Signed => sample::mean_interval(x, level),
    }
}

fn is_nothing(x: &[f64]) -> bool {
    !x.is_empty() && mean(x) <= 0.0
}

fn share(x: &[f64], level: f64) -> Interval {
    if is_nothing(x) {
        return sample::clopper_pearson(0, x.len() as u64, level);
    }
    sample::mean_interval(x, level).map(|v| v.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_their_scale() {
        for (column, scale) in [
            ("cross_structure.contacts", Scale::Count),
            ("fins.emergences_per_h", Scale::HourlyRate),
            ("aft port.at_rate_limit_frac", Scale::Share),
            ("cross_structure.least_clearance_m", Scale::Signed),
            ("bridge.mii_per_min", Scale::Positive),
            ("roll.max_deg", Scale::Positive),
        ] {
            assert_eq!(scale_of(column), scale, "{column}");
        }
        // two records of very different maxima: t would reach below zero
        let m = mean_of("roll.max_deg", &[1.0, 9.0], 600.0, 0.95);
        assert!(m.low > 0.0 && m.value.total_cmp(&5.0).is_eq(), "{m:?}");
        let depth = mean_of(
            "cross_structure.least_clearance_m",
            &[0.1, -0.1],
            600.0,
            0.95,
        );
        assert!(depth.low < 0.0);
    }

    #[test]
    fn no_events_are_not_certainty() {
        // 6 records of 600 s: one hour; Garwood: 0 to -ln 0.025
        let none = mean_of("cross_structure.contacts_per_h", &[0.0; 6], 600.0, 0.95);
        assert!(none.low.abs() < 1e-12 && (none.high - 3.688_879_5).abs() < 1e-6);
        let one = [6.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let one = mean_of("cross_structure.contacts_per_h", &one, 600.0, 0.95);
        // one event in an hour: 0.0253 to 5.572 (Garwood's table)
        assert!((one.low - 0.025_318).abs() < 1e-5 && (one.high - 5.571_643).abs() < 1e-5);
        let share = mean_of("fins.emergence_time_frac", &[0.0; 30], 600.0, 0.95);
        assert!((share.high - 0.115_703_31).abs() < 1e-7, "{share:?}");
        let depth = mean_of("cross_structure.deepest_contact_m", &[0.0; 6], 600.0, 0.95);
        assert!(depth.high.is_infinite() && depth.low.abs() < 1e-12);
    }
}
