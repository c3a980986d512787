//! Painters of the layers.

use super::canvas::{Canvas, Px, Side, Type, text_width};
use super::clip::{Frame, hatch, polygon, polyline, thinned};
use super::layout::{patch, stroke};
use super::look::{Colour, Dash, Look, Marker};
use super::panel::{HEADING, Map};
use super::ticks::number;
use super::{
    Bar, BarSeries, Dimension, Layer, Line, Note, Panel, Points, Rule, RuleWords, Shade, Shape,
    Stack,
};

const SMALL: f64 = 10.0;

/// Strips below everything.
pub(super) fn shades(c: &mut Canvas<'_>, panel: &Panel, map: &Map) {
    for layer in &panel.layers {
        if let Layer::Shade(s) = layer {
            shade(c, s, map);
        }
    }
}

/// Everything but strips and words.
pub(super) fn draw(c: &mut Canvas<'_>, panel: &Panel, map: &Map) {
    for layer in &panel.layers {
        match layer {
            Layer::Line(l) => line(c, l, map),
            Layer::Points(p) => points(c, p, map),
            Layer::Bars(b) => bars(c, b, map),
            Layer::Stack(s) => stack(c, s, map),
            Layer::Rule(r) => rule(c, r, map),
            Layer::Shape(s) => shape(c, s, map),
            Layer::Dimension(d) => dimension(c, d, map),
            Layer::Shade(_) | Layer::Note(_) => {}
        }
    }
}

/// Words on top; those that yield come last.
pub(super) fn notes(c: &mut Canvas<'_>, panel: &Panel, map: &Map) {
    let mut taken: Vec<Frame> = Vec::new();
    for layer in &panel.layers {
        match layer {
            Layer::Rule(r) => rule_words(c, panel, r, map, &mut taken),
            Layer::Shade(s) => shade_words(c, s, map, &mut taken),
            Layer::Points(p) if p.xy.len() <= 60 => taken.extend(p.xy.iter().map(|xy| {
                let ([x, y], r) = (map.at(*xy), 0.5 * p.size_px);
                Frame {
                    left: x - r,
                    top: y - r,
                    right: x + r,
                    bottom: y + r,
                }
            })),
            _ => {}
        }
    }
    for firm in [true, false] {
        for layer in &panel.layers {
            if let Layer::Note(n) = layer
                && n.yields != firm
            {
                note(c, n, map, &mut taken);
            }
        }
    }
}

fn shade_frame(s: &Shade, map: &Map) -> Frame {
    let f = &map.frame;
    let x = s.x.map_or([f.left, f.right], |x| x.map(|v| map.x.at(v)));
    let y = s.y.map_or([f.top, f.bottom], |y| y.map(|v| map.y.at(v)));
    Frame {
        left: x[0].min(x[1]).max(f.left),
        right: x[0].max(x[1]).min(f.right),
        top: y[0].min(y[1]).max(f.top),
        bottom: y[0].max(y[1]).min(f.bottom),
    }
}

fn shade(c: &mut Canvas<'_>, s: &Shade, map: &Map) {
    let f = shade_frame(s, map);
    if f.width() <= 0.0 || f.height() <= 0.0 {
        return;
    }
    let corners = [
        [f.left, f.top],
        [f.right, f.top],
        [f.right, f.bottom],
        [f.left, f.bottom],
    ];
    c.fill(&corners, Colour::WHITE.mixed(s.colour, 0.13), 1.0);
    for h in hatch(&corners, s.hatch, 9.0) {
        c.line(&h, 0.6, Colour::WHITE.mixed(s.colour, 0.3));
    }
}

fn shade_words(c: &mut Canvas<'_>, s: &Shade, map: &Map, taken: &mut Vec<Frame>) {
    if s.label.is_empty() {
        return;
    }
    let f = shade_frame(s, map);
    let width = text_width(&s.label, SMALL, false);
    let at = [f.left + 5.0, f.top + 4.0 + SMALL];
    c.text(at, &s.label, Type::new(SMALL).colour(Colour::GREY));
    taken.push(Frame {
        left: f.left,
        top: f.top,
        right: f.left + width + 8.0,
        bottom: f.top + 2.0 * SMALL,
    });
}

