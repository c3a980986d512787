//! Where everything goes on the paper: heading, legend, rows, footer.

use super::canvas::{Canvas, Px, Side, Type, text_width};
use super::clip::{Frame, dashed, hatch};
use super::layers::{mark_swatch, marker};
use super::look::{Colour, Dash, Hatch, Look};
use super::panel::{self, Plan};
use super::{Cell, Figure, Layer, Panel};

pub(super) const MARGIN: f64 = 16.0;
const TITLE: f64 = 17.0;
const SUBTITLE: f64 = 12.5;
const CAPTION: f64 = 11.0;
pub(super) const LEGEND: f64 = 11.5;
const FOOTER: f64 = 9.5;
const ROW_GAP: f64 = 10.0;
const COLUMN_GAP: f64 = 14.0;
const SWATCH: f64 = 30.0;

/// What a legend shows beside a name.
#[derive(Clone, Copy, PartialEq)]
enum Swatch {
    Stroke(Look, bool),
    Marker(Look),
    Patch(Look, f64),
}

impl Swatch {
    fn width(self) -> f64 {
        match self {
            Swatch::Marker(_) => 12.0,
            _ => SWATCH,
        }
    }
}

struct Entry {
    name: String,
    swatch: Swatch,
}

/// A drawing order: everything placed, nothing drawn.
pub(super) struct Sheet<'f> {
    figure: &'f Figure,
    title: Vec<String>,
    subtitle: Vec<String>,
    caption: Vec<String>,
    footer: Vec<String>,
    legend: Vec<Vec<Entry>>,
    top_of_rows: f64,
    pub(super) height: f64,
}

