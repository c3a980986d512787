//! Tables of a campaign.

use super::shell::Shell;
use super::table;
use crate::campaign::batch::columns::{unit_of, words_of};
use crate::campaign::batch::row::Row;
use crate::campaign::batch::summary::{LawNumbers, Number, Place, Summary};
use crate::error::Result;
use crate::math::stats::Interval;

/// Columns of one table at most, the first apart.
const MOST_COLUMNS: usize = 4;

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
        "Mean over draws with its {} interval; below it the change against the first law on the same draws.",
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
    let half = 0.5 * (mean.high - mean.low);
    let mut text = if half.is_finite() {
        format!(
            "{}\u{a0}±{}",
            table::significant(mean.value, 3),
            table::significant(half, 2)
        )
    } else {
        table::significant(mean.value, 3)
    };
    if let Some(d) = &n.difference {
        let change = d.change_percent.filter(|c| c.low.is_finite());
        let beside = match change {
            Some(c) => {
                let half = 0.5 * (c.high - c.low);
                format!("{:+.0}\u{a0}±{:.0}\u{a0}%", c.value, half)
            }
            None if d.mean.value.abs() > 0.0 => {
                let sign = if d.mean.value > 0.0 { "+" } else { "" };
                format!("{sign}{}", table::significant(d.mean.value, 2))
            }
            None => "same".to_owned(),
        };
        text = format!("{text}\n{beside}");
    }
    text
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
                let m = e.block_maxima.as_ref()?;
                let x = m.exposures.iter().find(|x| x.records == records)?;
                Some(x.most_probable)
            };
            let all = [Some(e.found), e.rayleigh, e.weibull, of(10), of(100)];
            let law = l.law.replace(' ', "\u{a0}");
            Some(std::iter::once(law).chain(all.map(spread)).collect())
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
