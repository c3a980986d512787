//! Rows and histories as tables for other programs: CSV and Parquet, typed, units in the names.
//!
//! Parquet as the format's authors have it (Apache Parquet 2): plain columns, snappy, no dictionary. Empty
//! cells are nulls. Rows go group by group, so memory does not grow with their number.
//!
//! # Checked by
//! `parquet_reads_back`, and pandas in tests/campaign.rs where Python has it

use std::io::Write;
use std::sync::Arc;

use parquet::basic::{Compression, Encoding, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

use super::head::Head;
use super::row::Row;
use crate::error::{Error, Result};
use crate::sim::record::Record;

/// Rows of a group.
const GROUP: usize = 4096;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Whole numbers.
    Whole,
    /// Numbers.
    Number,
    /// Words.
    Words,
    /// True or false.
    Truth,
}

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// A whole number.
    Whole(i64),
    /// A number, or none.
    Number(Option<f64>),
    /// Words.
    Words(String),
    /// True or false.
    Truth(bool),
}

/// Names and kinds of the columns of exported rows.
pub fn columns(head: &Head) -> Vec<(String, Kind)> {
    let mut out: Vec<(String, Kind)> = [
        ("case", Kind::Whole),
        ("draw", Kind::Whole),
        ("seed", Kind::Whole),
        ("craft", Kind::Words),
        ("loading", Kind::Words),
        ("speed_kn", Kind::Number),
        ("heading_deg", Kind::Number),
        ("sea", Kind::Words),
        ("fault", Kind::Words),
        ("law", Kind::Words),
        ("outcome", Kind::Words),
        ("said", Kind::Words),
        ("ended_s", Kind::Number),
        ("in_validity", Kind::Truth),
        ("warnings", Kind::Words),
    ]
    .map(|(name, kind)| (name.to_owned(), kind))
    .into();
    let drawn = head.uncertain.iter().map(|u| format!("drawn.{u}"));
    let numbers = head.columns.iter().cloned();
    out.extend(drawn.chain(numbers).map(|name| (name, Kind::Number)));
    out
}

/// Numbers of cases, draws and seeds are far below the largest of their type.
fn whole(value: u64) -> Cell {
    Cell::Whole(i64::try_from(value).unwrap_or(i64::MAX))
}

/// The cells of a row, in the order of [`columns`].
pub fn cells(head: &Head, row: &Row) -> Vec<Cell> {
    let Some(s) = head.grid.spot(row.case) else {
        return Vec::new();
    };
    let vessel = &head.grid.vessels[s.vessel];
    let words = |text: &str| Cell::Words(text.to_owned());
    let mut out = vec![
        whole(row.case as u64),
        whole(s.draw as u64),
        whole(head.seed),
        words(&vessel.craft),
        words(&vessel.loading),
        Cell::Number(Some(head.grid.speeds_kn[s.speed])),
        Cell::Number(Some(head.grid.headings_deg[s.heading])),
        words(&head.grid.seas[s.sea]),
        words(&head.grid.faults[s.fault]),
        words(&head.grid.laws[s.law]),
        words(row.outcome.words()),
        words(row.said.as_deref().unwrap_or("")),
        Cell::Number(row.ended_s),
        Cell::Truth(row.in_validity),
        Cell::Words(row.warnings.join("; ")),
    ];
    out.extend((0..head.uncertain.len()).map(|i| Cell::Number(row.drawn.get(i).copied())));
    out.extend((0..head.columns.len()).map(|i| Cell::Number(row.number(i))));
    out
}

/// Rows as CSV.
pub struct CsvTable<W: Write> {
    out: csv::Writer<W>,
}

impl<W: Write> CsvTable<W> {
    /// A table with its head written.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(out: W, columns: &[(String, Kind)]) -> Result<Self> {
        let mut out = csv::Writer::from_writer(out);
        out.write_record(columns.iter().map(|c| &c.0))
            .map_err(|e| told("CSV", &e))?;
        Ok(CsvTable { out })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn put(&mut self, cells: &[Cell]) -> Result<()> {
        let text = cells.iter().map(|c| match c {
            Cell::Whole(v) => v.to_string(),
            Cell::Number(v) => v.map_or_else(String::new, |v| v.to_string()),
            Cell::Words(w) => w.clone(),
            Cell::Truth(t) => t.to_string(),
        });
        self.out.write_record(text).map_err(|e| told("CSV", &e))
    }

