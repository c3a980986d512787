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
mod layers;
mod layout;
mod look;
mod panel;
#[cfg(test)]
pub(crate) mod tests;
mod ticks;
mod write;

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
    /// An axis whose range is found from the data.
    pub fn new(label: impl Into<String>, unit: impl Into<String>) -> Axis {
        Axis {
            label: label.into(),
            unit: unit.into(),
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

/// One thing drawn in a panel.
#[derive(Clone, Debug, PartialEq)]
pub enum Layer {
    /// A line, perhaps with a band.
    Line(Line),
    /// Points, perhaps with intervals.
    Points(Points),
    /// Bars side by side over categories.
    Bars(Vec<BarSeries>),
    /// Parts stacked up from zero, negative ones down.
    Stack(Stack),
    /// A straight line across the panel.
    Rule(Rule),
    /// A shaded strip.
    Shade(Shade),
    /// An outline, perhaps filled.
    Shape(Shape),
    /// Words at a place.
    Note(Note),
    /// A length with arrows.
    Dimension(Dimension),
}

macro_rules! layer_from {
    ($($kind:ident),*) => {$(
        impl From<$kind> for Layer {
            fn from(layer: $kind) -> Layer {
                Layer::$kind(layer)
            }
        }
    )*};
}
layer_from!(Line, Points, Stack, Rule, Shade, Shape, Note, Dimension);

/// A line through points.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// In the legend; empty keeps it out.
    pub name: String,
    /// Colour, dash, marker.
    pub look: Look,
    /// Points; a value that is no number breaks the line.
    pub xy: Vec<[f64; 2]>,
    /// Low and high of the band at each point; empty without one.
    pub band: Vec<[f64; 2]>,
    /// Width, px.
    pub width_px: f64,
    /// Draw the look's marker every so many points; 0 for none.
    pub mark_every: usize,
}

impl Line {
    /// A line without markers.
    pub fn new(name: impl Into<String>, look: Look, xy: Vec<[f64; 2]>) -> Line {
        Line {
            name: name.into(),
            look,
            xy,
            band: Vec::new(),
            width_px: 1.7,
            mark_every: 0,
        }
    }

    /// The same with a band.
    #[must_use]
    pub fn band(mut self, band: Vec<[f64; 2]>) -> Line {
        self.band = band;
        self
    }

    /// The same with markers at about `count` points.
    #[must_use]
    pub fn markers(mut self, count: usize) -> Line {
        self.mark_every = (self.xy.len() / count.max(1)).max(1);
        self
    }

    /// The same of another width.
    #[must_use]
    pub fn width(mut self, width_px: f64) -> Line {
        self.width_px = width_px;
        self
    }
}

/// Points without a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// In the legend; empty keeps it out.
    pub name: String,
    /// Colour and marker.
    pub look: Look,
    /// Places.
    pub xy: Vec<[f64; 2]>,
    /// Low and high at each point; empty without intervals.
    pub interval: Vec<[f64; 2]>,
    /// Size of the marker, px.
    pub size_px: f64,
    /// Colour of each point, where it stands for a quantity; empty for the look's.
    pub colours: Vec<Colour>,
}

impl Points {
    /// Points without intervals.
    pub fn new(name: impl Into<String>, look: Look, xy: Vec<[f64; 2]>) -> Points {
        Points {
            name: name.into(),
            look,
            xy,
            interval: Vec::new(),
            size_px: 7.0,
            colours: Vec::new(),
        }
    }
}

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub enum Bar {
    /// A value, perhaps with its interval.
    Value {
        /// Value.
        value: f64,
        /// Low and high.
        interval: Option<[f64; 2]>,
    },
    /// No value, and the words why: `run ended`.
    Words(String),
    /// Nothing.
    Missing,
}

/// The bars of one law over all categories.
#[derive(Clone, Debug, PartialEq)]
pub struct BarSeries {
    /// In the legend.
    pub name: String,
    /// Colour and hatch.
    pub look: Look,
    /// One a category.
    pub bars: Vec<Bar>,
}

/// Parts stacked at several x.
#[derive(Clone, Debug, PartialEq)]
pub struct Stack {
    /// Places.
    pub x: Vec<f64>,
    /// Width of a bar in units of x.
    pub width: f64,
    /// Name, look, value at each place.
    pub parts: Vec<(String, Look, Vec<f64>)>,
}

/// A straight line across the panel.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Where on the axis that it is square to.
    pub at: f64,
    /// Upright (at an x) or level (at a y).
    pub upright: bool,
    /// Words beside it; may be empty.
    pub label: String,
    /// Colour and dash.
    pub look: Look,
}

