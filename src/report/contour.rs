//! Numbers over one or two gains: curves, or filled bands with lines of equal value.
//!
//! # Equation
//! ```text
//! each cell of the grid is two triangles; a value runs linearly in each;
//! band   the part of a triangle where low <= value <= high
//! line   the segment of a triangle where value = level
//! ```
//! Marching triangles have no ambiguous cells, which marching squares have.
//!
//! # Source
//! W. E. Lorensen & H. E. Cline (1987), Computer Graphics 21, 163-169: the idea, here with triangles;
//! I. E. Sutherland & G. W. Hodgman (1974), Communications of the ACM 17, 32-42: cutting a band.
//!
//! # Checked by
//! `circle_has_its_radius`, `bands_fill_the_grid`, `sweep_pictures_say_what_they_show`.

use crate::report::chart::{
    Axis, Colour, ColourScale, Dash, Figure, Hatch, Heading, Line, Look, Marker, Note, Panel,
    Points, Row, Rule, Shape,
};

/// Values on a grid; `values[j * x.len() + i]` belongs to `x[i]` and `y[j]`, no number where none.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Places across, ascending.
    pub x: Vec<f64>,
    /// Places up, ascending.
    pub y: Vec<f64>,
    /// Values, row by row from the lowest y.
    pub values: Vec<f64>,
}

type Corner = ([f64; 2], f64);

impl Grid {
    /// Places whose value is at least `level`.
    fn above(&self, level: f64) -> Vec<[f64; 2]> {
        let across = self.x.len();
        let places = self.values.iter().enumerate();
        places
            .filter(|(_, v)| **v >= level)
            .map(|(k, _)| [self.x[k % across], self.y[k / across]])
            .collect()
    }

    fn at(&self, i: usize, j: usize) -> Corner {
        ([self.x[i], self.y[j]], self.values[j * self.x.len() + i])
    }

    /// Triangles whose corners all have values.
    fn triangles(&self) -> Vec<[Corner; 3]> {
        let mut out = Vec::new();
        for j in 1..self.y.len() {
            for i in 1..self.x.len() {
                let (a, b) = (self.at(i - 1, j - 1), self.at(i, j - 1));
                let (c, d) = (self.at(i, j), self.at(i - 1, j));
                // the diagonal turns with the cell, so that no direction is preferred
                let pair = if (i + j) % 2 == 0 {
                    [[a, b, c], [a, c, d]]
                } else {
                    [[a, b, d], [b, c, d]]
                };
                let whole = |t: &[Corner; 3]| t.iter().all(|c| c.1.is_finite());
                out.extend(pair.into_iter().filter(whole));
            }
        }
        out
    }

    /// Pieces of the line where the value is `level`.
    pub fn line(&self, level: f64) -> Vec<[[f64; 2]; 2]> {
        let mut out = Vec::new();
        for t in self.triangles() {
            let mut ends = Vec::new();
            for k in 0..3 {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                if (a.1 < level) != (b.1 < level) {
                    ends.push(between(a, b, level).0);
                }
            }
            if let [a, b] = ends[..] {
                out.push([a, b]);
            }
        }
        out
    }

    /// Polygons where the value lies between `low` and `high`.
    pub fn band(&self, low: f64, high: f64) -> Vec<Vec<[f64; 2]>> {
        let cut = |t: [Corner; 3]| {
            let up = keep(&t, low, 1.0);
            let both = keep(&up, high, -1.0);
            both.into_iter().map(|c| c.0).collect::<Vec<_>>()
        };
        let all = self.triangles().into_iter().map(cut);
        all.filter(|p| p.len() > 2).collect()
    }
}

fn between(a: Corner, b: Corner, level: f64) -> Corner {
    let t = (level - a.1) / (b.1 - a.1);
    let mix = |k: usize| a.0[k] + t * (b.0[k] - a.0[k]);
    ([mix(0), mix(1)], level)
}

/// The part of a polygon where `sign` (value - level) is not negative.
fn keep(polygon: &[Corner], level: f64, sign: f64) -> Vec<Corner> {
    let mut out = Vec::new();
    for (k, &b) in polygon.iter().enumerate() {
        let a = polygon[(k + polygon.len() - 1) % polygon.len()];
        let (is_a, is_b) = (sign * (a.1 - level) >= 0.0, sign * (b.1 - level) >= 0.0);
        if is_a != is_b {
            out.push(between(a, b, level));
        }
        if is_b {
            out.push(b);
        }
    }
    out
}

