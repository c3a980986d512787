//! Poles against speed or another parameter: the locus in the s-plane, and real parts against it.
//!
//! # Checked by
//! `poles_are_shaded_where_unstable`

use crate::report::chart::{
    Axis, Colour, ColourScale, Dash, Figure, Hatch, Heading, Look, Marker, Note, Panel, Points,
    Row, Rule, Shade, Shape,
};

/// A pole with non-negative imaginary part.
#[derive(Clone, Debug, PartialEq)]
pub struct PoleMark {
    /// Real part, 1/s.
    pub re: f64,
    /// Imaginary part, rad/s.
    pub im: f64,
    /// The motion that it is named after.
    pub motion: String,
}

/// Poles at several speeds.
#[derive(Clone, Debug, PartialEq)]
pub struct PolePicture {
    /// Words at the head.
    pub heading: Heading,
    /// What varies and its unit: `speed`, `kn`.
    pub parameter: [String; 2],
    /// Values of it, each with its poles.
    pub points: Vec<(f64, Vec<PoleMark>)>,
    /// Real parts and imaginary parts shown; poles outside are counted in the small print.
    pub window: [[f64; 2]; 2],
    /// Values of the parameter to mark, with words.
    pub marks: Vec<(f64, String)>,
    /// Damping ratios whose rays are drawn.
    pub rays: Vec<f64>,
}

impl PolePicture {
    fn axis(&self) -> Axis {
        Axis::new(self.parameter[0].as_str(), self.parameter[1].as_str())
    }