    /// Writes what is left.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(mut self) -> Result<()> {
        self.out.flush().map_err(|e| told("CSV", &e))
    }
}

fn told(what: &str, e: &dyn std::fmt::Display) -> Error {
    Error::with_hint(
        format!("cannot write the {what} file: {e}"),
        "make room, or give another place with --out; nothing half written is left behind",
    )
}

/// Rows as Parquet.
pub struct ParquetTable<W: Write + Send> {
    out: SerializedFileWriter<W>,
    kinds: Vec<Kind>,
    waiting: Vec<Vec<Cell>>,
}

impl<W: Write + Send> ParquetTable<W> {
    /// A table; `about` goes into the file's own notes.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(out: W, columns: &[(String, Kind)], about: &[(&str, String)]) -> Result<Self> {
        let fail = |e: parquet::errors::ParquetError| told("Parquet", &e);
        let fields = columns
            .iter()
            .map(|(name, kind)| field(name, *kind).map(Arc::new))
            .collect::<parquet::errors::Result<Vec<_>>>()
            .map_err(fail)?;
        let schema = Type::group_type_builder("rows")
            .with_fields(fields)
            .build()
            .map_err(fail)?;
        let notes = about
            .iter()
            .map(|(k, v)| KeyValue::new((*k).to_owned(), v.clone()))
            .collect();
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_dictionary_enabled(false)
            .set_encoding(Encoding::PLAIN)
            .set_created_by(format!("ridewright {}", env!("CARGO_PKG_VERSION")))
            .set_key_value_metadata(Some(notes))
            .build();
        Ok(ParquetTable {
            out: SerializedFileWriter::new(out, Arc::new(schema), Arc::new(properties))
                .map_err(fail)?,
            kinds: columns.iter().map(|c| c.1).collect(),
            waiting: Vec::new(),
        })
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn put(&mut self, cells: Vec<Cell>) -> Result<()> {
        self.waiting.push(cells);
        if self.waiting.len() >= GROUP {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<()> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let rows = std::mem::take(&mut self.waiting);
        group(&mut self.out, &self.kinds, &rows).map_err(|e| told("Parquet", &e))
    }

    /// Writes what is left and the file's end, without which nothing can be read.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(mut self) -> Result<()> {
        self.flush()?;
        self.out
            .close()
            .map(|_| ())
            .map_err(|e| told("Parquet", &e))
    }
}

fn field(name: &str, kind: Kind) -> parquet::errors::Result<Type> {
    let (physical, logical, repetition) = match kind {
        Kind::Truth => (Physical::BOOLEAN, None, Repetition::REQUIRED),
        Kind::Whole => (Physical::INT64, None, Repetition::REQUIRED),
        Kind::Number => (Physical::DOUBLE, None, Repetition::OPTIONAL),
        Kind::Words => (
            Physical::BYTE_ARRAY,
            Some(LogicalType::String),
            Repetition::REQUIRED,
        ),
    };
    Type::primitive_type_builder(name, physical)
        .with_logical_type(logical)
        .with_repetition(repetition)
        .build()
}