/// One quantity of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct SweepPanel {
    /// What it is, `ride, 1 is just acceptable`.
    pub name: String,
    /// Unit; empty without one.
    pub unit: String,
    /// Values in the order of [`Grid`]; no number where the loop is unstable.
    pub values: Vec<f64>,
    /// The limit, when it has one.
    pub limit: Option<f64>,
    /// What the limit is called: `limit`, `just acceptable`.
    pub limit_name: &'static str,
}

/// A sweep over one gain (`y` empty) or two.
#[derive(Clone, Debug, PartialEq)]
pub struct SweepPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Name and unit of the gain across, and its values.
    pub x: (String, String, Vec<f64>),
    /// Of the gain upwards; none for a sweep over one gain.
    pub y: Option<(String, String, Vec<f64>)>,
    /// What is drawn.
    pub panels: Vec<SweepPanel>,
    /// Largest growth rate of the closed loop, 1/s: zero is the boundary of stability.
    pub growth_1_s: Vec<f64>,
    /// Room to the nearest of all limits, a share of it; below zero one is not met. Empty without limits.
    pub room: Vec<f64>,
    /// Gains of the file.
    pub base: [f64; 2],
}

/// Curves over one gain or bands over two.
pub fn sweep_picture(data: &SweepPicture) -> Figure {
    let panels: Vec<Panel> = match &data.y {
        None => data.panels.iter().map(|p| curve(data, p)).collect(),
        Some(y) => data.panels.iter().map(|p| bands(data, y, p)).collect(),
    };
    let height = if data.y.is_some() { 330.0 } else { 230.0 };
    let mut rows = Vec::new();
    let mut left = panels.into_iter();
    while let Some(first) = left.next() {
        let pair: Vec<Panel> = std::iter::once(first).chain(left.next()).collect();
        rows.push(Row::of(height, pair));
    }
    let mut figure = Figure::new(data.heading.clone(), rows);
    if data.y.is_some() {
        let steps = ["least", "", "", "", "", "most"];
        let colour = |i: usize| Colour::WHITE.mixed(Colour::ramp(1.0 - i as f64 / 5.0), TINT);
        let steps = steps.iter().enumerate();
        figure.scale = Some(ColourScale {
            label: "bands, least to most of each panel".to_owned(),
            steps: steps.map(|(i, w)| ((*w).to_owned(), colour(i))).collect(),
        });
    }
    figure
}

/// Share of a colour in the bands, so that lines and words stand off.
const TINT: f64 = 0.55;
/// Bands of a panel, about.
const BANDS: f64 = 9.0;

fn axis(of: &(String, String, Vec<f64>)) -> Axis {
    let (first, last) = (of.2.first().copied(), of.2.last().copied());
    let ends = first.zip(last).filter(|(a, b)| a < b);
    let mut axis = Axis::new(&of.0, &of.1);
    let ratio = |k: usize| of.2[k] / of.2[k - 1];
    let steps = of.2.len();
    // equal ratios and no equal steps: the values were asked for so
    if steps > 2 && of.2[0] > 0.0 && (ratio(1) / ratio(steps - 1) - 1.0).abs() < 1e-6 {
        axis = axis.log();
    }
    match ends {
        Some((a, b)) => axis.range(a, b),
        None => axis,
    }
}

fn limit_look() -> Look {
    Look::plain(Colour::VERMILLION).dash(Dash::Dashed)
}

fn curve(data: &SweepPicture, p: &SweepPanel) -> Panel {
    let mut panel = Panel::new(&p.name, axis(&data.x), Axis::new(&p.name, &p.unit));
    let x = &data.x.2;
    for [from, to] in unstable_spans(x, &data.growth_1_s) {
        panel.add(crate::report::chart::Shade {
            x: Some([from, to]),
            y: None,
            label: "unstable".to_owned(),
            colour: Colour::GREY,
            hatch: Hatch::Falling,
        });
    }
    let xy: Vec<[f64; 2]> = x.iter().zip(&p.values).map(|(x, y)| [*x, *y]).collect();
    panel.add(Line::new("", Look::plain(Colour::BLUE), xy).width(2.0));
    if let Some(limit) = p.limit {
        panel.add(Rule::level(limit, p.limit_name).look(limit_look()));
    }
    if let Some(y) = interpolated(x, &p.values, data.base[0]) {
        let look = Look::plain(Colour::INK).marker(Marker::Diamond);
        panel.add(Points::new("as in the file", look, vec![[data.base[0], y]]));
    }
    panel
}

fn interpolated(x: &[f64], y: &[f64], at: f64) -> Option<f64> {
    let k = (1..x.len()).find(|k| x[k - 1] <= at && at <= x[*k])?;
    let t = (at - x[k - 1]) / (x[k] - x[k - 1]);
    let v = y[k - 1] + t * (y[k] - y[k - 1]);
    v.is_finite().then_some(v)
}