    /// A value of the parameter in words, no more decimals than it needs.
    fn number(v: f64) -> String {
        let text = format!("{v:.2}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}

/// Locus and real parts.
pub fn pole_picture(data: &PolePicture) -> Figure {
    let mut motions: Vec<&str> = Vec::new();
    let all = data.points.iter().flat_map(|s| &s.1);
    for pole in all.filter(|p| shown(data, p)) {
        if !motions.contains(&pole.motion.as_str()) {
            motions.push(&pole.motion);
        }
    }
    let rows = vec![Row::of(
        370.0,
        vec![locus(data, &motions), real_parts(data, &motions)],
    )];
    let mut figure = Figure::new(data.heading.clone(), rows);
    figure.scale = Some(scale(data));
    let all = data.points.iter().flat_map(|s| &s.1);
    let outside = all.filter(|p| !shown(data, p)).count();
    if outside > 0 {
        let note = format!("{outside} faster poles (fins, lags, memory) lie outside the picture.");
        figure.footer = format!("{note}\n{}", figure.footer);
    }
    figure
}

fn shown(data: &PolePicture, p: &PoleMark) -> bool {
    let [re, im] = data.window;
    p.re >= re[0] && p.re <= re[1] && p.im >= im[0] - 1e-9 && p.im <= im[1]
}

fn colour(data: &PolePicture, speed: f64) -> Colour {
    let ends = data.points.iter().map(|s| s.0);
    let (low, high) = ends.fold((f64::MAX, f64::MIN), |r, v| (r.0.min(v), r.1.max(v)));
    Colour::ramp((speed - low) / (high - low).max(1e-9))
}

fn scale(data: &PolePicture) -> ColourScale {
    let every = data.points.len().div_ceil(8);
    let some = data.points.iter().step_by(every.max(1));
    ColourScale {
        label: data.axis().words(),
        steps: some
            .map(|s| (PolePicture::number(s.0), colour(data, s.0)))
            .collect(),
    }
}

fn look(k: usize) -> Look {
    const MARKERS: [Marker; 7] = [
        Marker::Circle,
        Marker::Square,
        Marker::Triangle,
        Marker::Diamond,
        Marker::Down,
        Marker::Plus,
        Marker::Cross,
    ];
    Look::plain(Colour::GREY).marker(MARKERS[k % MARKERS.len()])
}

/// Points of one motion with their speeds' colours; `at` gives a place or none.
fn marks(
    data: &PolePicture,
    k: usize,
    motion: &str,
    at: impl Fn(f64, &PoleMark) -> [f64; 2],
) -> Points {
    let mut p = Points::new(motion, look(k), Vec::new());
    for (speed, poles) in &data.points {
        for pole in poles
            .iter()
            .filter(|q| q.motion == motion && shown(data, q))
        {
            p.xy.push(at(*speed, pole));
            p.colours.push(colour(data, *speed));
        }
    }
    p
}

/// The strip where poles are unstable, between two x or two y.
fn unstable(x: Option<[f64; 2]>, y: Option<[f64; 2]>) -> Shade {
    Shade {
        x,
        y,
        label: "unstable".to_owned(),
        colour: Colour::VERMILLION,
        hatch: Hatch::Falling,
    }
}

fn locus(data: &PolePicture, motions: &[&str]) -> Panel {
    let [re, im] = data.window;
    let x = Axis::new("real part, positive unstable", "1/s").range(re[0], re[1]);
    let more = 0.04 * (im[1] - im[0]);
    let y = Axis::new("imaginary part", "rad/s").range(im[0] - more, im[1]);
    let mut p = Panel::new("Poles in the s-plane, upper half", x, y);
    p.add(unstable(Some([0.0, re[1]]), None));
    p.add(Rule::upright(0.0, "").look(Look::plain(Colour::INK)));
    for ratio in &data.rays {
        ray(*ratio, data.window, &mut p);
    }
    for (k, motion) in motions.iter().enumerate() {
        p.add(marks(data, k, motion, |_, q| [q.re, q.im]));
        ends(data, motion, &mut p);
    }
    p
}

/// Where a damping ratio lies.
fn ray(ratio: f64, [re, im]: [[f64; 2]; 2], p: &mut Panel) {
    let slope = (1.0 - ratio * ratio).sqrt() / ratio; // im over -re
    let end = (-re[0]).min(im[1] / slope);
    let at = [-end, end * slope];
    let look = Look::plain(Colour::GREY).dash(Dash::Dotted);
    p.add(Shape::open(look, vec![[0.0, 0.0], at]).width(0.8));
    let note = Note::new(
        [0.93 * at[0], 0.93 * at[1]],
        format!("damping ratio {ratio}"),
    );
    p.add(note.size(9.0).colour(Colour::GREY).yielding());
}

/// Values beside the first and the last oscillating pole of a motion.
fn ends(data: &PolePicture, motion: &str, p: &mut Panel) {
    let mut found: Vec<(f64, &PoleMark)> = Vec::new();
    for (speed, poles) in &data.points {
        let here = poles
            .iter()
            .filter(|q| q.motion == motion && q.im > 1e-6 && shown(data, q));
        found.extend(here.map(|q| (*speed, q)));
    }
    let last = found.len().saturating_sub(1);
    for (i, (speed, pole)) in found.into_iter().enumerate() {
        if i == 0 || i == last {
            let unit = &data.parameter[1];
            let words = format!("{motion}, {} {unit}", PolePicture::number(speed));
            let note = Note::new([pole.re, pole.im], words.trim_end());
            p.add(note.shift(7.0, 0.0).size(10.0).yielding());
        }
    }
}

fn real_parts(data: &PolePicture, motions: &[&str]) -> Panel {
    let re = data.window[0];
    let y = Axis::new("real part, positive unstable", "1/s").range(re[0], re[1]);
    let mut x = data.axis();
    if let (Some(a), Some(b)) = (data.points.first(), data.points.last()) {
        let more = 0.03 * (b.0 - a.0).max(1e-9);
        x = x.range(a.0 - more, b.0 + more);
    }
    let mut p = Panel::new(format!("Real parts against {}", data.parameter[0]), x, y);
    p.add(unstable(None, Some([0.0, re[1]])));
    p.add(Rule::level(0.0, "").look(Look::plain(Colour::INK)));
    for (k, motion) in motions.iter().enumerate() {
        p.add(marks(data, k, motion, |speed, q| [speed, q.re]));
    }
    for (at, words) in &data.marks {
        let look = Look::plain(Colour::VERMILLION).dash(Dash::Dashed);
        p.add(Rule::upright(*at, words.as_str()).look(look));
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn poles_are_shaded_where_unstable() {
        let speeds = (0..=10).map(|i| {
            let u = 2.0 * f64::from(i);
            let pole = |re: f64, im: f64, motion: &str| PoleMark {
                re,
                im,
                motion: motion.into(),
            };
            let square = 0.2 - 0.0011 * u * u;
            let mut all = vec![
                pole(-0.01 - 0.018 * u, 0.72 + 0.004 * u, "heave"),
                pole(-0.02 - 0.01 * u, 0.45, "roll"),
                pole(-8.0, 9.0, "fins, lags, memory"),
            ];
            if square > 0.0 {
                all.push(pole(-0.02 - 0.012 * u, square.sqrt(), "pitch"));
            } else {
                let r = (-square).sqrt();
                all.push(pole(-0.02 - 0.012 * u - r, 0.0, "pitch"));
                all.push(pole(-0.02 - 0.012 * u + 1.4 * r, 0.0, "pitch"));
            }
            (u, all)
        });
        let data = PolePicture {
            heading: Heading::new(
                "Poles against speed",
                "Tarnwick, fins removed, heave, pitch and roll",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            parameter: ["speed".into(), "kn".into()],
            points: speeds.collect(),
            window: [[-1.0, 0.4], [0.0, 1.0]],
            marks: vec![(17.2, "divergence 17.2 kn".into())],
            rays: vec![0.3],
        };
        let figure = pole_picture(&data);
        let texts = [
            "unstable",
            "divergence 17.2 kn",
            "imaginary part (rad/s)",
            "speed (kn)",
            "outside",
        ];
        check(&figure, "poles", &texts);
        assert_eq!(figure.panel_count(), 2);
    }
}