fn line(c: &mut Canvas<'_>, l: &Line, map: &Map) {
    let at: Vec<Px> = l.xy.iter().map(|p| map.at(*p)).collect();
    if l.band.len() == l.xy.len() && !l.band.is_empty() {
        let side = |k: usize| l.xy.iter().zip(&l.band).map(move |(p, b)| [p[0], b[k]]);
        let ring = side(0).chain(side(1).rev()).map(|p| map.at(p));
        let ring: Vec<Px> = ring.collect();
        c.fill(&polygon(&ring, &map.frame), l.look.colour, 0.17);
    }
    for piece in polyline(&thinned(&at), &map.frame) {
        stroke(c, &piece, l.look.colour, l.look.dash, l.width_px);
    }
    let inside: Vec<&Px> = at.iter().filter(|p| map.frame.holds(**p, 1.0)).collect();
    if let Some(every) = inside.len().checked_div(l.marks) {
        for p in inside.iter().step_by(every.max(1)) {
            marker(c, **p, l.look.marker, 7.0, l.look.colour);
        }
    }
}

fn points(c: &mut Canvas<'_>, p: &Points, map: &Map) {
    for (i, xy) in p.xy.iter().enumerate() {
        let at = map.at(*xy);
        if !map.frame.holds(at, 1.0) {
            continue;
        }
        let colour = p.colours.get(i).copied().unwrap_or(p.look.colour);
        marker(c, at, p.look.marker, p.size_px, colour);
        if let Some(range) = p.interval.get(i) {
            // over the marker and wider than it, so that short ones are seen too
            let half = 0.5 * p.size_px + 2.5;
            let ends = range.map(|v| map.y.at(v));
            whisker(c, at[0], ends, half, &map.frame, colour);
        }
    }
}

/// An interval, its ends marked `half` px to either side.
fn whisker(c: &mut Canvas<'_>, x: f64, y: [f64; 2], half: f64, f: &Frame, colour: Colour) {
    let y = y.map(|v| v.clamp(f.top, f.bottom));
    c.line(&[[x, y[0]], [x, y[1]]], 1.1, colour);
    for v in y {
        c.line(&[[x - half, v], [x + half, v]], 1.1, colour);
    }
}

/// A marker in the legend.
pub(super) fn mark_swatch(c: &mut Canvas<'_>, at: Px, look: Look) {
    marker(c, at, look.marker, 8.0, look.colour);
}

/// A marker, white-edged so that it stands off what is below.
pub(super) fn marker(c: &mut Canvas<'_>, at: Px, kind: Marker, size: f64, colour: Colour) {
    let [x, y] = at;
    let r = 0.5 * size;
    let solid = |c: &mut Canvas<'_>, corners: &dyn Fn(f64) -> Vec<Px>| {
        c.fill(&corners(r + 1.2), Colour::WHITE, 1.0);
        c.fill(&corners(r), colour, 1.0);
    };
    match kind {
        Marker::None => {}
        Marker::Circle => {
            c.disc(at, r + 0.8, Colour::WHITE);
            c.disc(at, r, colour);
        }
        Marker::Square => solid(c, &|r| {
            let r = 0.9 * r;
            vec![
                [x - r, y - r],
                [x + r, y - r],
                [x + r, y + r],
                [x - r, y + r],
            ]
        }),
        Marker::Diamond => solid(c, &|r| {
            let r = 1.15 * r;
            vec![[x, y - r], [x + r, y], [x, y + r], [x - r, y]]
        }),
        Marker::Triangle => solid(c, &|r| {
            vec![
                [x, y - 1.2 * r],
                [x + 1.1 * r, y + 0.8 * r],
                [x - 1.1 * r, y + 0.8 * r],
            ]
        }),
        Marker::Down => solid(c, &|r| {
            vec![
                [x, y + 1.2 * r],
                [x + 1.1 * r, y - 0.8 * r],
                [x - 1.1 * r, y - 0.8 * r],
            ]
        }),
        Marker::Cross => {
            c.line(&[[x - r, y - r], [x + r, y + r]], 1.6, colour);
            c.line(&[[x - r, y + r], [x + r, y - r]], 1.6, colour);
        }
        Marker::Plus => {
            c.line(&[[x - r, y], [x + r, y]], 1.6, colour);
            c.line(&[[x, y - r], [x, y + r]], 1.6, colour);
        }
        Marker::Quartered => quartered(c, at, r, colour),
        Marker::Target => {
            c.disc(at, r, colour);
            c.disc(at, r - 1.1, Colour::WHITE);
            c.disc(at, 0.35 * r, colour);
        }
    }
}

