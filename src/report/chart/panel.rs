//! One panel: ranges, frame, ticks, grid, and the order in which things are drawn.

use super::canvas::{Canvas, Px, Side, Type, text_width};
use super::clip::Frame;
use super::layers;
use super::look::Colour;
use super::ticks::{decade, decades, decimals_of, multiples, number, round_step};
use super::{Axis, Bar, Layer, Panel, Rule};

const TICK: f64 = 11.0;
const LABEL: f64 = 11.5;
pub(super) const HEADING: f64 = 12.0;
/// Least distance of ticks, px.
const X_PITCH: f64 = 55.0;

/// One axis laid along the paper.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) first: f64,
    pub(super) last: f64,
    from: f64,
    to: f64,
    log: bool,
}

impl Span {
    pub(super) fn at(&self, v: f64) -> f64 {
        let f = |v: f64| if self.log { v.max(1e-300).log10() } else { v };
        let (a, b) = (f(self.first), f(self.last));
        self.from + (f(v) - a) / (b - a) * (self.to - self.from)
    }
}

/// Paper and numbers of one panel.
pub(super) struct Map {
    pub(super) frame: Frame,
    pub(super) x: Span,
    pub(super) y: Span,
}

impl Map {
    pub(super) fn at(&self, p: [f64; 2]) -> Px {
        [self.x.at(p[0]), self.y.at(p[1])]
    }
}

/// Ranges of a panel, before it is placed.
pub(super) struct Plan<'p> {
    panel: &'p Panel,
    x: [f64; 2],
    y: [f64; 2],
}

