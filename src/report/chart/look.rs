//! Colours, dashes, markers and hatches: a thing is never told from another by colour alone.
//!
//! The colours are the set of Okabe and Ito (2008), "Color universal design", without its yellow,
//! which is too pale for lines on white.

/// Red, green, blue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colour(pub u8, pub u8, pub u8);

impl Colour {
    /// Text and frames.
    pub const INK: Colour = Colour(30, 30, 30);
    /// Second text.
    pub const GREY: Colour = Colour(95, 95, 95);
    /// Grids and shades.
    pub const PALE: Colour = Colour(222, 222, 222);
    /// Paper.
    pub const WHITE: Colour = Colour(255, 255, 255);
    /// Black of the set.
    pub const BLACK: Colour = Colour(0, 0, 0);
    /// Blue.
    pub const BLUE: Colour = Colour(0, 114, 178);
    /// Vermillion.
    pub const VERMILLION: Colour = Colour(213, 94, 0);
    /// Bluish green.
    pub const GREEN: Colour = Colour(0, 158, 115);
    /// Reddish purple.
    pub const PURPLE: Colour = Colour(204, 121, 167);
    /// Orange.
    pub const ORANGE: Colour = Colour(230, 159, 0);
    /// Sky blue.
    pub const SKY: Colour = Colour(86, 180, 233);

    /// A colour between this one (`t` = 0) and another.
    #[must_use]
    pub fn mixed(self, other: Colour, t: f64) -> Colour {
        let t = t.clamp(0.0, 1.0);
        let part = |a: u8, b: u8| (f64::from(a) + t * (f64::from(b) - f64::from(a))).round() as u8;
        Colour(
            part(self.0, other.0),
            part(self.1, other.1),
            part(self.2, other.2),
        )
    }

    /// A dark-to-light ramp for an ordered quantity, `t` from 0 to 1; lightness alone orders it.
    pub fn ramp(t: f64) -> Colour {
        const STOPS: [Colour; 4] = [
            Colour(15, 32, 90),
            Colour(60, 90, 130),
            Colour(150, 140, 110),
            Colour(235, 190, 60),
        ];
        let s = t.clamp(0.0, 1.0) * 3.0;
        let i = (s.floor() as usize).min(2);
        STOPS[i].mixed(STOPS[i + 1], s - i as f64)
    }
}

/// Stroke of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dash {
    /// Unbroken.
    Solid,
    /// Even dashes.
    Dashed,
    /// Dash and dot.
    DashDot,
    /// Dots.
    Dotted,
    /// Long dashes.
    Long,
    /// Dash and two dots.
    DashDotDot,
}

impl Dash {
    /// Lengths of stroke and gap in turn, px; empty for an unbroken line.
    pub(super) fn lengths(self) -> &'static [f64] {
        match self {
            Dash::Solid => &[],
            Dash::Dashed => &[6.0, 3.0],
            Dash::DashDot => &[8.0, 2.5, 1.8, 2.5],
            Dash::Dotted => &[1.8, 2.4],
            Dash::Long => &[12.0, 3.5],
            Dash::DashDotDot => &[9.0, 2.2, 1.8, 2.2, 1.8, 2.2],
        }
    }
}

/// Mark at a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Marker {
    /// None.
    None,
    /// Disc.
    Circle,
    /// Square.
    Square,
    /// Triangle, apex up.
    Triangle,
    /// Diamond.
    Diamond,
    /// Triangle, apex down.
    Down,
    /// Diagonal cross.
    Cross,
    /// Upright cross.
    Plus,
    /// A quartered disc, the centre of gravity's.
    Quartered,
    /// A ring with a dot.
    Target,
}

/// Filling of a bar or shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hatch {
    /// Flat colour.
    None,
    /// Strokes rising to the right.
    Rising,
    /// Strokes falling to the right.
    Falling,
    /// Both.
    Crossed,
    /// Level strokes.
    Level,
}

/// How one thing is told from its neighbours: colour, dash, marker and hatch together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Colour.
    pub colour: Colour,
    /// Stroke.
    pub dash: Dash,
    /// Marker.
    pub marker: Marker,
    /// Filling.
    pub hatch: Hatch,
}

impl Look {
    /// The look of the `index`-th thing of a list (laws, headings, couplings); repeats after seven.
    pub fn nth(index: usize) -> Look {
        const ALL: [(Colour, Dash, Marker, Hatch); 7] = [
            (Colour(95, 95, 95), Dash::Solid, Marker::Circle, Hatch::None),
            (Colour::BLUE, Dash::Dashed, Marker::Square, Hatch::Rising),
            (
                Colour::VERMILLION,
                Dash::DashDot,
                Marker::Triangle,
                Hatch::Falling,
            ),
            (Colour::GREEN, Dash::Long, Marker::Diamond, Hatch::Crossed),
            (Colour::PURPLE, Dash::Dotted, Marker::Down, Hatch::Level),
            (
                Colour::ORANGE,
                Dash::DashDotDot,
                Marker::Cross,
                Hatch::Rising,
            ),
            (Colour::SKY, Dash::Solid, Marker::Plus, Hatch::Falling),
        ];
        let (colour, dash, marker, hatch) = ALL[index % ALL.len()];
        Look {
            colour,
            dash,
            marker,
            hatch,
        }
    }

    /// An unbroken line without marker.
    pub fn plain(colour: Colour) -> Look {
        Look {
            colour,
            dash: Dash::Solid,
            marker: Marker::None,
            hatch: Hatch::None,
        }
    }

    /// The same with another stroke.
    #[must_use]
    pub fn dash(mut self, dash: Dash) -> Look {
        self.dash = dash;
        self
    }

    /// The same with another marker.
    #[must_use]
    pub fn marker(mut self, marker: Marker) -> Look {
        self.marker = marker;
        self
    }

    /// The same with another filling.
    #[must_use]
    pub fn hatch(mut self, hatch: Hatch) -> Look {
        self.hatch = hatch;
        self
    }
}
