//! Speed and heading around the craft: limiting height and what limits, law beside law.
//!
//! The craft lies in the middle, bow up. A sector stands where its waves come from, so head seas
//! (180 deg) are at the top, waves that travel to starboard (90 deg) at the left; rings are speeds,
//! the slowest inside.
//!
//! # Checked by
//! `sectors_stand_where_waves_come_from`, `polar_pictures_say_what_they_show`

use super::chart::{
    Axis, Colour, ColourScale, Figure, Heading, Look, Marker, Note, Panel, Points, Row, Shape,
};

/// Radius of the craft's own place, in rings.
const HUB: f64 = 0.55;
/// Degrees between the corners of an arc.
const ARC_DEG: f64 = 3.0;

/// What is told of one sector.
#[derive(Clone, Debug, PartialEq)]
pub enum SectorValue {
    /// A number, for the scale of colours.
    Number(f64),
    /// One of the kinds, by its place in [`PolarPicture::kinds`].
    Kind(usize),
    /// No number, because the loop is unstable.
    Unstable,
}

/// One sector.
#[derive(Clone, Debug, PartialEq)]
pub struct PolarSector {
    /// Place of its speed among the rings.
    pub ring: usize,
    /// Wave headings from and to, deg.
    pub span_deg: [f64; 2],
    /// What is told.
    pub value: SectorValue,
    /// The method is trusted.
    pub trusted: bool,
    /// The number is a least one.
    pub beyond: bool,
}

/// Laws side by side around the craft.
#[derive(Clone, Debug, PartialEq)]
pub struct PolarPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Speeds from the innermost ring, kn.
    pub speeds_kn: Vec<f64>,
    /// Name of the number, `limiting significant height (m)`.
    pub number: String,
    /// Edges of the colours, ascending; empty for a picture of kinds.
    pub steps: Vec<f64>,
    /// Kinds in words, for a picture of kinds.
    pub kinds: Vec<String>,
    /// Law and its sectors.
    pub laws: Vec<(String, Vec<PolarSector>)>,
}

/// Where a wave heading stands on the paper, on a circle of radius `r`.
fn place(mu_deg: f64, r: f64) -> [f64; 2] {
    let (s, c) = (mu_deg - 180.0).to_radians().sin_cos();
    [r * s, r * c]
}

/// Corners of a sector.
fn corners(ring: usize, [from, to]: [f64; 2]) -> Vec<[f64; 2]> {
    let (inner, outer) = (HUB + ring as f64, HUB + ring as f64 + 1.0);
    let n = ((to - from) / ARC_DEG).ceil().max(1.0) as usize;
    let at = |k: usize| from + (to - from) * k as f64 / n as f64;
    let out = (0..=n).map(|k| place(at(k), outer));
    let back = (0..=n).rev().map(|k| place(at(k), inner));
    out.chain(back).collect()
}

fn middle(s: &PolarSector) -> [f64; 2] {
    let mu = 0.5 * (s.span_deg[0] + s.span_deg[1]);
    place(mu, HUB + s.ring as f64 + 0.5)
}

/// Colour of a step: a tint of the ramp, dark for low numbers.
fn tint(i: usize, count: usize) -> Colour {
    let t = i as f64 / (count.saturating_sub(1)).max(1) as f64;
    Colour::WHITE.mixed(Colour::ramp(t), 0.85)
}

fn kind_colour(i: usize) -> Colour {
    const ALL: [Colour; 7] = [
        Colour::SKY,
        Colour::ORANGE,
        Colour::GREEN,
        Colour::PURPLE,
        Colour::VERMILLION,
        Colour::BLUE,
        Colour::GREY,
    ];
    Colour::WHITE.mixed(ALL[i % ALL.len()], 0.65)
}

/// Letter of a kind, so that colour is not alone.
fn letter(i: usize) -> char {
    char::from(b'a' + (i % 26) as u8)
}

fn kind_words(data: &PolarPicture, i: usize) -> String {
    let words = data.kinds.get(i).map_or("", String::as_str);
    format!("{}: {words}", letter(i))
}

