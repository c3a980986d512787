//! Tables that read well at 100 columns.

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table, presets};

/// Columns a table may take.
pub const WIDTH: u16 = 100;

/// A table: heads with their units, rows of text. The first column is flush left, the others,
/// numbers mostly, flush right.
pub fn table<H, R>(heads: H, rows: R) -> String
where
    H: IntoIterator<Item = &'static str>,
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
    let mut table = Table::new();
    table
        .load_style(presets::UTF8_FULL_CONDENSED)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(WIDTH)
        .set_header(cells(heads.into_iter().map(str::to_owned).collect()));
    for row in rows {
        table.add_row(cells(row));
    }
    table.to_string()
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
}