/// The usual sign of a centre of gravity: two quarters black, two white.
fn quartered(c: &mut Canvas<'_>, at: Px, r: f64, colour: Colour) {
    c.disc(at, r, colour);
    c.disc(at, r - 1.0, Colour::WHITE);
    for start in [0.0, std::f64::consts::PI] {
        let mut wedge = vec![at];
        wedge.extend((0..=12).map(|i| {
            let a = start + f64::from(i) / 12.0 * std::f64::consts::FRAC_PI_2;
            [at[0] + r * a.cos(), at[1] + r * a.sin()]
        }));
        c.fill(&wedge, colour, 1.0);
    }
}

fn bars(c: &mut Canvas<'_>, all: &[BarSeries], map: &Map) {
    let n = all.len().max(1) as f64;
    let step = 0.84 / n; // of the distance of two categories
    let decimals = bar_decimals(all);
    let pitch = (map.x.at(1.0) - map.x.at(0.0)) * step;
    let fits = all.iter().flat_map(|s| &s.bars).all(|b| match b {
        Bar::Value { value, .. } => {
            text_width(&number(*value, decimals), SMALL, false) < pitch - 1.0
        }
        _ => true,
    });
    for (k, series) in all.iter().enumerate() {
        for (i, bar) in series.bars.iter().enumerate() {
            let middle = i as f64 + (k as f64 - 0.5 * (n - 1.0)) * step;
            let x = [middle - 0.42 * step, middle + 0.42 * step].map(|v| map.x.at(v));
            match bar {
                Bar::Value { value, interval } => {
                    value_bar(c, x, *value, *interval, series.look, map);
                    let top = interval.map_or(*value, |r| r[1].max(*value));
                    let words = number(*value, decimals);
                    // below a bar that hangs: its words must not stand in it
                    let hangs = if top < 0.0 && fits { SMALL + 6.0 } else { 0.0 };
                    let at = map.y.at(top) + hangs;
                    bar_words(c, 0.5 * (x[0] + x[1]), at, &words, fits);
                }
                Bar::Words(words) => empty_bar(c, x, words, series.look, map),
                Bar::Missing => {}
            }
        }
    }
}

fn bar_decimals(all: &[BarSeries]) -> usize {
    let largest = all
        .iter()
        .flat_map(|s| &s.bars)
        .map(|b| match b {
            Bar::Value { value, .. } => value.abs(),
            _ => 0.0,
        })
        .fold(0.0, f64::max);
    match largest {
        v if v >= 100.0 => 0,
        v if v >= 10.0 => 1,
        v if v >= 0.2 => 2,
        _ => 3,
    }
}

fn value_bar(
    c: &mut Canvas<'_>,
    x: [f64; 2],
    value: f64,
    interval: Option<[f64; 2]>,
    look: Look,
    map: &Map,
) {
    let f = &map.frame;
    let (zero, top) = (map.y.at(0.0).clamp(f.top, f.bottom), map.y.at(value));
    let top = top.clamp(f.top, f.bottom);
    let ring = [[x[0], zero], [x[0], top], [x[1], top], [x[1], zero]];
    patch(c, &ring, look, 1.0);
    stroke(c, &ring, look.colour, Dash::Solid, 1.0);
    if let Some(range) = interval {
        let middle = 0.5 * (x[0] + x[1]);
        let ends = range.map(|v| map.y.at(v));
        let halo = ends.map(|v| v.clamp(f.top, f.bottom));
        c.line(&[[middle, halo[0]], [middle, halo[1]]], 3.0, Colour::WHITE);
        whisker(c, middle, ends, 3.0, f, Colour::BLACK);
    }
}

fn bar_words(c: &mut Canvas<'_>, x: f64, top: f64, words: &str, level: bool) {
    if level {
        c.text([x, top - 4.0], words, Type::new(SMALL).side(Side::Middle));
    } else {
        c.text(
            [x + 0.36 * SMALL, top - 4.0],
            words,
            Type::new(SMALL).upright(),
        );
    }
}

/// A dashed, empty bar that holds the words why there is no value.
fn empty_bar(c: &mut Canvas<'_>, x: [f64; 2], words: &str, look: Look, map: &Map) {
    let f = &map.frame;
    let zero = map.y.at(0.0).clamp(f.top, f.bottom);
    let room = zero - f.top;
    let length = text_width(words, SMALL, false) + 12.0;
    let top = zero - length.max(0.45 * room).min(room - 4.0);
    let ring = [[x[0], zero], [x[0], top], [x[1], top], [x[1], zero]];
    stroke(c, &ring, look.colour, Dash::Dashed, 1.1);
    let at = [0.5 * (x[0] + x[1]) + 0.36 * SMALL, zero - 6.0];
    c.text(at, words, Type::new(SMALL).upright());
}