/// One picture, three laws in a row.
pub fn polar_picture(data: &PolarPicture) -> Figure {
    let panels: Vec<Panel> = data
        .laws
        .iter()
        .map(|(law, sectors)| panel(data, law, sectors))
        .collect();
    let across = panels.len().clamp(1, 3);
    let height = [0.0, 560.0, 400.0, 300.0][across];
    let rows = panels.chunks(across).map(|p| Row::of(height, p.to_vec()));
    let mut figure = Figure::new(data.heading.clone(), rows.collect());
    if !data.steps.is_empty() {
        let n = data.steps.len() + 1;
        let word = |i: usize| match i {
            0 => format!("< {}", crate::spec::number(data.steps[0])),
            i if i + 1 == n => format!("> {}", crate::spec::number(data.steps[n - 2])),
            i => format!(
                "{}-{}",
                crate::spec::number(data.steps[i - 1]),
                crate::spec::number(data.steps[i])
            ),
        };
        figure.scale = Some(ColourScale {
            label: data.number.clone(),
            steps: (0..n).map(|i| (word(i), tint(i, n))).collect(),
        });
    }
    let rings: Vec<String> = data.speeds_kn.iter().map(|v| format!("{v:.0}")).collect();
    let note = format!(
        "Bow up. A sector stands where its waves come from; its angle is where they travel to, 180° head seas. \
         Rings from inside: {} kn.",
        rings.join(", ")
    );
    figure.footer = format!("{note}\n{}", figure.footer);
    figure
}