/// Where the growth rate is positive, with its zeros found between the places.
fn unstable_spans(x: &[f64], growth: &[f64]) -> Vec<[f64; 2]> {
    let mut out = Vec::new();
    let mut from = growth.first().filter(|g| **g > 0.0).map(|_| x[0]);
    for k in 1..x.len().min(growth.len()) {
        let (a, b) = (growth[k - 1], growth[k]);
        if (a > 0.0) != (b > 0.0) {
            let zero = x[k - 1] + (x[k] - x[k - 1]) * (a / (a - b)).clamp(0.0, 1.0);
            match from.take() {
                Some(start) => out.push([start, zero]),
                None => from = Some(zero),
            }
        }
    }
    if let (Some(start), Some(end)) = (from, x.last()) {
        out.push([start, *end]);
    }
    out
}

fn bands(data: &SweepPicture, y: &(String, String, Vec<f64>), p: &SweepPanel) -> Panel {
    let grid = |values: &[f64]| Grid {
        x: data.x.2.clone(),
        y: y.2.clone(),
        values: values.to_vec(),
    };
    let unit = if p.unit.is_empty() {
        String::new()
    } else {
        format!(" ({})", p.unit)
    };
    let mut panel = Panel::new(format!("{}{unit}", p.name), axis(&data.x), axis(y));
    let shown = grid(&p.values);
    let levels = levels(&p.values);
    let last = levels.len().saturating_sub(2).max(1) as f64;
    for (i, pair) in levels.windows(2).enumerate() {
        let colour = Colour::WHITE.mixed(Colour::ramp(1.0 - i as f64 / last), TINT);
        for piece in shown.band(pair[0], pair[1]) {
            let shape = Shape::closed(Look::plain(colour), piece);
            panel.add(shape.fill(1.0).width(0.7));
        }
    }
    for level in levels.iter().skip(1).take(levels.len().saturating_sub(2)) {
        let pieces = shown.line(*level);
        for piece in &pieces {
            let look = Look::plain(Colour::GREY);
            panel.add(Shape::open(look, piece.to_vec()).width(0.8));
        }
        if let Some(at) = pieces.get(pieces.len() / 2) {
            let note = Note::new(at[0], crate::spec::number(*level)).lean(-0.5, -0.5);
            panel.add(note.size(9.5).on_paper().yielding());
        }
    }
    let growth = grid(&data.growth_1_s);
    for piece in growth.band(0.0, f64::MAX) {
        let shape = Shape::closed(Look::plain(Colour::PALE), piece);
        panel.add(shape.fill(1.0).width(0.7));
    }
    add_line(
        &mut panel,
        &growth.line(0.0),
        "unstable beyond",
        Look::plain(Colour::INK),
        2.0,
    );
    if let Some(limit) = p.limit {
        add_line(
            &mut panel,
            &shown.line(limit),
            p.limit_name,
            limit_look().dash(Dash::Solid),
            2.0,
        );
    }
    if !data.room.is_empty() {
        let room = grid(&data.room);
        let solid = Look::plain(Colour::BLACK).dash(Dash::Solid);
        add_line(&mut panel, &room.line(0.0), "", solid, 2.6);
        let dots = solid.marker(Marker::Circle);
        panel.add(Points {
            size_px: 4.0,
            ..Points::new("all limits met", dots, room.above(0.0))
        });
    }
    let look = Look::plain(Colour::INK).marker(Marker::Diamond);
    panel.add(Points::new("as in the file", look, vec![data.base]));
    panel
}

/// Pieces of one line; the first is in the legend for all.
fn add_line(panel: &mut Panel, pieces: &[[[f64; 2]; 2]], name: &str, look: Look, width: f64) {
    for (i, piece) in pieces.iter().enumerate() {
        let name = if i == 0 { name } else { "" };
        panel.add(Line::new(name, look, piece.to_vec()).width(width));
    }
}

