//! Axes, lines, bars: one look for all pictures.
//!
//! A [`Figure`] is plain data: rows of cells, each a [`Panel`] of layers or a table of words. It is
//! laid out and drawn twice, as PNG (twice the size in pixels) and as SVG, by [`Figure::write`].
//! Things are told apart by dash, marker and hatch as well as by colour. The drawing library hides
//! in the `canvas` room; nothing outside this folder knows it.
//!
//! # Checked by
//! `figure_is_written_twice_alike`, `labels_are_in_the_svg`, `failure_names_the_file`, and the
//! pictures' own tests

mod canvas;
mod clip;
mod layer;
mod layers;
mod layout;
mod look;
mod panel;
#[cfg(test)]
pub(crate) mod tests;
mod ticks;
mod write;

pub use self::layer::{
    Bar, BarSeries, Dimension, Layer, Line, Note, Points, Rule, RuleWords, Shade, Shape, Stack,
};
pub use self::look::{Colour, Dash, Hatch, Look, Marker};

/// Words at the head of a picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heading {
    /// What is shown.
    pub title: String,
    /// Craft, speed, sea: whatever holds for the whole picture.
    pub subtitle: String,
    /// Said in small print below, `Invented demonstration craft`; may be empty.
    pub caption: String,
}

impl Heading {
    /// A heading of three texts.
    pub fn new(
        title: impl Into<String>,
        subtitle: impl Into<String>,
        caption: impl Into<String>,
    ) -> Self {
        Heading {
            title: title.into(),
            subtitle: subtitle.into(),
            caption: caption.into(),
        }
    }
}

/// A picture: a heading, a legend, rows of cells and a caution.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Words at the head.
    pub heading: Heading,
    /// Small print at the foot; the general caution unless changed.
    pub footer: String,
    /// Width, px; the PNG has twice as many.
    pub width_px: f64,
    /// Rows from the top.
    pub rows: Vec<Row>,
    /// A scale of colours shown with the legend.
    pub scale: Option<ColourScale>,
}

/// Colours that stand for an ordered quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct ColourScale {
    /// What the colours mean, `speed (kn)`.
    pub label: String,
    /// Words and colours in order.
    pub steps: Vec<(String, Colour)>,
}

/// Cells side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Height, px.
    pub height_px: f64,
    /// Cells and their shares of the width.
    pub cells: Vec<(f64, Cell)>,
}

impl Row {
    /// Panels of equal width.
    pub fn of(height_px: f64, panels: Vec<Panel>) -> Row {
        let cells = panels.into_iter().map(|p| (1.0, Cell::Panel(Box::new(p))));
        Row {
            height_px,
            cells: cells.collect(),
        }
    }
}

/// What stands in a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// A pair of axes with layers.
    Panel(Box<Panel>),
    /// A table of names and values.
    Words {
        /// Above the table.
        heading: String,
        /// Name and value.
        lines: Vec<(String, String)>,
    },
}

/// An axis.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Axis {
    /// Quantity, with its sign convention where it could be taken either way.
    pub label: String,
    /// Unit; empty for numbers without one.
    pub unit: String,
    /// First and last value; found from the data when absent. May run backwards.
    pub range: Option<[f64; 2]>,
    /// Values that a range found from the data must hold.
    pub include: Vec<f64>,
    /// Distance of ticks; found when absent.
    pub step: Option<f64>,
    /// Logarithmic.
    pub log: bool,
    /// Names at 0, 1, 2 … in place of numbers.
    pub categories: Vec<String>,
    /// Without tick labels and label, because another axis shows them.
    pub quiet: bool,
}

impl Axis {
    /// An axis whose range is found from the data. Squares of seconds are set as such.
    pub fn new(label: impl Into<String>, unit: impl Into<String>) -> Axis {
        Axis {
            label: label.into(),
            unit: unit.into().replace("/s2", "/s²"),
            ..Axis::default()
        }
    }

    /// The same from `first` to `last`.
    #[must_use]
    pub fn range(mut self, first: f64, last: f64) -> Axis {
        self.range = Some([first, last]);
        self
    }

    /// The same holding zero.
    #[must_use]
    pub fn with_zero(mut self) -> Axis {
        self.include.push(0.0);
        self
    }

    /// The same with ticks `step` apart.
    #[must_use]
    pub fn step(mut self, step: f64) -> Axis {
        self.step = Some(step);
        self
    }

    /// The same, logarithmic.
    #[must_use]
    pub fn log(mut self) -> Axis {
        self.log = true;
        self
    }

    /// The same without words.
    #[must_use]
    pub fn quiet(mut self) -> Axis {
        self.quiet = true;
        self
    }

    /// Label and unit together.
    pub fn words(&self) -> String {
        if self.unit.is_empty() {
            self.label.clone()
        } else {
            format!("{} ({})", self.label, self.unit)
        }
    }
}

/// A pair of axes and what is drawn between them, first layer lowest.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Panel {
    /// Above the panel.
    pub heading: String,
    /// Across.
    pub x: Axis,
    /// Up.
    pub y: Axis,
    /// What is drawn.
    pub layers: Vec<Layer>,
    /// One metre is as long on either axis; the ranges grow to fill the cell.
    pub equal: bool,
    /// Without frame, ticks and grid.
    pub bare: bool,
}

impl Panel {
    /// An empty panel.
    pub fn new(heading: impl Into<String>, x: Axis, y: Axis) -> Panel {
        Panel {
            heading: heading.into(),
            x,
            y,
            ..Panel::default()
        }
    }

    /// The same with another layer on top.
    #[must_use]
    pub fn with(mut self, layer: impl Into<Layer>) -> Panel {
        self.layers.push(layer.into());
        self
    }

    /// Adds a layer on top.
    pub fn add(&mut self, layer: impl Into<Layer>) {
        self.layers.push(layer.into());
    }
}