fn stack(c: &mut Canvas<'_>, s: &Stack, map: &Map) {
    for (i, x) in s.x.iter().enumerate() {
        let across = [x - 0.5 * s.width, x + 0.5 * s.width].map(|v| map.x.at(v));
        let (mut up, mut down) = (0.0, 0.0);
        for (_, look, values) in &s.parts {
            let Some(v) = values.get(i).filter(|v| v.is_finite()) else {
                continue;
            };
            if (map.y.at(*v) - map.y.at(0.0)).abs() < 0.5 {
                continue; // too thin to see
            }
            let base = if *v >= 0.0 { &mut up } else { &mut down };
            let (a, b) = (map.y.at(*base), map.y.at(*base + v));
            *base += v;
            let ring = [
                [across[0], a],
                [across[0], b],
                [across[1], b],
                [across[1], a],
                [across[0], a],
            ];
            patch(c, &polygon(&ring[..4], &map.frame), *look, 1.0);
            for piece in polyline(&ring, &map.frame) {
                stroke(c, &piece, look.colour, Dash::Solid, 0.9);
            }
        }
    }
}

fn rule(c: &mut Canvas<'_>, r: &Rule, map: &Map) {
    let f = &map.frame;
    let ends = if r.upright {
        let x = map.x.at(r.at);
        [[x, f.top], [x, f.bottom]]
    } else {
        let y = map.y.at(r.at);
        [[f.left, y], [f.right, y]]
    };
    for piece in polyline(&ends, f) {
        stroke(c, &piece, r.look.colour, r.look.dash, 1.2);
    }
}

fn rule_words(c: &mut Canvas<'_>, panel: &Panel, r: &Rule, map: &Map, taken: &mut Vec<Frame>) {
    let f = &map.frame;
    let width = text_width(&r.label, SMALL, false);
    let (x, y) = (map.x.at(r.at), map.y.at(r.at));
    let seen = if r.upright {
        x >= f.left && x <= f.right
    } else {
        y >= f.top && y <= f.bottom
    };
    if r.label.is_empty() || !seen {
        return;
    }
    let heading_ends = f.left + text_width(&panel.heading, HEADING, true) + 10.0;
    let beside = if x + width + 6.0 < f.right {
        x + 4.0
    } else {
        x - width - 4.0
    };
    let low = r.upright && r.words == RuleWords::Low;
    let above = (x - 0.5 * width).min(f.right - width);
    let level = if r.words == RuleWords::Low {
        f.left + 4.0
    } else {
        f.right - width - 4.0
    };
    let at = match (r.upright, r.words) {
        (true, RuleWords::Above) if above > heading_ends => [above, f.top - 4.0],
        (true, RuleWords::Low) => [beside, f.bottom - 5.0],
        (true, _) => [beside, f.top + 4.0 + SMALL],
        (false, _) if y - 1.8 * SMALL > f.top => [level, y - 4.0],
        (false, _) => [level, y + 4.0 + SMALL],
    };
    let mut boxed = Frame {
        left: at[0] - 2.0,
        top: at[1] - SMALL,
        right: at[0] + width + 2.0,
        bottom: at[1] + 3.0,
    };
    // two rules close together: the later words go one line on
    while let Some(other) = taken.iter().find(|t| t.overlaps(&boxed)) {
        let on = if low {
            other.top - 1.0 - boxed.bottom
        } else {
            other.bottom + 1.0 - boxed.top
        };
        boxed.top += on;
        boxed.bottom += on;
    }
    paper(c, &boxed);
    let at = [at[0], boxed.bottom - 3.0];
    c.text(at, &r.label, Type::new(SMALL).colour(r.look.colour));
    taken.push(boxed);
}

/// A pale ground that keeps words readable over lines.
fn paper(c: &mut Canvas<'_>, b: &Frame) {
    c.rect([b.left, b.top], [b.right, b.bottom], Colour::WHITE, 0.8);
}

