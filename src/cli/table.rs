//! Tables that read well at 100 columns.

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, Table, Width, presets,
};

/// Columns a table may take.
pub const WIDTH: u16 = 100;

/// Words longer than this may be broken.
const LONGEST_WORD: usize = 16;

/// A table: heads with their units, rows of text. The first column is flush left, the others,
/// numbers mostly, flush right.
pub fn table<H, R>(heads: H, rows: R) -> String
where
    H: IntoIterator,
    H::Item: Into<String>,
    R: IntoIterator<Item = Vec<String>>,
{
    let cells = |row: Vec<String>| {
        row.into_iter()
            .enumerate()
            .map(|(i, text)| {
                let cell = Cell::new(text);
                match i {
                    0 => cell,
                    _ => cell.set_alignment(CellAlignment::Right),
                }
            })
            .collect::<Vec<_>>()
    };
    let mut words: Vec<usize> = Vec::new();
    let mut note = |row: &[String]| {
        words.resize(words.len().max(row.len()), 0);
        for (longest, text) in words.iter_mut().zip(row) {
            // a no-break space keeps words together
            let words = text.split(|c: char| c.is_ascii_whitespace());
            let word = words.map(|w| w.chars().count()).max();
            *longest = (*longest).max(word.unwrap_or(0)).min(LONGEST_WORD);
        }
    };
    let heads: Vec<String> = heads.into_iter().map(Into::into).collect();
    note(&heads);
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(WIDTH)
        .set_header(cells(heads));
    for row in rows {
        note(&row);
        table.add_row(cells(row));
    }
    // no column so narrow that a word has to be broken
    for (column, longest) in table.column_iter_mut().zip(&words) {
        let least = Width::Fixed(*longest as u16 + 2);
        column.set_constraint(ColumnConstraint::LowerBoundary(least));
    }
    table.to_string()
}

/// A number with `decimals` after the point; a dash where there is none.
pub fn fixed(value: f64, decimals: usize) -> String {
    if value.is_finite() {
        // no minus sign before a number that rounds to zero
        let text = format!("{value:.decimals$}");
        match text.strip_prefix('-') {
            Some(digits) if digits.bytes().all(|b| matches!(b, b'0' | b'.')) => digits.to_owned(),
            _ => text,
        }
    } else {
        "-".to_owned()
    }
}

/// A number with `digits` that count, in powers of ten only where it is very large or small.
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "-".to_owned();
    }
    let size = value.abs();
    if size < f64::MIN_POSITIVE {
        return "0".to_owned();
    }
    let order = size.log10().floor() as i32;
    if !(-4..7).contains(&order) {
        return format!("{value:.*e}", digits.saturating_sub(1));
    }
    let decimals = (i64::try_from(digits).unwrap_or(4) - 1 - i64::from(order)).max(0) as usize;
    fixed(value, decimals)
}

/// Decimals that leave a column whose largest value is `largest` about four digits.
pub fn decimals_for(largest: f64) -> usize {
    if largest.is_finite() && largest > 0.0 {
        (3 - largest.log10().floor() as i32).clamp(0, 3) as usize
    } else {
        0
    }
}

/// Amplitude and phase in one cell; the phase is left out where the amplitude rounds to zero.
pub fn polar(amplitude: f64, phase_deg: f64, decimals: usize) -> String {
    let text = fixed(amplitude, decimals);
    if text.bytes().all(|b| matches!(b, b'0' | b'.')) {
        format!("{text}    -")
    } else {
        format!("{text} {:>4}", fixed(phase_deg, 0))
    }
}

/// `fixed`, or a dash where there is no number.
pub fn optional(value: Option<f64>, decimals: usize) -> String {
    fixed(value.unwrap_or(f64::NAN), decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wide_table_is_wrapped_at_the_width() {
        let rows = vec![vec!["word ".repeat(40), "1.5".into(), "x ".repeat(60)]];
        let text = table(["what", "m", "remark"], rows);
        let widest = text.lines().map(|l| l.chars().count()).max();
        assert!(widest.is_some_and(|w| w <= usize::from(WIDTH)), "{text}");
    }

    #[test]
    fn numbers_read_plainly() {
        assert_eq!(fixed(-0.0004, 2), "0.00");
        assert_eq!(fixed(f64::NAN, 2), "-");
        assert_eq!(significant(123_456.0, 3), "123456");
        assert_eq!(significant(0.012_345, 3), "0.0123");
        assert_eq!(significant(2.5e9, 3), "2.50e9");
        assert_eq!(optional(None, 1), "-");
    }
}
