//! A measured spectrum from comma-separated text.
//!
//! # Equation
//! None: points `omega_rad_s,s_m2_s`, linear between them.
//!
//! # Symbols
//! `omega_rad_s` frequency, rad/s; `s_m2_s` one-sided density per rad/s, m2 s.
//!
//! # Valid when
//! The file's density is per rad/s. A density per hertz must be divided by 2 pi beforehand.
//!
//! # Source
//! Own format.
//!
//! # Checked by
//! `measured_text_is_read_or_refused_with_its_line`.

use super::Table;
use crate::error::{Error, Problem, Result};

const HEADER: [&str; 2] = ["omega_rad_s", "s_m2_s"];
const UNITS: &str = "frequencies in rad/s, densities in m2 s per rad/s; from hertz: multiply the \
                     frequency by 2 pi and divide the density by 2 pi";

/// Reads a spectrum from CSV text with the header `omega_rad_s,s_m2_s`.
///
/// # Errors
/// Every faulty row with its line: wrong header, not two finite numbers, frequencies that do not
/// ascend, negative densities, fewer than three rows, no energy.
pub fn parse_measured(text: &str) -> Result<Table> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let header = reader
        .headers()
        .map_err(|e| Error::new(format!("cannot read the header: {e}")))?;
    if header.iter().ne(HEADER) {
        let found: Vec<&str> = header.iter().collect();
        return Err(on_line(
            1,
            format!(
                "the header is `{}`, must be `omega_rad_s,s_m2_s`",
                found.join(",")
            ),
        )
        .hint(UNITS)
        .into());
    }
    let mut table = Table {
        omega_rad_s: Vec::new(),
        s_m2_s: Vec::new(),
    };
    let mut bad = Vec::new();
    for record in reader.records() {
        match record {
            Ok(row) => {
                let line = row.position().map_or(0, |p| p.line() as usize);
                if let Err(p) = take_row(&row, line, &mut table) {
                    bad.extend(p.problems);
                }
            }
            Err(e) => bad.push(Problem::at("", format!("cannot read a row: {e}"))),
        }
    }
    if bad.is_empty() {
        bad.extend(judge(&table));
    }
    if bad.is_empty() {
        Ok(table)
    } else {
        Err(bad.into())
    }
}

fn on_line(line: usize, message: String) -> Problem {
    let mut p = Problem::at("", message);
    p.place.line = Some(line);
    p
}

fn take_row(row: &csv::StringRecord, line: usize, table: &mut Table) -> Result<()> {
    if row.len() != 2 {
        return Err(on_line(line, format!("has {} values, must have 2", row.len())).into());
    }
    let number = |i: usize| -> Result<f64> {
        let text = row.get(i).unwrap_or_default();
        match text.parse::<f64>() {
            Ok(x) if x.is_finite() => Ok(x),
            _ => Err(on_line(
                line,
                format!("{} is `{text}`, must be a finite number", HEADER[i]),
            )
            .into()),
        }
    };
    let (omega, s) = (number(0)?, number(1)?);
    if omega < 0.0 {
        return Err(on_line(
            line,
            format!("omega_rad_s is {omega}, must not be negative"),
        )
        .into());
    }
    if let Some(&last) = table.omega_rad_s.last()
        && omega <= last
    {
        return Err(on_line(
            line,
            format!("omega_rad_s is {omega} after {last}, must ascend"),
        )
        .hint("sort the rows; a spectrum in period order runs backwards")
        .into());
    }
    if s < 0.0 {
        return Err(
            on_line(line, format!("s_m2_s is {s}, must not be negative"))
                .hint("a measured density is a mean square; set noise below zero to 0")
                .into(),
        );
    }
    table.omega_rad_s.push(omega);
    table.s_m2_s.push(s);
    Ok(())
}

fn judge(table: &Table) -> Option<Problem> {
    let n = table.omega_rad_s.len();
    if n < 3 {
        return Some(Problem::at(
            "",
            format!("has {n} rows of numbers, needs at least 3"),
        ));
    }
    let hs = 4.0 * table.moment(0).sqrt();
    if hs <= 1e-4 {
        return Some(
            Problem::at(
                "",
                format!("the significant height is {hs} m, must exceed 0.0001 m"),
            )
            .hint(UNITS),
        );
    }
    if hs > 30.0 {
        return Some(
            Problem::at(
                "",
                format!("the significant height is {hs:.1} m, must not exceed 30 m"),
            )
            .hint(UNITS),
        );
    }
    None
}
