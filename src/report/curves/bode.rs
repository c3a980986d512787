//! Gain and phase of loops against frequency, margins marked.
//!
//! # Checked by
//! `bode_marks_its_margins`

use super::pairs;
use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Note, Panel, Points, Row, Rule,
};

/// A loop.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BodeCurve {
    /// In the legend.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// rad/s, ascending.
    pub omega_rad_s: Vec<f64>,
    /// dB.
    pub gain_db: Vec<f64>,
    /// Phase of the loop, deg; negative feedback, so that -180 at gain one is the edge.
    pub phase_deg: Vec<f64>,
    /// Frequency and phase margin (deg) of the worst crossing of gain one.
    pub phase_margin: Option<[f64; 2]>,
    /// Frequency and factors (dB) that bring the loop to its edge: up, down.
    pub gain_margins: Vec<[f64; 2]>,
}

/// Loops side by side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BodePicture {
    /// Words at the head.
    pub heading: Heading,
    /// Name of a set of loops and the loops.
    pub sets: Vec<(String, Vec<BodeCurve>)>,
    /// Frequencies shown, rad/s.
    pub range_rad_s: [f64; 2],
}

/// Gain above phase, one column a set.
pub fn bode_picture(data: &BodePicture) -> Figure {
    let gains = data.sets.iter().map(|s| gain(data, s)).collect();
    let phases = data.sets.iter().map(|s| phase(data, s)).collect();
    Figure::new(
        data.heading.clone(),
        vec![Row::of(280.0, gains), Row::of(270.0, phases)],
    )
}

fn frequency(data: &BodePicture) -> Axis {
    let [low, high] = data.range_rad_s;
    Axis::new("frequency", "rad/s").range(low, high).log()
}

fn gain(data: &BodePicture, (name, curves): &(String, Vec<BodeCurve>)) -> Panel {
    let y = Axis::new("loop gain", "dB").range(-50.0, 30.0).step(10.0);
    let mut p = Panel::new(name.as_str(), frequency(data).quiet(), y);
    p.add(Rule::level(0.0, "gain one").look(Look::plain(Colour::INK).dash(Dash::Dashed)));
    for c in curves {
        let look = Look::nth(c.look);
        p.add(Line::new(
            c.name.as_str(),
            look,
            pairs(&c.omega_rad_s, &c.gain_db),
        ));
        // a loop at gain -k dB needs k dB to reach its edge
        let marks: Vec<[f64; 2]> = c.gain_margins.iter().map(|m| [m[0], -m[1]]).collect();
        p.add(dots(c, &marks));
        for m in &c.gain_margins {
            let words = format!("{} {:+.1} dB", c.name, m[1]);
            p.add(
                Note::new([m[0], -m[1]], words)
                    .shift(7.0, 0.0)
                    .size(9.5)
                    .yielding(),
            );
        }
    }
    p
}

fn phase(data: &BodePicture, (_, curves): &(String, Vec<BodeCurve>)) -> Panel {
    let y = Axis::new("phase, -180 deg at gain one is the edge", "deg")
        .range(-360.0, 0.0)
        .step(45.0);
    let mut p = Panel::new("", frequency(data), y);
    p.add(Rule::level(-180.0, "edge").look(Look::plain(Colour::INK).dash(Dash::Dashed)));
    for c in curves {
        let look = Look::nth(c.look);
        p.add(Line::new("", look, wrapped(&c.omega_rad_s, &c.phase_deg)));
        if let Some([w, margin]) = c.phase_margin {
            let at = [w, turned(-180.0 + margin)];
            p.add(dots(c, &[at]));
            let words = format!("{} {margin:+.0}°", c.name);
            p.add(Note::new(at, words).shift(7.0, 0.0).size(9.5).yielding());
        }
    }
    p
}

fn dots(c: &BodeCurve, at: &[[f64; 2]]) -> Points {
    let look = Look::plain(Look::nth(c.look).colour).marker(Marker::Circle);
    Points::new("", look, at.to_vec())
}

/// Into -360 to 0.
fn turned(deg: f64) -> f64 {
    deg.rem_euclid(360.0) - 360.0
}

/// Phases between -360 and 0, the line broken where they leap.
fn wrapped(x: &[f64], deg: &[f64]) -> Vec<[f64; 2]> {
    let mut all: Vec<[f64; 2]> = Vec::with_capacity(x.len());
    for (w, d) in x.iter().zip(deg) {
        let next = turned(*d);
        if all.last().is_some_and(|l| (l[1] - next).abs() > 180.0) {
            all.push([*w, f64::NAN]);
        }
        all.push([*w, next]);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn bode_marks_its_margins() {
        let omega: Vec<f64> = (0..200).map(|i| 0.01 * 1.05_f64.powi(i)).collect();
        let curve = |name: &str, k: f64, look: usize| {
            let of = |w: &f64| {
                let s = num_complex::Complex64::new(0.0, *w);
                k / (s * (s + 1.0) * (s + 5.0))
            };
            BodeCurve {
                name: name.into(),
                look,
                gain_db: omega.iter().map(|w| 20.0 * of(w).norm().log10()).collect(),
                phase_deg: omega.iter().map(|w| of(w).arg().to_degrees()).collect(),
                phase_margin: Some([1.2270639, 25.389823]),
                gain_margins: vec![[2.236068, 20.0 * (30.0 / k).log10()]],
                omega_rad_s: omega.clone(),
            }
        };
        let data = BodePicture {
            heading: Heading::new("Loops", "16 kn, one at a time", "Data are synthetic."),
            sets: vec![
                ("Demands".into(), vec![curve("pitch demand", 10.0, 0)]),
                (
                    "Fins".into(),
                    vec![curve("forward", 10.0, 0), curve("aft", 5.0, 1)],
                ),
            ],
            range_rad_s: [0.02, 30.0],
        };
        let figure = bode_picture(&data);
        assert_eq!(figure.panel_count(), 4);
        check(
            &figure,
            "bode",
            &["loop gain (dB)", "pitch demand +25°", "+9.5 dB", "edge"],
        );
        assert!((turned(170.0) + 190.0).abs() < 1e-12);
        // -359 and -1 deg lie a leap apart: two places and the gap between them
        assert_eq!(wrapped(&[1.0, 2.0], &[-359.0, 359.0]).len(), 3);
        assert_eq!(wrapped(&[1.0, 2.0], &[-20.0, -30.0]).len(), 2);
    }
}
