//! Loci of loops about minus one, with the disk that a disk margin keeps free.
//!
//! # Checked by
//! `loci_keep_out_of_the_disk`

use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Note, Panel, Points, Row, Shape,
};

/// A locus.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Locus {
    /// In the legend.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// Real and imaginary part at positive frequencies.
    pub points: Vec<[f64; 2]>,
    /// Where it comes closest in the sense of the disk.
    pub worst: Option<[f64; 2]>,
}

/// Loci side by side.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NyquistPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Name of a set of loops and the loops.
    pub sets: Vec<(String, Vec<Locus>)>,
    /// Disk margin that is asked for, with words for it.
    pub asked: Option<(f64, String)>,
    /// Least disk margin of each set.
    pub least: Vec<f64>,
}

/// Real axis points of the disk that a symmetric disk margin keeps free, and its corners.
fn disk(alpha: f64) -> Vec<[f64; 2]> {
    let (near, far) = ((2.0 - alpha) / (2.0 + alpha), (2.0 + alpha) / (2.0 - alpha));
    let (centre, radius) = (-0.5 * (near + far), 0.5 * (far - near));
    (0..90)
        .map(|i| {
            let (s, c) = (f64::from(i) * std::f64::consts::TAU / 90.0).sin_cos();
            [centre + radius * c, radius * s]
        })
        .collect()
}

/// One panel a set.
pub fn nyquist_picture(data: &NyquistPicture) -> Figure {
    let panels = data
        .sets
        .iter()
        .enumerate()
        .map(|(k, (name, loci))| panel(data, k, name, loci))
        .collect();
    Figure::new(data.heading.clone(), vec![Row::of(440.0, panels)])
}

fn panel(data: &NyquistPicture, k: usize, name: &str, loci: &[Locus]) -> Panel {
    let x = Axis::new("real part of the loop", "").range(-3.2, 1.4);
    let y = Axis::new("imaginary part", "").range(-2.3, 2.3);
    let mut p = Panel::new(name, x, y);
    p.equal = true;
    let circle: Vec<[f64; 2]> = (0..=120)
        .map(|i| {
            let (s, c) = (f64::from(i) * std::f64::consts::TAU / 120.0).sin_cos();
            [c, s]
        })
        .collect();
    let pale = Look::plain(Colour::GREY).dash(Dash::Dotted);
    p.add(Shape::open(pale, circle).width(0.9));
    if let Some((alpha, words)) = &data.asked {
        let look = Look::plain(Colour::VERMILLION).dash(Dash::Dashed);
        let shape = Shape::closed(look, disk(*alpha)).fill(0.10);
        p.add(shape.name(words.as_str()));
    }
    let least = data.least.get(k).copied().filter(|a| *a < 1.98);
    if let Some(alpha) = least {
        let look = Look::plain(Colour::INK);
        p.add(Shape::closed(look, disk(alpha)).name("largest free disk, one loop at a time"));
    }
    for l in loci {
        let look = Look::nth(l.look);
        p.add(Line::new(l.name.as_str(), look, l.points.clone()));
        if let Some(at) = l.worst {
            let look = Look::plain(look.colour).marker(Marker::Circle);
            p.add(Points::new("", look, vec![at]));
        }
    }
    let cross = Look::plain(Colour::INK).marker(Marker::Plus);
    p.add(Points::new("", cross, vec![[-1.0, 0.0]]));
    p.add(Note::new([-1.0, 0.0], "-1").shift(5.0, 10.0).size(10.0));
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn loci_keep_out_of_the_disk() {
        let points = (0..300).map(|i| {
            let s = num_complex::Complex64::new(0.0, 0.05 * 1.03_f64.powi(i));
            let l = 10.0 / (s * (s + 1.0) * (s + 5.0));
            [l.re, l.im]
        });
        let data = NyquistPicture {
            heading: Heading::new("Loci", "16 kn", "Data are synthetic."),
            sets: vec![(
                "Demands".into(),
                vec![Locus {
                    name: "pitch demand".into(),
                    look: 1,
                    points: points.collect(),
                    worst: Some([-0.6, -0.3]),
                }],
            )],
            asked: Some((2.0 / 3.0, "6 dB and 37°: common practice".into())),
            least: vec![0.4],
        };
        let figure = nyquist_picture(&data);
        check(
            &figure,
            "nyquist",
            &["pitch demand", "common practice", "-1"],
        );
        // factors of two either way meet the axis at -1/2 and -2
        let ring = disk(2.0 / 3.0);
        let right = ring.iter().map(|p| p[0]).fold(f64::MIN, f64::max);
        assert!((right + 0.5).abs() < 1e-12, "{right}");
    }
}