impl<'p> Plan<'p> {
    pub(super) fn of(panel: &'p Panel) -> Plan<'p> {
        let (xs, ys) = extents(panel);
        Plan {
            panel,
            x: range(&panel.x, &xs, 0.0),
            y: range(&panel.y, &ys, bar_room(panel).unwrap_or(0.07)),
        }
    }

    /// Room left of the frame for the words of the y axis.
    pub(super) fn left_margin(&self, height: f64) -> f64 {
        if self.panel.bare {
            return 0.0;
        }
        let widest = ticks(&self.panel.y, self.y, height, y_pitch(height))
            .into_iter()
            .filter_map(|t| t.1)
            .map(|t| text_width(&t, TICK, false))
            .fold(0.0, f64::max);
        if self.panel.y.quiet {
            10.0
        } else {
            widest + 8.0 + 1.6 * LABEL
        }
    }

    fn map(mut self, frame: Frame) -> Map {
        if self.panel.equal {
            let scale = (frame.width() / (self.x[1] - self.x[0]).abs())
                .min(frame.height() / (self.y[1] - self.y[0]).abs());
            self.x = grown(self.x, frame.width() / scale);
            self.y = grown(self.y, frame.height() / scale);
        }
        Map {
            frame,
            x: Span {
                first: self.x[0],
                last: self.x[1],
                from: frame.left,
                to: frame.right,
                log: self.panel.x.log,
            },
            y: Span {
                first: self.y[0],
                last: self.y[1],
                from: frame.bottom,
                to: frame.top,
                log: self.panel.y.log,
            },
        }
    }
}

fn grown(r: [f64; 2], length: f64) -> [f64; 2] {
    let more = 0.5 * (length - (r[1] - r[0]).abs()) * (r[1] - r[0]).signum();
    [r[0] - more, r[1] + more]
}

/// Room above bars for their values, which stand upright when there are many.
fn bar_room(panel: &Panel) -> Option<f64> {
    let count = panel.layers.iter().find_map(|l| match l {
        Layer::Bars(all) => Some(all.iter().map(|s| s.bars.len()).sum::<usize>()),
        _ => None,
    })?;
    Some(if count >= 12 { 0.26 } else { 0.14 })
}

/// Least distance of ticks, px: low panels get more of them for their height.
fn y_pitch(height: f64) -> f64 {
    if height < 130.0 { 21.0 } else { 26.0 }
}

/// All values that a range should hold.
fn extents(panel: &Panel) -> (Vec<f64>, Vec<f64>) {
    let (mut xs, mut ys) = (Vec::new(), Vec::new());
    let mut both = |p: &[f64; 2]| {
        xs.push(p[0]);
        ys.push(p[1]);
    };
    for layer in &panel.layers {
        match layer {
            Layer::Line(l) => {
                l.xy.iter().for_each(&mut both);
                for (p, b) in l.xy.iter().zip(&l.band) {
                    both(&[p[0], b[0]]);
                    both(&[p[0], b[1]]);
                }
            }
            Layer::Points(l) => {
                l.xy.iter().for_each(&mut both);
                for (p, b) in l.xy.iter().zip(&l.interval) {
                    both(&[p[0], b[0]]);
                    both(&[p[0], b[1]]);
                }
            }
            Layer::Shape(s) => s.points.iter().for_each(&mut both),
            Layer::Note(n) => both(&n.at),
            Layer::Dimension(d) => {
                both(&d.from);
                both(&d.to);
            }
            Layer::Bars(all) => {
                for bar in all.iter().flat_map(|s| &s.bars) {
                    if let Bar::Value { value, interval } = bar {
                        both(&[f64::NAN, *value]);
                        both(&[f64::NAN, interval.map_or(0.0, |i| i[1])]);
                    }
                }
                both(&[f64::NAN, 0.0]);
            }
            Layer::Stack(s) => {
                for (i, x) in s.x.iter().enumerate() {
                    let of = |sign: f64| -> f64 {
                        let all = s.parts.iter().filter_map(|p| p.2.get(i));
                        sign * all.map(|v| (sign * v).max(0.0)).sum::<f64>()
                    };
                    both(&[x - 0.6 * s.width, of(1.0)]);
                    both(&[x + 0.6 * s.width, of(-1.0)]);
                }
            }
            Layer::Rule(Rule { at, upright, .. }) => {
                both(&if *upright {
                    [*at, f64::NAN]
                } else {
                    [f64::NAN, *at]
                });
            }
            Layer::Shade(_) => {}
        }
    }
    (xs, ys)
}

fn range(axis: &Axis, values: &[f64], room: f64) -> [f64; 2] {
    if let Some(r) = axis.range {
        return r;
    }
    if !axis.categories.is_empty() {
        return [-0.5, axis.categories.len() as f64 - 0.5];
    }
    let useful = |v: &&f64| v.is_finite() && (!axis.log || **v > 0.0);
    let all = values.iter().chain(&axis.include).filter(useful);
    let (low, high) = all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    if low > high {
        return if axis.log { [0.1, 1.0] } else { [0.0, 1.0] };
    }
    if axis.log {
        let more = (high / low).powf(room).max(1.001);
        return [low / more, high * more];
    }
    let spread = high - low;
    if spread <= 1e-9 * high.abs().max(low.abs()) || spread <= 0.0 {
        let more = if high.abs() > 0.0 {
            0.2 * high.abs()
        } else {
            1.0
        };
        return [low - more, high + more];
    }
    // a range that starts or ends at zero stays there
    let below = if low.abs() < 1e-12 * spread {
        0.0
    } else {
        room
    };
    let above = if high.abs() < 1e-12 * spread {
        0.0
    } else {
        room
    };
    [low - below * spread, high + above * spread]
}

/// Values and words of an axis's ticks.
fn ticks(axis: &Axis, r: [f64; 2], length: f64, pitch: f64) -> Vec<(f64, Option<String>)> {
    let (low, high) = (r[0].min(r[1]), r[0].max(r[1]));
    if !axis.categories.is_empty() {
        let named = axis.categories.iter().enumerate();
        return named.map(|(i, n)| (i as f64, Some(n.clone()))).collect();
    }
    if axis.log {
        let all = decades(low, high).into_iter();
        return all
            .map(|(v, named)| (v, named.then(|| decade(v, low))))
            .collect();
    }
    let most = (length / pitch).max(2.0);
    let step = axis.step.unwrap_or_else(|| round_step(high - low, most));
    let d = decimals_of(step);
    multiples(low, high, step)
        .into_iter()
        .map(|v| (v, Some(number(v, d))))
        .collect()
}

/// Draws a panel into a cell, its frame `left` px from the cell's edge.
pub(super) fn draw(c: &mut Canvas<'_>, panel: &Panel, cell: &Frame, left: f64) {
    let x_words = !panel.bare && !panel.x.quiet;
    let lines = panel.x.categories.iter().map(|n| n.split('\n').count());
    let tick_lines = lines.max().unwrap_or(1) as f64;
    let below = match (x_words, panel.x.words().is_empty()) {
        (false, _) => 6.0,
        (true, true) => 6.0 + 1.3 * TICK * tick_lines,
        (true, false) => 8.0 + 1.3 * TICK * tick_lines + 1.4 * LABEL,
    };
    let above = if panel.heading.is_empty() {
        6.0
    } else {
        1.9 * HEADING
    };
    let frame = Frame {
        left: cell.left + left,
        top: cell.top + above,
        right: cell.right - if panel.bare { 0.0 } else { 10.0 },
        bottom: cell.bottom - below,
    };
    let map = Plan::of(panel).map(frame);
    if !panel.heading.is_empty() {
        let at = [frame.left, frame.top - 7.0];
        c.text(at, &panel.heading, Type::new(HEADING).bold());
    }
    layers::shades(c, panel, &map);
    if !panel.bare {
        grid(c, panel, &map);
    }
    layers::draw(c, panel, &map);
    if !panel.bare {
        border(c, &frame);
        words(c, panel, &map, cell);
    }
    layers::notes(c, panel, &map);
}

fn x_ticks(panel: &Panel, map: &Map) -> Vec<(f64, Option<String>)> {
    let r = [map.x.first, map.x.last];
    ticks(&panel.x, r, map.frame.width(), X_PITCH)
}

fn y_ticks(panel: &Panel, map: &Map) -> Vec<(f64, Option<String>)> {
    let r = [map.y.first, map.y.last];
    ticks(&panel.y, r, map.frame.height(), y_pitch(map.frame.height()))
}

fn grid(c: &mut Canvas<'_>, panel: &Panel, map: &Map) {
    let f = &map.frame;
    if panel.x.categories.is_empty() {
        for (v, named) in x_ticks(panel, map) {
            let x = map.x.at(v);
            let width = if named.is_some() { 0.8 } else { 0.4 };
            c.line(&[[x, f.top], [x, f.bottom]], width, Colour::PALE);
        }
    }
    if panel.y.categories.is_empty() {
        for (v, named) in y_ticks(panel, map) {
            let y = map.y.at(v);
            let width = if named.is_some() { 0.8 } else { 0.4 };
            c.line(&[[f.left, y], [f.right, y]], width, Colour::PALE);
        }
    }
}

fn border(c: &mut Canvas<'_>, f: &Frame) {
    let ring = [
        [f.left, f.top],
        [f.right, f.top],
        [f.right, f.bottom],
        [f.left, f.bottom],
        [f.left, f.top],
    ];
    c.line(&ring, 1.0, Colour::GREY);
}

fn words(c: &mut Canvas<'_>, panel: &Panel, map: &Map, cell: &Frame) {
    let f = &map.frame;
    if !panel.y.quiet {
        for (v, text) in y_ticks(panel, map) {
            let y = map.y.at(v);
            c.line(&[[f.left - 3.0, y], [f.left, y]], 1.0, Colour::GREY);
            if let Some(text) = text {
                let at = [f.left - 6.0, y + 0.36 * TICK];
                c.text(at, &text, Type::new(TICK).side(Side::Right));
            }
        }
        let middle = 0.5 * (f.top + f.bottom);
        y_label(c, &panel.y.words(), [cell.left + LABEL, middle], f.height());
    }
    if panel.x.quiet {
        return;
    }
    for (v, text) in x_ticks(panel, map) {
        let x = map.x.at(v);
        if panel.x.categories.is_empty() {
            c.line(&[[x, f.bottom], [x, f.bottom + 3.0]], 1.0, Colour::GREY);
        }
        let mut y = f.bottom + 5.0 + TICK;
        for line in text.iter().flat_map(|t| t.split('\n')) {
            c.text([x, y], line, Type::new(TICK).side(Side::Middle));
            y += 1.25 * TICK;
        }
    }
    let at = [0.5 * (f.left + f.right), cell.bottom - 4.0];
    c.text(at, &panel.x.words(), Type::new(LABEL).side(Side::Middle));
}

/// A label too long for its axis is set smaller.
fn y_label(c: &mut Canvas<'_>, text: &str, at: Px, room: f64) {
    let width = text_width(text, LABEL, false);
    let size = if width > room + 20.0 {
        (LABEL * (room + 20.0) / width).max(9.0)
    } else {
        LABEL
    };
    c.text(at, text, Type::new(size).side(Side::Middle).upright());
}