fn group<W: Write + Send>(
    out: &mut SerializedFileWriter<W>,
    kinds: &[Kind],
    rows: &[Vec<Cell>],
) -> parquet::errors::Result<()> {
    let mut group = out.next_row_group()?;
    for (at, kind) in kinds.iter().enumerate() {
        let Some(mut column) = group.next_column()? else {
            break;
        };
        let cells = rows.iter().filter_map(|r| r.get(at));
        match kind {
            Kind::Whole => {
                let values: Vec<i64> = cells
                    .map(|c| if let Cell::Whole(v) = c { *v } else { 0 })
                    .collect();
                column
                    .typed::<Int64Type>()
                    .write_batch(&values, None, None)?;
            }
            Kind::Truth => {
                let values: Vec<bool> = cells.map(|c| matches!(c, Cell::Truth(true))).collect();
                column
                    .typed::<BoolType>()
                    .write_batch(&values, None, None)?;
            }
            Kind::Number => {
                let all: Vec<Option<f64>> = cells
                    .map(|c| if let Cell::Number(v) = c { *v } else { None })
                    .collect();
                let there: Vec<i16> = all.iter().map(|v| i16::from(v.is_some())).collect();
                let values: Vec<f64> = all.into_iter().flatten().collect();
                column
                    .typed::<DoubleType>()
                    .write_batch(&values, Some(&there), None)?;
            }
            Kind::Words => {
                let values: Vec<ByteArray> = cells
                    .map(|c| {
                        let text = if let Cell::Words(w) = c { w } else { "" };
                        ByteArray::from(text.as_bytes().to_vec())
                    })
                    .collect();
                column
                    .typed::<ByteArrayType>()
                    .write_batch(&values, None, None)?;
            }
        }
        column.close()?;
    }
    group.close().map(|_| ())
}

/// Columns of a time history: every column of the record, time first, unit in brackets.
pub fn history_columns(record: &Record) -> Vec<(String, Kind)> {
    let own = record.columns.iter();
    own.map(|c| (format!("{} ({})", c.name, c.unit), Kind::Number))
        .collect()
}

/// Sample `i` of a time history.
pub fn history_cells(record: &Record, i: usize) -> Vec<Cell> {
    let own = record.columns.iter().map(|c| c.data.get(i).copied());
    own.map(Cell::Number).collect()
}

#[cfg(test)]
mod tests {
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    use super::*;

    #[test]
    fn parquet_reads_back() {
        let columns = [
            ("case".to_owned(), Kind::Whole),
            ("x_m".to_owned(), Kind::Number),
            ("law".to_owned(), Kind::Words),
        ];
        let file = tempfile::tempfile().unwrap();
        let about = [("seed", "7".to_owned())];
        let mut t = ParquetTable::new(file.try_clone().unwrap(), &columns, &about).unwrap();
        let count = GROUP + 10;
        for i in (0_i32..).take(count) {
            let x = (i % 3 != 0).then_some(f64::from(i) / 3.0);
            t.put(vec![
                Cell::Whole(i64::from(i)),
                Cell::Number(x),
                Cell::Words(format!("law {}, \"é\"", i % 2)),
            ])
            .unwrap();
        }
        t.finish().unwrap();
        let reader = SerializedFileReader::new(file).unwrap();
        assert_eq!(reader.num_row_groups(), 2);
        let notes = reader.metadata().file_metadata().key_value_metadata();
        assert_eq!(notes.unwrap()[0].value.as_deref(), Some("7"));
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().collect();
        assert_eq!(rows.len(), count);
        let row = rows[4097].as_ref().unwrap();
        assert_eq!(row.get_long(0).unwrap(), 4097);
        assert_eq!(
            row.get_double(1).unwrap().to_bits(),
            (4097.0f64 / 3.0).to_bits()
        );
        assert_eq!(row.get_string(2).unwrap(), "law 1, \"é\"");
        assert!(rows[3].as_ref().unwrap().get_double(1).is_err(), "null");
    }

    #[test]
    fn csv_quotes_words() {
        let mut text = Vec::new();
        let columns = [
            ("a".to_owned(), Kind::Number),
            ("b".to_owned(), Kind::Words),
        ];
        let mut t = CsvTable::new(&mut text, &columns).unwrap();
        t.put(&[Cell::Number(None), Cell::Words("x, \"y\"".into())])
            .unwrap();
        t.put(&[Cell::Number(Some(0.1)), Cell::Words(String::new())])
            .unwrap();
        t.finish().unwrap();
        assert_eq!(
            String::from_utf8(text).unwrap(),
            "a,b\n,\"x, \"\"y\"\"\"\n0.1,\n"
        );
    }
}
