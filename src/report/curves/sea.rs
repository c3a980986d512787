//! The sea: spectrum asked for and realised, spreading as a rose.
//!
//! # Checked by
//! `sea_is_drawn`

use super::pairs;
use crate::report::chart::{
    Axis, Cell, Colour, Figure, Heading, Line, Look, Note, Panel, Row, Shape,
};

/// A sea as asked for and as realised.
#[derive(Clone, Debug, PartialEq)]
pub struct SeaPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Frequencies of the target, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// Target spectrum, m² s.
    pub target_m2_s: Vec<f64>,
    /// Frequencies of the realised estimate, rad/s.
    pub realised_omega_rad_s: Vec<f64>,
    /// Realised spectrum, m² s.
    pub realised_m2_s: Vec<f64>,
    /// Low and high of its 95 % interval; empty without one.
    pub realised_band_m2_s: Vec<[f64; 2]>,
    /// Sectors: direction the waves travel to relative to the bow, clockwise from above (deg), and
    /// share of the energy.
    pub sectors: Vec<(f64, f64)>,
    /// Names and values beside the rose.
    pub numbers: Vec<(String, String)>,
}

/// Spectrum and rose.
pub fn sea_picture(data: &SeaPicture) -> Figure {
    let x = Axis::new("wave frequency", "rad/s").with_zero();
    let y = Axis::new("spectral density", "m² s").with_zero();
    let mut spectrum = Panel::new("Wave spectrum at O", x, y);
    let found = Look::nth(1);
    let xy = pairs(&data.realised_omega_rad_s, &data.realised_m2_s);
    let band = data.realised_band_m2_s.clone();
    spectrum.add(Line::new("realised", found, xy).band(band));
    let xy = pairs(&data.omega_rad_s, &data.target_m2_s);
    spectrum.add(Line::new("asked for", Look::plain(Colour::BLACK), xy).width(2.0));
    let row = Row {
        height_px: 300.0,
        cells: vec![
            (1.5, Cell::Panel(Box::new(spectrum))),
            (0.9, Cell::Panel(Box::new(rose(&data.sectors)))),
        ],
    };
    let mut rows = vec![row];
    if !data.numbers.is_empty() {
        let half = data.numbers.len().div_ceil(2);
        let part = |lines: &[(String, String)], heading: &str| {
            (
                1.0,
                Cell::Words {
                    heading: heading.to_owned(),
                    lines: lines.to_vec(),
                },
            )
        };
        let (a, b) = data.numbers.split_at(half);
        rows.push(Row {
            height_px: 30.0 + 16.5 * half as f64,
            cells: vec![part(a, "Asked for and realised"), part(b, "")],
        });
    }
    Figure::new(data.heading.clone(), rows)
}

/// A place on the paper for a distance and a direction clockwise from the bow, bow up.
fn polar(r: f64, mu_deg: f64) -> [f64; 2] {
    let (sin, cos) = mu_deg.to_radians().sin_cos();
    [r * sin, r * cos]
}

fn rose(sectors: &[(f64, f64)]) -> Panel {
    let r = 1.5;
    let axis = || Axis::default().range(-r, r);
    let mut p = Panel::new("Waves travel to", axis(), axis());
    (p.equal, p.bare) = (true, true);
    let thin = Look::plain(Colour::PALE);
    for ring in [1.0 / 3.0, 2.0 / 3.0, 1.0] {
        let circle = (0..72).map(|i| polar(ring, f64::from(i) * 5.0)).collect();
        p.add(Shape::closed(thin, circle).width(0.8));
    }
    for mu in [0.0, 45.0, 90.0, 135.0] {
        p.add(Shape::open(thin, vec![polar(1.0, mu), polar(1.0, mu + 180.0)]).width(0.8));
    }
    let most = sectors.iter().fold(0.0_f64, |a, s| a.max(s.1));
    let half = 0.5 * 360.0 / sectors.len().max(1) as f64;
    for (mu, share) in sectors.iter().filter(|s| s.1 > 0.0) {
        let r = share / most; // length tells the share
        let mut wedge = vec![[0.0, 0.0]];
        wedge.extend((0..=8).map(|i| polar(r, mu - half + f64::from(i) * half / 4.0)));
        p.add(
            Shape::closed(Look::plain(Colour::BLUE), wedge)
                .fill(0.45)
                .width(0.9),
        );
    }
    craft(&mut p);
    let names = [
        (0.0, "following\n0°"),
        (90.0, "starboard\n90°"),
        (180.0, "head\n180°"),
        (270.0, "port\n270°"),
    ];
    for (mu, words) in names {
        let at = polar(1.05, mu);
        let lean = [0.5 * (at[0] / 1.05 - 1.0), -0.5 - 0.5 * at[1] / 1.05];
        p.add(Note::new(at, words).lean(lean[0], lean[1]));
    }
    let words = format!(
        "outer ring: {:.0} % of the energy in a sector",
        100.0 * most
    );
    p.add(
        Note::new([0.0, -r], words)
            .lean(-0.5, -1.0)
            .colour(Colour::GREY)
            .size(10.0),
    );
    p
}

/// Two slender hulls, bow up.
fn craft(p: &mut Panel) {
    for y in [-0.07, 0.07] {
        let hull = vec![
            [y, 0.24],
            [y + 0.03, 0.14],
            [y + 0.03, -0.2],
            [y, -0.24],
            [y - 0.03, -0.2],
            [y - 0.03, 0.14],
        ];
        p.add(
            Shape::closed(Look::plain(Colour::INK), hull)
                .fill(0.75)
                .width(0.8),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn sea_is_drawn() {
        let omega: Vec<f64> = (1..=100).map(|i| f64::from(i) * 0.025).collect();
        let s = |w: f64| 0.35 * (0.9 / w).powi(5) * (-1.25 * (0.9 / w).powi(4)).exp();
        let rough = |i: usize, w: f64| s(w) * (1.0 + 0.25 * (i as f64 * 2.3).sin());
        let target: Vec<f64> = omega.iter().map(|w| s(*w)).collect();
        let realised: Vec<f64> = omega
            .iter()
            .enumerate()
            .map(|(i, w)| rough(i, *w))
            .collect();
        let data = SeaPicture {
            heading: Heading::new(
                "Moderate sea: asked for and realised",
                "Bretschneider, Hs 1.25 m, Tp 7.0 s, cos-2s spreading with s = 4 about 135°, 200 components",
                "Realised: one record of 30 min, estimate over 16 segments",
            ),
            omega_rad_s: omega.clone(),
            target_m2_s: target,
            realised_band_m2_s: realised.iter().map(|v| [0.75 * v, 1.4 * v]).collect(),
            realised_omega_rad_s: omega,
            realised_m2_s: realised,
            sectors: (0..24)
                .map(|i| {
                    let mu = f64::from(i) * 15.0;
                    (mu, (0.5 * (mu - 135.0).to_radians()).cos().powi(8) * 0.13)
                })
                .collect(),
            numbers: [
                ("significant height asked for", "1.25 m"),
                ("significant height realised", "1.23 m"),
                ("peak period asked for", "7.0 s"),
                ("zero-crossing period realised", "5.4 s"),
            ]
            .map(|(a, b)| (a.to_owned(), b.to_owned()))
            .into(),
        };
        let figure = sea_picture(&data);
        let texts = [
            "wave frequency (rad/s)",
            "asked for",
            "starboard",
            "of the energy",
        ];
        check(&figure, "sea", &texts);
        assert_eq!(figure.panel_count(), 2);
    }
}