impl<'f> Sheet<'f> {
    pub(super) fn new(figure: &'f Figure) -> Sheet<'f> {
        let room = figure.width_px - 2.0 * MARGIN;
        let title = wrapped(&figure.heading.title, TITLE, true, room);
        let subtitle = wrapped(&figure.heading.subtitle, SUBTITLE, false, room);
        let caption = wrapped(&figure.heading.caption, CAPTION, false, room);
        let footer = wrapped(&figure.footer, FOOTER, false, room);
        let legend = legend_lines(entries(figure), room);
        let scale = f64::from(u8::from(figure.scale.is_some()));
        let head = 12.0
            + title.len() as f64 * 1.3 * TITLE
            + subtitle.len() as f64 * 1.4 * SUBTITLE
            + caption.len() as f64 * 1.4 * CAPTION;
        let top_of_rows = head + (legend.len() as f64 + scale) * 1.6 * LEGEND + 8.0;
        let rows: f64 = figure.rows.iter().map(|r| r.height_px + ROW_GAP).sum();
        let height = top_of_rows + rows + footer.len() as f64 * 1.35 * FOOTER + 10.0;
        Sheet {
            figure,
            title,
            subtitle,
            caption,
            footer,
            legend,
            top_of_rows,
            height: height.ceil(),
        }
    }

    pub(super) fn draw(&self, c: &mut Canvas<'_>) {
        c.rect(
            [0.0, 0.0],
            [self.figure.width_px, self.height],
            Colour::WHITE,
            1.0,
        );
        let y = self.draw_head(c);
        let y = self.draw_legend(c, y);
        self.draw_scale(c, y);
        self.draw_rows(c);
        let mut y = self.height - 8.0 - (self.footer.len() as f64 - 1.0) * 1.35 * FOOTER;
        for line in &self.footer {
            c.text([MARGIN, y], line, Type::new(FOOTER).colour(Colour::GREY));
            y += 1.35 * FOOTER;
        }
    }

    fn draw_head(&self, c: &mut Canvas<'_>) -> f64 {
        let mut y = 12.0;
        let parts = [
            (&self.title, TITLE, 1.3, true, Colour::INK),
            (&self.subtitle, SUBTITLE, 1.4, false, Colour::INK),
            (&self.caption, CAPTION, 1.4, false, Colour::GREY),
        ];
        for (lines, size, pitch, bold, colour) in parts {
            for line in lines {
                let mut look = Type::new(size).colour(colour);
                look.bold = bold;
                c.text([MARGIN, y + size], line, look);
                y += pitch * size;
            }
        }
        y
    }

    fn draw_legend(&self, c: &mut Canvas<'_>, mut y: f64) -> f64 {
        for line in &self.legend {
            y += 1.6 * LEGEND;
            let mut x = MARGIN;
            for e in line {
                swatch(c, [x, y - 0.36 * LEGEND], e.swatch);
                c.text([x + e.swatch.width() + 6.0, y], &e.name, Type::new(LEGEND));
                x += entry_width(e);
            }
        }
        y
    }

    fn draw_scale(&self, c: &mut Canvas<'_>, y: f64) {
        let Some(scale) = &self.figure.scale else {
            return;
        };
        let y = y + 1.6 * LEGEND;
        c.text([MARGIN, y], &scale.label, Type::new(LEGEND));
        let mut x = MARGIN + text_width(&scale.label, LEGEND, false) + 10.0;
        for (name, colour) in &scale.steps {
            let (l, t, r, b) = (x, y - 10.0, x + 14.0, y + 1.0);
            c.rect([l, t], [r, b], *colour, 1.0);
            // an edge, so that a white step is seen on white paper
            let ring = [[l, t], [r, t], [r, b], [l, b], [l, t]];
            c.line(&ring, 0.5, Colour::GREY);
            c.text([x + 18.0, y], name, Type::new(LEGEND));
            x += 18.0 + text_width(name, LEGEND, false) + 12.0;
        }
    }

    fn draw_rows(&self, c: &mut Canvas<'_>) {
        let mut top = self.top_of_rows;
        let margins = self.left_margins();
        for (row, lefts) in self.figure.rows.iter().zip(&margins) {
            let shares: f64 = row.cells.iter().map(|x| x.0).sum();
            let gaps = COLUMN_GAP * (row.cells.len() as f64 - 1.0);
            let room = self.figure.width_px - 2.0 * MARGIN - gaps;
            let mut x = MARGIN;
            for ((share, cell), left) in row.cells.iter().zip(lefts) {
                let width = room * share / shares;
                let frame = Frame {
                    left: x,
                    top,
                    right: x + width,
                    bottom: top + row.height_px,
                };
                match cell {
                    Cell::Panel(p) => panel::draw(c, p, &frame, *left),
                    Cell::Words { heading, lines } => words(c, &frame, heading, lines),
                }
                x += width + COLUMN_GAP;
            }
            top += row.height_px + ROW_GAP;
        }
    }

    /// Panels above each other share the margin left of their frames.
    fn left_margins(&self) -> Vec<Vec<f64>> {
        let rows = &self.figure.rows;
        let own: Vec<Vec<f64>> = rows
            .iter()
            .map(|r| {
                let cells = r.cells.iter();
                cells.map(|(_, x)| left_margin(x, r.height_px)).collect()
            })
            .collect();
        let shape = |i: usize| -> Vec<f64> { rows[i].cells.iter().map(|x| x.0).collect() };
        (0..rows.len())
            .map(|i| {
                (0..own[i].len())
                    .map(|k| {
                        let alike = (0..rows.len()).filter(|j| shape(*j) == shape(i));
                        alike.map(|j| own[j][k]).fold(0.0, f64::max)
                    })
                    .collect()
            })
            .collect()
    }
}

/// `height` is the cell's: about the frame's, which decides the number of ticks.
fn left_margin(cell: &Cell, height: f64) -> f64 {
    match cell {
        Cell::Panel(p) => Plan::of(p).left_margin(height),
        Cell::Words { .. } => 0.0,
    }
}

fn words(c: &mut Canvas<'_>, frame: &Frame, heading: &str, lines: &[(String, String)]) {
    const SIZE: f64 = 11.0;
    let mut y = frame.top + 14.0;
    c.text([frame.left, y], heading, Type::new(12.0).bold());
    y += 7.0;
    let rule = [[frame.left, y], [frame.right, y]];
    c.line(&rule, 0.8, Colour::GREY);
    for (name, value) in lines {
        y += 1.5 * SIZE;
        c.text([frame.left, y], name, Type::new(SIZE));
        let right = Type::new(SIZE).side(Side::Right);
        c.text([frame.right, y], value, right);
    }
}

/// Words broken into lines no wider than `room`; a line break in the text is kept.
pub(super) fn wrapped(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    for part in text.split('\n').filter(|p| !p.is_empty()) {
        let mut line = String::new();
        for word in part.split(' ') {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if !line.is_empty() && text_width(&longer, size, bold) > room {
                lines.push(std::mem::replace(&mut line, word.to_owned()));
            } else {
                line = longer;
            }
        }
        lines.push(line);
    }
    lines
}

fn entries(figure: &Figure) -> Vec<Entry> {
    let mut all: Vec<Entry> = Vec::new();
    let mut add = |name: &str, swatch: Swatch| {
        if !name.is_empty() && all.iter().all(|e| e.name != name) {
            all.push(Entry {
                name: name.to_owned(),
                swatch,
            });
        }
    };
    for cell in figure.rows.iter().flat_map(|r| &r.cells) {
        let Cell::Panel(panel) = &cell.1 else {
            continue;
        };
        for layer in &panel.layers {
            match layer {
                Layer::Line(l) => add(&l.name, Swatch::Stroke(l.look, l.marks > 0)),
                Layer::Points(p) => add(&p.name, Swatch::Marker(p.look)),
                Layer::Bars(b) => b
                    .iter()
                    .for_each(|s| add(&s.name, Swatch::Patch(s.look, 1.0))),
                Layer::Stack(s) => s
                    .parts
                    .iter()
                    .for_each(|p| add(&p.0, Swatch::Patch(p.1, 1.0))),
                Layer::Shape(s) if s.closed && s.fill > 0.0 => {
                    add(&s.name, Swatch::Patch(s.look, s.fill));
                }
                Layer::Shape(s) => add(&s.name, Swatch::Stroke(s.look, false)),
                _ => {}
            }
        }
    }
    all
}

fn entry_width(e: &Entry) -> f64 {
    e.swatch.width() + 6.0 + text_width(&e.name, LEGEND, false) + 16.0
}

fn legend_lines(entries: Vec<Entry>, room: f64) -> Vec<Vec<Entry>> {
    let mut lines: Vec<Vec<Entry>> = Vec::new();
    let mut used = f64::MAX;
    for e in entries {
        let w = entry_width(&e);
        if used + w > room + 16.0 {
            lines.push(Vec::new());
            used = 0.0;
        }
        used += w;
        if let Some(line) = lines.last_mut() {
            line.push(e);
        }
    }
    lines
}

fn swatch(c: &mut Canvas<'_>, at: Px, kind: Swatch) {
    let [x, y] = at;
    match kind {
        Swatch::Stroke(look, marked) => {
            stroke(c, &[[x, y], [x + SWATCH, y]], look.colour, look.dash, 1.8);
            if marked {
                marker(c, [x + 0.5 * SWATCH, y], look.marker, 7.0, look.colour);
            }
        }
        Swatch::Marker(look) => mark_swatch(c, [x + 0.5 * kind.width(), y], look),
        Swatch::Patch(look, fill) => {
            let (l, t, r, b) = (x + 4.0, y - 5.5, x + SWATCH - 2.0, y + 5.5);
            let box_ = [[l, t], [r, t], [r, b], [l, b]];
            patch(c, &box_, look, fill);
            let ring = [[l, t], [r, t], [r, b], [l, b], [l, t]];
            stroke(c, &ring, look.colour, look.dash_of_outline(), 1.0);
        }
    }
}

impl Look {
    /// Bars keep an unbroken outline; shapes drawn as hidden do not.
    fn dash_of_outline(self) -> Dash {
        if self.hatch == Hatch::None && self.dash == Dash::Dashed {
            Dash::Dashed
        } else {
            Dash::Solid
        }
    }
}

/// A filled and hatched area without outline.
pub(super) fn patch(c: &mut Canvas<'_>, points: &[Px], look: Look, fill: f64) {
    if fill <= 0.0 {
        return;
    }
    let pale = match look.hatch {
        Hatch::None => 1.0,
        _ => 0.3,
    };
    let colour = Colour::WHITE.mixed(look.colour, fill * pale);
    c.fill(points, colour, 1.0);
    for s in hatch(points, look.hatch, 5.0) {
        c.line(&s, 1.0, Colour::WHITE.mixed(look.colour, fill.max(0.5)));
    }
}

/// A line with a dash pattern.
pub(super) fn stroke(c: &mut Canvas<'_>, points: &[Px], colour: Colour, dash: Dash, width: f64) {
    for s in dashed(points, dash.lengths()) {
        c.line(&s, width, colour);
    }
}

/// Any legend at all, for tests.
#[cfg(test)]
pub(super) fn legend_names(figure: &Figure) -> Vec<String> {
    entries(figure).into_iter().map(|e| e.name).collect()
}

/// The panels of a figure.
pub(super) fn panels(figure: &Figure) -> impl Iterator<Item = &Panel> {
    figure
        .rows
        .iter()
        .flat_map(|r| &r.cells)
        .filter_map(|c| match &c.1 {
            Cell::Panel(p) => Some(p.as_ref()),
            Cell::Words { .. } => None,
        })
}
