//! Filters on the demands of the feedback.
//!
//! # Equation
//! The notch and second-order low-pass of [`crate::control::filter`], one after the other.
//!
//! # Symbols
//! As there.
//!
//! # Valid when
//! The frequency lies below 0.9 pi over the sample period: above it is refused on reset.
//!
//! # Source
//! As there.
//!
//! # Checked by
//! `filters_act_on_their_mode`, `linear_form_is_the_law_itself` (tests/controllers/linear_form.rs)

use crate::control::allocate::Demand;
use crate::control::filter::Section;
use crate::control::linear::{Diagram, Line};
use crate::error::{Problem, Result};
use crate::spec::controller::{FilterKind, FilterSpec, FilteredMode};

/// Part of the Nyquist frequency up to which filters are built.
const MOST_OF_NYQUIST: f64 = 0.9;

/// A filter on one demand or on all; heave and ride are filtered alike.
#[derive(Clone, Copy, Debug)]
pub(super) struct DemandFilter {
    mode: FilteredMode,
    heave: [Section; 2],
    pitch: Section,
    roll: Section,
}

/// The filters of a file.
///
/// # Errors
/// A frequency too high for the sample period.
pub(super) fn filters(specs: &[FilterSpec], period_s: f64) -> Result<Vec<DemandFilter>> {
    let most = MOST_OF_NYQUIST * std::f64::consts::PI / period_s;
    let mut bad = Vec::new();
    let mut all = Vec::with_capacity(specs.len());
    for (i, s) in specs.iter().enumerate() {
        if s.frequency_rad_s > most {
            bad.push(Problem::at(
                format!("law.pid.filters[{i}].frequency_rad_s"),
                format!(
                    "is {} rad/s, must be at most {most:.1} rad/s with a sample period of {period_s} s",
                    s.frequency_rad_s
                ),
            ));
        }
        let section = match s.kind {
            FilterKind::Notch => Section::notch(
                s.frequency_rad_s,
                s.damping_ratio,
                s.depth_frac.unwrap_or(0.0),
                period_s,
            ),
            FilterKind::LowPass => {
                Section::low_pass_2(s.frequency_rad_s, s.damping_ratio, period_s)
            }
        };
        all.push(DemandFilter {
            mode: s.mode,
            heave: [section; 2],
            pitch: section,
            roll: section,
        });
    }
    if bad.is_empty() {
        Ok(all)
    } else {
        Err(bad.into())
    }
}

impl DemandFilter {
    fn on(&self, mode: FilteredMode) -> bool {
        self.mode == FilteredMode::All || self.mode == mode
    }

    /// One sample.
    pub(super) fn step(&mut self, d: &mut Demand) {
        if self.on(FilteredMode::Heave) {
            d.heave_rad = self.heave[0].step(d.heave_rad);
            d.ride_rad = self.heave[1].step(d.ride_rad);
        }
        if self.on(FilteredMode::Pitch) {
            d.pitch_rad = self.pitch.step(d.pitch_rad);
        }
        if self.on(FilteredMode::Roll) {
            d.roll_rad = self.roll.step(d.roll_rad);
        }
    }

    /// As if `d` had been asked for ever; both filters leave steady demands alone.
    pub(super) fn settle(&mut self, d: &Demand) {
        self.heave[0].settle(d.heave_rad);
        self.heave[1].settle(d.ride_rad);
        self.pitch.settle(d.pitch_rad);
        self.roll.settle(d.roll_rad);
    }

    /// As lines: heave with ride, pitch, roll.
    pub(super) fn draw(&self, diagram: &mut Diagram, demand: &mut [Line; 3]) {
        let sections = [
            (FilteredMode::Heave, &self.heave[0]),
            (FilteredMode::Pitch, &self.pitch),
            (FilteredMode::Roll, &self.roll),
        ];
        for ((mode, section), line) in sections.into_iter().zip(demand) {
            if self.on(mode) {
                *line = diagram.section(section, line);
            }
        }
    }
}