impl Rule {
    /// A dashed level line at `y`.
    pub fn level(at: f64, label: impl Into<String>) -> Rule {
        Rule {
            at,
            upright: false,
            label: label.into(),
            look: Look::plain(Colour::GREY).dash(Dash::Dashed),
        }
    }

    /// A dashed upright line at `x`.
    pub fn upright(at: f64, label: impl Into<String>) -> Rule {
        Rule {
            upright: true,
            ..Rule::level(at, label)
        }
    }

    /// The same with another look.
    #[must_use]
    pub fn look(mut self, look: Look) -> Rule {
        self.look = look;
        self
    }
}

/// A shaded strip between two x (the whole height) and two y (the whole width).
#[derive(Clone, Debug, PartialEq)]
pub struct Shade {
    /// From and to across; the whole panel when absent.
    pub x: Option<[f64; 2]>,
    /// From and to up.
    pub y: Option<[f64; 2]>,
    /// Words in its upper corner; may be empty.
    pub label: String,
    /// Colour; drawn pale.
    pub colour: Colour,
    /// Filling.
    pub hatch: Hatch,
}

/// An outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// In the legend; empty keeps it out.
    pub name: String,
    /// Outline.
    pub look: Look,
    /// Corners.
    pub points: Vec<[f64; 2]>,
    /// The last corner joins the first.
    pub closed: bool,
    /// Share of the colour in the filling, 0 for none.
    pub fill: f64,
    /// Width of the outline, px.
    pub width_px: f64,
}

impl Shape {
    /// A closed outline without filling.
    pub fn closed(look: Look, points: Vec<[f64; 2]>) -> Shape {
        Shape {
            name: String::new(),
            look,
            points,
            closed: true,
            fill: 0.0,
            width_px: 1.2,
        }
    }

    /// An open line.
    pub fn open(look: Look, points: Vec<[f64; 2]>) -> Shape {
        Shape {
            closed: false,
            ..Shape::closed(look, points)
        }
    }

    /// The same, filled.
    #[must_use]
    pub fn fill(mut self, share: f64) -> Shape {
        self.fill = share;
        self
    }

    /// The same, in the legend.
    #[must_use]
    pub fn name(mut self, name: impl Into<String>) -> Shape {
        self.name = name.into();
        self
    }

    /// The same of another width.
    #[must_use]
    pub fn width(mut self, width_px: f64) -> Shape {
        self.width_px = width_px;
        self
    }
}

/// Words at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// Place.
    pub at: [f64; 2],
    /// Words.
    pub text: String,
    /// Where the words stand: share of their width and height left of and above the place, plus
    /// px: `[-1, 0]` right-aligned; `[0, 0]` begins there.
    pub lean: [f64; 2],
    /// Shift, px, y down.
    pub shift_px: [f64; 2],
    /// Colour.
    pub colour: Colour,
    /// Em, px.
    pub size_px: f64,
    /// Move to a free place nearby, or leave out when there is none.
    pub yields: bool,
}

impl Note {
    /// Words that begin at a place.
    pub fn new(at: [f64; 2], text: impl Into<String>) -> Note {
        Note {
            at,
            text: text.into(),
            lean: [0.0, -0.5],
            shift_px: [0.0, 0.0],
            colour: Colour::INK,
            size_px: 10.5,
            yields: false,
        }
    }

    /// The same, leaning: `[-0.5, -0.5]` is centred, `[-1, -0.5]` ends at the place, `[-0.5, -1]`
    /// stands above it.
    #[must_use]
    pub fn lean(mut self, across: f64, down: f64) -> Note {
        self.lean = [across, down];
        self
    }

    /// The same, shifted by px (y down).
    #[must_use]
    pub fn shift(mut self, across: f64, down: f64) -> Note {
        self.shift_px = [across, down];
        self
    }

    /// The same in another colour.
    #[must_use]
    pub fn colour(mut self, colour: Colour) -> Note {
        self.colour = colour;
        self
    }

    /// The same of another size.
    #[must_use]
    pub fn size(mut self, size_px: f64) -> Note {
        self.size_px = size_px;
        self
    }

    /// The same, giving way to other notes.
    #[must_use]
    pub fn yielding(mut self) -> Note {
        self.yields = true;
        self
    }
}

/// A length with arrows and its words.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimension {
    /// One end.
    pub from: [f64; 2],
    /// The other; level with it or upright above it.
    pub to: [f64; 2],
    /// Words.
    pub label: String,
}
