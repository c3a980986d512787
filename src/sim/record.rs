//! Named columns with units.
//!
//! A [`Record`] holds what a run produced, every `interval_s`, the run-in included and flagged. All
//! memory is taken before the run starts. Column names are `subject.quantity`; subjects are the
//! craft itself (none), a point, a surface or a shaft by its name.

use std::ops::Range;

use super::orders::Happening;
use crate::control::monitor::finding::Finding;

/// One column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Name, unique in the record: `pitch`, `bridge.acc_up`, `fwd_port.angle`.
    pub name: String,
    /// SI unit, `rad` for angles, `1` for pure numbers.
    pub unit: &'static str,
    /// What a reader sees, sign included.
    pub label: String,
    /// The samples.
    pub data: Vec<f64>,
}

/// A cross-structure contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// Index of the point of the underside.
    pub point: usize,
    /// When the water reached it, s from the start of the run.
    pub begin_s: f64,
    /// How long it stayed under, s; up to the end of the run when that came first.
    pub duration_s: f64,
    /// Greatest depth below the local water surface, m.
    pub depth_m: f64,
    /// Within the run-in.
    pub in_run_in: bool,
}

/// What a run produced.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// Interval between samples, s.
    pub interval_s: f64,
    /// Samples at the beginning that belong to the run-in.
    pub run_in_samples: usize,
    /// The columns, all of one length.
    pub columns: Vec<Column>,
    /// Cross-structure contacts in the order they began.
    pub contacts: Vec<Contact>,
    /// Names of the underside points that contacts refer to.
    pub contact_points: Vec<String>,
    /// Orders, trips and locks in order of time.
    pub happenings: Vec<Happening>,
    /// What the law's monitor found, in order of time.
    pub findings: Vec<Finding>,
    /// Mean share of judged time each surface spent at its angle or rate limit, 0 to 1.
    pub saturation_frac: Vec<f64>,
}

impl Record {
    /// An empty record for samples every `interval_s`.
    pub fn new(interval_s: f64, run_in_samples: usize) -> Self {
        Record {
            interval_s,
            run_in_samples,
            ..Record::default()
        }
    }

    /// Adds a column with room for `samples`; returns its index.
    pub fn add(
        &mut self,
        name: impl Into<String>,
        unit: &'static str,
        label: impl Into<String>,
        samples: usize,
    ) -> usize {
        self.columns.push(Column {
            name: name.into(),
            unit,
            label: label.into(),
            data: Vec::with_capacity(samples),
        });
        self.columns.len() - 1
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        self.columns.first().map_or(0, |c| c.data.len())
    }

    /// True before the first sample.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Time of sample `i`, s from the start of the run.
    pub fn time_s(&self, i: usize) -> f64 {
        i as f64 * self.interval_s
    }

    /// Samples that count: those after the run-in.
    pub fn judged(&self) -> Range<usize> {
        self.run_in_samples.min(self.len())..self.len()
    }

    /// The column called `name`.
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|c| c.name == name)
    }

    /// The samples after the run-in of the column called `name`.
    pub fn judged_of(&self, name: &str) -> Option<&[f64]> {
        self.column(name).map(|c| &c.data[self.judged()])
    }

    /// Contacts after the run-in.
    pub fn judged_contacts(&self) -> impl Iterator<Item = &Contact> {
        self.contacts.iter().filter(|c| !c.in_run_in)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn run_in_is_kept_and_left_out() {
        let mut r = Record::new(0.5, 2);
        let c = r.add("pitch", "rad", "pitch, bow up", 4);
        assert!(r.is_empty() && r.judged().is_empty());
        r.columns[c].data.extend([9.0, 8.0, 1.0, 2.0]);
        assert_eq!(r.len(), 4);
        assert_eq!(r.judged_of("pitch"), Some(&[1.0, 2.0][..]));
        assert!(r.judged_of("roll").is_none());
        assert!((r.time_s(3) - 1.5).abs() < f64::EPSILON);
    }
}
