//! The layers of a panel: lines, points, bars, rules, shades, shapes, words, lengths.

use super::look::{Colour, Dash, Hatch, Look};

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
    /// Draw the look's marker at about so many of the points in the frame; 0 for none.
    pub marks: usize,
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
            marks: 0,
        }
    }

    /// The same with a band.
    #[must_use]
    pub fn band(mut self, band: Vec<[f64; 2]>) -> Line {
        self.band = band;
        self
    }

    /// The same with markers at about `count` of the points in the frame.
    #[must_use]
    pub fn markers(mut self, count: usize) -> Line {
        self.marks = count;
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
    /// Where the words of an upright line stand.
    pub words: RuleWords,
    /// Colour and dash.
    pub look: Look,
}

/// Where the words of an upright line stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RuleWords {
    /// At the upper end.
    High,
    /// At the lower end, of a level line at the left one.
    Low,
    /// Above the frame, or at the upper end where the panel's heading is in the way.
    Above,
}

impl Rule {
    /// A dashed level line at `y`.
    pub fn level(at: f64, label: impl Into<String>) -> Rule {
        Rule {
            at,
            upright: false,
            label: label.into(),
            words: RuleWords::High,
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

    /// The same with its words elsewhere.
    #[must_use]
    pub fn words(mut self, words: RuleWords) -> Rule {
        self.words = words;
        self
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
    /// On a pale ground that hides what is below.
    pub on_paper: bool,
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
            on_paper: false,
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

    /// The same on a pale ground.
    #[must_use]
    pub fn on_paper(mut self) -> Note {
        self.on_paper = true;
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
    /// Where along it the words stand, 0 to 1.
    pub label_at: f64,
}

impl Dimension {
    /// A length with its words in the middle.
    pub fn new(from: [f64; 2], to: [f64; 2], label: impl Into<String>) -> Dimension {
        Dimension {
            from,
            to,
            label: label.into(),
            label_at: 0.5,
        }
    }

    /// The same with the words elsewhere along it, 0 to 1.
    #[must_use]
    pub fn label_at(mut self, share: f64) -> Dimension {
        self.label_at = share;
        self
    }
}
