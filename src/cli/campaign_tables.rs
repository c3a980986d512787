//! Tables of a campaign.

use super::shell::Shell;
use super::table;
use crate::campaign::batch::columns::{unit_of, words_of};
use crate::campaign::batch::extremes::LEAST_RECORDS;
use crate::campaign::batch::row::Row;
use crate::campaign::batch::summary::{Difference, LawNumbers, Number, Place, Summary};
use crate::error::Result;
use crate::math::stats::Interval;

/// Columns of one table at most, the first apart.
const MOST_COLUMNS: usize = 4;

/// Changes whose limits are closer, per cent, have a digit behind the point.
const FINE_PERCENT: f64 = 4.0;

/// Where an interval would say nothing.
const TOO_FEW: &str = "too\u{a0}few\u{a0}draws";

/// What counts as zero in a table: no unit of ours is that fine.
const ROUNDING: f64 = 1e-9;

/// Everything told of, place by place.
///
/// # Errors
/// When standard output fails.
pub(super) fn print(told: &Summary, shell: &mut Shell) -> Result<()> {
    shell.data(&format!(
        "{}: {} cases, {} completed, seed {}, {}",
        told.campaign,
        told.cases,
        told.completed,
        told.seed,
        told.integrator.words()
    ))?;
    let level = told.level_frac;
    shell.data(&format!(
        "Mean over draws, below it its {} interval and the change against the first law on the same draws.",
        percent(level)
    ))?;
    for place in &told.places {
        let draws = place.laws.iter().map(|l| l.draws).max().unwrap_or(0);
        shell.data(&format!("\n{}: {draws} draws", place.words))?;
        for columns in told.columns.chunks(MOST_COLUMNS) {
            let mut heads = vec!["law".to_owned()];
            heads.extend(columns.iter().map(|c| head(c)));
            let rows = place.laws.iter().map(|l| row(l, columns));
            shell.data(&table::table(heads, rows))?;
        }
        for table in extremes(place) {
            shell.data(&table)?;
        }
        for law in &place.laws {
            for e in &law.ended {
                shell.data(&format!(
                    "  {}: {} of {} runs {} ({} of runs); first case {}: {}",
                    law.law,
                    e.runs,
                    law.draws,
                    e.outcome.words(),
                    range(&law.ended_frac, 100.0, "%"),
                    e.first_case,
                    e.said
                ))?;
            }
        }
    }
    Ok(())
}