/// Round levels from below the least to above the greatest of the middle nine tenths of values, so
/// that a few wild ones near instability do not take all the bands.
fn levels(values: &[f64]) -> Vec<f64> {
    let mut v: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    v.sort_by(f64::total_cmp);
    let (Some(&low), Some(&top)) = (v.first(), v.last()) else {
        return Vec::new();
    };
    let high = v[(v.len() - 1) * 9 / 10].max(low + 0.3 * (top - low).min(low.abs()));
    let rough = ((high - low) / BANDS).max(1e-12 * low.abs().max(1e-12));
    let ten = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|s| s * ten)
        .find(|s| *s >= rough)
        .unwrap_or(rough);
    let first = (low / step).floor();
    let count = (((high / step).ceil() - first) as usize).clamp(1, 40);
    let mut out: Vec<f64> = (0..=count).map(|k| (first + k as f64) * step).collect();
    if let Some(end) = out.last_mut().filter(|e| **e < top) {
        *end = top;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    fn grid(n: usize, f: impl Fn(f64, f64) -> f64) -> Grid {
        let places: Vec<f64> = (0..n)
            .map(|i| -1.0 + 2.0 * i as f64 / (n - 1) as f64)
            .collect();
        let values = places
            .iter()
            .flat_map(|y| places.iter().map(|x| f(*x, *y)).collect::<Vec<_>>());
        Grid {
            values: values.collect(),
            x: places.clone(),
            y: places,
        }
    }

    #[test]
    fn circle_has_its_radius() {
        let g = grid(41, |x, y| x * x + y * y);
        let pieces = g.line(0.25);
        let mut length = 0.0;
        for [a, b] in &pieces {
            // linear along a diagonal of 0.05 sqrt(2): f'' L^2 / 8 = 1.25e-3, over a slope of one
            assert!((a[0].hypot(a[1]) - 0.5).abs() < 1.26e-3);
            length += (a[0] - b[0]).hypot(a[1] - b[1]);
        }
        assert!(
            (length / std::f64::consts::PI - 1.0).abs() < 2e-3,
            "{length}"
        );
    }

    #[test]
    fn bands_fill_the_grid() {
        let g = grid(9, |x, y| x + 0.3 * y * y);
        let area = |p: &Vec<[f64; 2]>| {
            let n = p.len();
            let cross = (0..n).map(|i| p[i][0] * p[(i + 1) % n][1] - p[(i + 1) % n][0] * p[i][1]);
            0.5 * cross.sum::<f64>()
        };
        let cuts = [-2.0, -0.5, 0.1, 0.7, 2.0];
        let all: f64 = cuts
            .windows(2)
            .flat_map(|w| g.band(w[0], w[1]))
            .map(|p| area(&p).abs())
            .sum();
        assert!((all - 4.0).abs() < 1e-9, "{all}");
    }

    fn picture(two: bool) -> SweepPicture {
        let x: Vec<f64> = (0..21).map(|i| 0.2 * f64::from(i)).collect();
        let y: Vec<f64> = (0..17).map(|i| 0.5 * f64::from(i)).collect();
        let rows = if two { y.clone() } else { vec![4.0] };
        let each = |f: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
            let row = |y: &f64| x.iter().map(|x| f(*x, *y)).collect::<Vec<_>>();
            rows.iter().flat_map(row).collect()
        };
        let growth = |x: f64, y: f64| 0.3 * (x - 3.0) + 0.1 * (y - 5.0);
        let stable = |v: f64, x: f64, y: f64| if growth(x, y) < 0.0 { v } else { f64::NAN };
        let panel = |name: &str, unit: &str, values, limit| SweepPanel {
            name: name.into(),
            unit: unit.into(),
            values,
            limit,
            limit_name: "limit",
        };
        SweepPicture {
            heading: Heading::new(
                "Sweep of two gains",
                "Tarnwick, 16 kn, head seas of 1.25 m",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            panels: vec![
                panel(
                    "ride, 1 is just acceptable",
                    "",
                    each(&|x, y| {
                        stable(
                            (x - 1.6).powi(2) * 0.2 + (y - 3.0).powi(2) * 0.02 + 0.6,
                            x,
                            y,
                        )
                    }),
                    None,
                ),
                panel(
                    "phase margin",
                    "deg",
                    each(&|x, y| stable(-60.0 * growth(x, y), x, y)),
                    Some(30.0),
                ),
            ],
            growth_1_s: each(&growth),
            room: each(&|x, y| 2.5 - x - 0.1 * y),
            x: ("pitch rate".into(), "deg s/deg".into(), x.clone()),
            y: two.then(|| ("heave rate".into(), "deg s/m".into(), y)),
            base: [1.1, 4.0],
        }
    }

    #[test]
    fn sweep_pictures_say_what_they_show() {
        let words = [
            "phase margin",
            "pitch rate (deg s/deg)",
            "limit",
            "as in the file",
        ];
        let two = sweep_picture(&picture(true));
        check(&two, "sweep_two", &words);
        check(
            &two,
            "sweep_two",
            &["unstable beyond", "heave rate (deg s/m)", "all limits met"],
        );
        assert_eq!(two.panel_count(), 2);
        let one = sweep_picture(&picture(false));
        check(&one, "sweep_one", &words);
        check(&one, "sweep_one", &["unstable"]);
    }
}