fn shape(c: &mut Canvas<'_>, s: &Shape, map: &Map) {
    let mut at: Vec<Px> = s.points.iter().map(|p| map.at(*p)).collect();
    if s.closed && s.fill > 0.0 {
        patch(c, &polygon(&at, &map.frame), s.look, s.fill);
    }
    if s.closed
        && let Some(first) = at.first()
    {
        at.push(*first);
    }
    for piece in polyline(&at, &map.frame) {
        stroke(c, &piece, s.look.colour, s.look.dash, s.width_px);
    }
}

fn dimension(c: &mut Canvas<'_>, d: &Dimension, map: &Map) {
    let (a, b) = (map.at(d.from), map.at(d.to));
    let n = (b[0] - a[0]).hypot(b[1] - a[1]);
    if n < 1.0 {
        return;
    }
    let e = [(b[0] - a[0]) / n, (b[1] - a[1]) / n];
    c.line(&[a, b], 0.8, Colour::GREY);
    for (p, s) in [(a, 1.0), (b, -1.0)] {
        let back = [p[0] + 6.0 * s * e[0], p[1] + 6.0 * s * e[1]];
        let side = [-2.2 * e[1], 2.2 * e[0]];
        let head = [
            p,
            [back[0] + side[0], back[1] + side[1]],
            [back[0] - side[0], back[1] - side[1]],
        ];
        c.fill(&head, Colour::GREY, 1.0);
        let tick = [-4.0 * e[1], 4.0 * e[0]];
        let ends = [
            [p[0] + tick[0], p[1] + tick[1]],
            [p[0] - tick[0], p[1] - tick[1]],
        ];
        c.line(&ends, 0.8, Colour::GREY);
    }
    let s = d.label_at;
    let middle = [a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])];
    let width = text_width(&d.label, SMALL, false);
    let look = Type::new(SMALL).side(Side::Middle);
    if e[0].abs() > e[1].abs() {
        let boxed = Frame {
            left: middle[0] - 0.5 * width - 2.0,
            top: middle[1] - 0.6 * SMALL,
            right: middle[0] + 0.5 * width + 2.0,
            bottom: middle[1] + 0.6 * SMALL,
        };
        if width + 18.0 < n {
            paper(c, &boxed);
            c.text([middle[0], middle[1] + 0.36 * SMALL], &d.label, look);
        } else {
            c.text([middle[0], middle[1] - 5.0], &d.label, look);
        }
    } else {
        let at = [middle[0] + 5.0, middle[1] + 0.36 * SMALL];
        c.text(at, &d.label, Type::new(SMALL));
    }
}

fn note(c: &mut Canvas<'_>, n: &Note, map: &Map, taken: &mut Vec<Frame>) {
    let [x, y] = map.at(n.at);
    let lines: Vec<&str> = n.text.split('\n').collect();
    let width = lines
        .iter()
        .map(|l| text_width(l, n.size_px, false))
        .fold(0.0, f64::max);
    let height = 1.2 * n.size_px * lines.len() as f64;
    let boxed = |lean: [f64; 2], shift: Px| {
        let left = x + shift[0] + lean[0] * width;
        let top = y + shift[1] + lean[1] * height;
        Frame {
            left,
            top,
            right: left + width,
            bottom: top + height,
        }
    };
    let own = boxed(n.lean, n.shift_px);
    let place = if n.yields {
        let others = [
            ([0.0, -0.5], [7.0, 0.0]),
            ([0.0, -1.0], [5.0, -3.0]),
            ([0.0, 0.0], [5.0, 3.0]),
            ([-1.0, -0.5], [-7.0, 0.0]),
            ([-0.5, -1.0], [0.0, -6.0]),
            ([-0.5, 0.0], [0.0, 6.0]),
            ([-1.0, -1.0], [-5.0, -3.0]),
            ([-1.0, 0.0], [-5.0, 3.0]),
        ];
        let all = std::iter::once(own).chain(others.map(|(l, s)| boxed(l, s)));
        let mut free = all.filter(|b| b.inside(&map.frame) && !taken.iter().any(|t| t.overlaps(b)));
        free.next()
    } else {
        Some(own)
    };
    let Some(b) = place else {
        return;
    };
    taken.push(b);
    if n.on_paper {
        paper(c, &b);
    }
    for (i, line) in lines.iter().enumerate() {
        let spare = width - text_width(line, n.size_px, false);
        let left = b.left + spare * (-n.lean[0]).clamp(0.0, 1.0);
        let at = [left, b.top + (1.2 * i as f64 + 0.95) * n.size_px];
        c.text(at, line, Type::new(n.size_px).colour(n.colour));
    }
}