fn percent(level: f64) -> String {
    let text = format!("{:.3}", 100.0 * level);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

fn head(column: &str) -> String {
    let unit = unit_of(column);
    let words = words_of(column);
    if unit.is_empty() {
        words
    } else {
        format!("{words}\n{unit}")
    }
}

fn range(i: &Interval, factor: f64, unit: &str) -> String {
    format!("{:.1} to {:.1} {unit}", factor * i.low, factor * i.high)
}

fn row(law: &LawNumbers, columns: &[String]) -> Vec<String> {
    let mut out = vec![law.law.replace(' ', "\u{a0}")];
    for column in columns {
        let number = law.numbers.iter().find(|n| n.column == *column);
        out.push(number.map_or_else(String::new, entry));
    }
    out
}

fn entry(n: &Number) -> String {
    let Some(mean) = n.mean else {
        return "runs ended".to_owned();
    };
    // zero but for rounding: fins that are held
    let mean = mean.map(|v| if v.abs() < ROUNDING { 0.0 } else { v });
    let mut text = table::significant(mean.value, 3);
    if let Some(ends) = ends(&mean) {
        text = format!("{text}\n{ends}");
    }
    if let Some(d) = &n.difference {
        text = format!("{text}\n{}", change(d));
    }
    text
}

/// Limits of an interval; none of one that has no width.
fn ends(i: &Interval) -> Option<String> {
    let text = |v| table::significant(v, 3);
    if i.high <= i.low {
        None
    } else if !i.high.is_finite() {
        Some(TOO_FEW.to_owned())
    } else {
        Some(format!("{} to {}", text(i.low), text(i.high)).replace(' ', "\u{a0}"))
    }
}

/// A law beside the first: in per cent where that can be, else in the column's unit.
fn change(d: &Difference) -> String {
    if d.mean.value.abs() <= 0.0 {
        return "same".to_owned();
    }
    match d.change_told() {
        Some(c) => {
            let decimals = usize::from(c.high - c.low < FINE_PERCENT);
            signed(&c, &|v| table::fixed(v, decimals), "\u{a0}%")
        }
        None if d.change_percent.is_some() || !d.mean.high.is_finite() => TOO_FEW.to_owned(),
        None => signed(&d.mean, &|v| table::significant(v, 2), ""),
    }
}

/// `-38 (-41 to -35) %`.
fn signed(i: &Interval, text: &dyn Fn(f64) -> String, unit: &str) -> String {
    let sign = if i.value > 0.0 { "+" } else { "" };
    let value = text(i.value);
    if i.high <= i.low {
        return format!("{sign}{value}{unit}");
    }
    format!(
        "{sign}{value} ({}\u{a0}to\u{a0}{}){unit}",
        text(i.low),
        text(i.high)
    )
}

/// Largest values of a place, a table a quantity.
fn extremes(place: &Place) -> Vec<String> {
    let columns = place.laws.iter().flat_map(|l| &l.extremes);
    let mut names: Vec<&String> = Vec::new();
    for e in columns {
        if !names.contains(&&e.column) {
            names.push(&e.column);
        }
    }
    let one = |name: &&String| {
        let unit = unit_of(name);
        let heads = [
            "mean of records",
            "by Rayleigh",
            "by Weibull",
            "of 10 records",
            "of 100 records",
        ];
        let heads = heads.map(|h| format!("{h}\n{unit}"));
        let first = format!("{}: largest", words_of(name));
        let heads = std::iter::once(first).chain(heads);
        let rows = place.laws.iter().filter_map(|l| {
            let e = l.extremes.iter().find(|e| e.column == **name)?;
            let of = |records: usize| {
                if e.draws < LEAST_RECORDS {
                    return format!("below {LEAST_RECORDS} draws");
                }
                let m = e.block_maxima.as_ref();
                let x = m.and_then(|m| m.exposures.iter().find(|x| x.records == records));
                spread(x.map(|x| x.most_probable))
            };
            let here = [Some(e.found), e.rayleigh, e.weibull].map(spread);
            let law = l.law.replace(' ', "\u{a0}");
            let longer = [of(10), of(100)];
            Some(std::iter::once(law).chain(here).chain(longer).collect())
        });
        table::table(heads, rows)
    };
    names.iter().map(one).collect()
}

/// An estimate and its limits.
fn spread(i: Option<Interval>) -> String {
    let Some(i) = i.filter(|i| i.value.is_finite()) else {
        return "-".to_owned();
    };
    let text = |x| table::significant(x, 3);
    if i.low.is_finite() && i.high.is_finite() {
        format!("{}\n{} to {}", text(i.value), text(i.low), text(i.high))
    } else {
        text(i.value)
    }
}

/// One case with all its numbers.
pub(super) fn case(words: &str, columns: &[String], uncertain: &[String], row: &Row) -> String {
    let outcome = row.outcome.words();
    let mut text = match &row.said {
        Some(said) => format!("{words}: {outcome} ({said})"),
        None => format!("{words}: {outcome}"),
    };
    text.push('\n');
    let drawn = uncertain.iter().zip(&row.drawn);
    let drawn = drawn.map(|(name, v)| (format!("drawn.{name}"), Some(*v)));
    let numbers = columns.iter().enumerate();
    let numbers = numbers.map(|(i, name)| (name.clone(), row.number(i)));
    let rows = drawn.chain(numbers).map(|(name, v)| {
        let v = v.map_or_else(|| "-".to_owned(), |v| table::significant(v, 6));
        vec![name, v]
    });
    text + &table::table(["number", "value"], rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(value: f64, low: f64, high: f64) -> Interval {
        Interval { value, low, high }
    }

    #[test]
    fn limits_are_told_low_to_high_and_only_where_they_tell() {
        let plain = |text: String| text.replace('\u{a0}', " ");
        let mut n = Number {
            column: "cross_structure.contacts_per_h".into(),
            draws: 6,
            mean: Some(interval(0.0, 0.0, 3.689)),
            median: None,
            exceeded_by_tenth: None,
            largest: None,
            difference: None,
            exceedance: vec![],
        };
        assert_eq!(plain(entry(&n)), "0\n0 to 3.69");
        n.mean = Some(interval(1.0, 0.0, f64::INFINITY));
        let all = interval(-0.5, f64::NEG_INFINITY, f64::INFINITY);
        let mut d = Difference {
            pairs: 2,
            mean: interval(-0.5, -1.5, 0.5),
            change_percent: Some(interval(-100.0, -100.0, 3e14)),
            less_frac: all,
        };
        n.difference = Some(d.clone());
        assert_eq!(plain(entry(&n)), "1.00\ntoo few draws\ntoo few draws");
        d.change_percent = Some(interval(-38.2, -41.4, -34.9));
        assert_eq!(plain(change(&d)), "-38 (-41 to -35) %");
        d.change_percent = None;
        assert_eq!(plain(change(&d)), "-0.50 (-1.5 to 0.50)");
        d.mean = interval(0.0, 0.0, 0.0);
        assert_eq!(change(&d), "same");
    }
}