fn panel(data: &PolarPicture, law: &str, sectors: &[PolarSector]) -> Panel {
    let edge = HUB + data.speeds_kn.len() as f64 + 0.62;
    let axis = || Axis::new("", "").range(-edge, edge);
    let mut panel = Panel::new(law, axis(), axis());
    panel.bare = true;
    panel.equal = true;
    // the legend lists kinds in the order of their letters, wherever they are drawn first
    for i in 0..data.kinds.len() {
        let far = vec![[9.0 * edge, 9.0 * edge]; 3];
        let shape = Shape::closed(Look::plain(kind_colour(i)), far).fill(1.0);
        panel.add(shape.name(kind_words(data, i)));
    }
    let (mut doubtful, mut unstable, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
    for s in sectors {
        let mut look = Look::plain(Colour::WHITE);
        match s.value {
            SectorValue::Number(v) => {
                let i = data.steps.iter().filter(|e| v >= **e).count();
                look.colour = tint(i, data.steps.len() + 1);
            }
            SectorValue::Kind(i) => {
                look.colour = kind_colour(i);
            }
            SectorValue::Unstable => {}
        }
        let shape = Shape::closed(look, corners(s.ring, s.span_deg)).fill(1.0);
        panel.add(shape.width(0.6));
        let rim = Look::plain(Colour::WHITE);
        panel.add(Shape::open(rim, ring_of(s)).width(0.9));
        match (&s.value, s.trusted, s.beyond) {
            (SectorValue::Unstable, _, _) => unstable.push(middle(s)),
            (_, false, _) => doubtful.push(middle(s)),
            (_, true, true) => beyond.push(middle(s)),
            _ => {}
        }
        if let SectorValue::Kind(i) = s.value {
            let at = if s.trusted { middle(s) } else { beside(s) };
            let note = Note::new(at, letter(i).to_string()).lean(-0.5, -0.5);
            panel.add(note.size(8.5));
        }
    }
    let ink = |marker| Look::plain(Colour::INK).marker(marker);
    for (name, marker, xy) in [
        ("not trusted", Marker::Cross, doubtful),
        ("unstable loop", Marker::Target, unstable),
        ("at least", Marker::Plus, beyond),
    ] {
        if !xy.is_empty() {
            let mut points = Points::new(name, ink(marker), xy);
            points.size_px = 5.0;
            panel.add(points);
        }
    }
    frame(data, &mut panel);
    panel
}

/// Outline of a sector, closed.
fn ring_of(s: &PolarSector) -> Vec<[f64; 2]> {
    let mut all = corners(s.ring, s.span_deg);
    if let Some(first) = all.first().copied() {
        all.push(first);
    }
    all
}

/// A place in the sector beside its middle.
fn beside(s: &PolarSector) -> [f64; 2] {
    let mu = 0.5 * (s.span_deg[0] + s.span_deg[1]);
    place(mu, HUB + s.ring as f64 + 0.2)
}

/// The craft, names of directions and rings.
fn frame(data: &PolarPicture, panel: &mut Panel) {
    let rim = HUB + data.speeds_kn.len() as f64;
    for (mu, words, lean) in [
        (180.0, "180° head", [-0.5, -1.0]),
        (90.0, "90°", [-1.0, -0.5]),
        (0.0, "0° following", [-0.5, 0.0]),
        (270.0, "270°", [0.0, -0.5]),
        (135.0, "135°", [-1.0, -1.0]),
        (225.0, "225°", [0.0, -1.0]),
        (45.0, "45°", [-1.0, 0.0]),
        (315.0, "315°", [0.0, 0.0]),
    ] {
        let note = Note::new(place(mu, rim + 0.1), words).lean(lean[0], lean[1]);
        panel.add(note.size(9.0).colour(Colour::GREY));
    }
    let w = 0.17 * HUB;
    let l = 0.7 * HUB;
    for side in [-1.0, 1.0] {
        let x = side * 0.38 * HUB;
        let hull = [
            [x - w, -l],
            [x + w, -l],
            [x + w, 0.55 * l],
            [x, l],
            [x - w, 0.55 * l],
        ];
        let look = Look::plain(Colour::GREY);
        panel.add(Shape::closed(look, hull.to_vec()).fill(0.5).width(0.8));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn sectors_stand_where_waves_come_from() {
        let near = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]) < 1e-12;
        assert!(near(place(180.0, 1.0), [0.0, 1.0]), "head seas at the top");
        assert!(
            near(place(90.0, 1.0), [-1.0, 0.0]),
            "waves from port at the left"
        );
        assert!(near(place(0.0, 1.0), [0.0, -1.0]));
    }

    #[test]
    fn polar_pictures_say_what_they_show() {
        let sector = |ring: usize, k: usize, value| PolarSector {
            ring,
            span_deg: [30.0 * k as f64 - 15.0, 30.0 * k as f64 + 15.0],
            value,
            trusted: k != 0,
            beyond: k == 6,
        };
        let numbers = |f: f64| -> Vec<PolarSector> {
            let all = (0..3).flat_map(|r| (0..12).map(move |k| (r, k)));
            all.map(|(r, k)| {
                let v = f * (1.0 + 0.3 * r as f64 + 0.2 * k as f64);
                let value = if r == 2 && k == 1 {
                    SectorValue::Unstable
                } else {
                    SectorValue::Number(v)
                };
                sector(r, k, value)
            })
            .collect()
        };
        let mut data = PolarPicture {
            heading: Heading::new("Limiting height", "Tarnwick", "Synthetic data"),
            speeds_kn: vec![8.0, 12.0, 16.0],
            number: "limiting significant height (m)".into(),
            steps: vec![1.0, 1.5, 2.0, 2.5],
            kinds: Vec::new(),
            laws: vec![("fixed".into(), numbers(0.7)), ("PID".into(), numbers(1.0))],
        };
        let words = [
            "180° head",
            "not trusted",
            "unstable loop",
            "at least",
            "Bow up",
        ];
        let side_by_side = polar_picture(&data);
        assert!(side_by_side.width_px > 600.0, "two laws need room");
        check(&side_by_side, "polar", &words);
        data.steps.clear();
        data.kinds = vec!["roll RMS".into(), "interruptions, bridge".into()];
        for (_, sectors) in &mut data.laws {
            for (k, s) in sectors.iter_mut().enumerate() {
                s.value = SectorValue::Kind(k % 2);
            }
        }
        check(
            &polar_picture(&data),
            "polar_kinds",
            &["b: interruptions, bridge"],
        );
    }
}
