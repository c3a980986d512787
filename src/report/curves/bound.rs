//! Least reachable ride against fin activity, with each law's place and how far it is from the bound.
//!
//! # Checked by
//! `bound_is_drawn_with_laws`

use super::pairs;
use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Note, Panel, Points, Row, Rule, Shape,
};

/// A law's place.
#[derive(Clone, Debug, PartialEq)]
pub struct BoundLaw {
    /// Name.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// Fin RMS angle, deg.
    pub angle_deg: f64,
    /// RMS of the ride.
    pub ride: f64,
    /// The bound at the law's own fin RMS angle and rate.
    pub least: f64,
    /// Words at the point: `+34 %`, `2.4 times`.
    pub words: String,
}

/// One ride.
#[derive(Clone, Debug, PartialEq)]
pub struct BoundPanel {
    /// With its sign: `heave`.
    pub name: String,
    /// Unit; empty for none.
    pub unit: String,
    /// RMS with fins fixed, where there is one.
    pub fixed: Option<f64>,
    /// Fin RMS angles of both curves, deg.
    pub angle_deg: Vec<f64>,
    /// Least RMS of any causal linear law.
    pub least: Vec<f64>,
    /// Least RMS if every wave were known beforehand.
    pub foreknown: Vec<f64>,
    /// Laws.
    pub laws: Vec<BoundLaw>,
}

/// All rides of one case.
#[derive(Clone, Debug, PartialEq)]
pub struct BoundPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Rides.
    pub panels: Vec<BoundPanel>,
}

/// Panels two a row.
pub fn bound_picture(data: &BoundPicture) -> Figure {
    let two = |p: &[BoundPanel]| Row::of(235.0, p.iter().map(panel).collect());
    let rows = data.panels.chunks(2).map(two).collect();
    let mut figure = Figure::new(data.heading.clone(), rows);
    let note = "Words: above the least, or how many times it. The stem under a law ends at the least ride at its own fin RMS angle and rate; the curve \
                leaves the rate free. No causal linear law lies below the solid curve, nothing at all below the \
                dashed one. Linear model, no limits.";
    figure.footer = format!("{note}\n{}", figure.footer);
    figure
}

fn panel(data: &BoundPanel) -> Panel {
    let x = Axis::new("fin RMS angle about trim", "deg").with_zero();
    let y = Axis::new("RMS", data.unit.as_str()).with_zero();
    let mut p = Panel::new(data.name.as_str(), x, y);
    let joined = |y: &[f64]| {
        let mut xy: Vec<[f64; 2]> = data.fixed.iter().map(|f| [0.0, *f]).collect();
        xy.extend(pairs(&data.angle_deg, y));
        xy
    };
    if let Some(fixed) = data.fixed {
        let pale = Look::plain(Colour::INK.mixed(Colour::WHITE, 0.45)).dash(Dash::Dotted);
        p.add(Rule::level(fixed, "").look(pale));
    }
    let known = Look::plain(Colour::INK.mixed(Colour::WHITE, 0.45)).dash(Dash::Dashed);
    p.add(
        Line::new(
            "every wave known beforehand",
            known,
            joined(&data.foreknown),
        )
        .width(1.6),
    );
    let least = Look::plain(Colour::BLACK);
    p.add(Line::new("least of any causal linear law", least, joined(&data.least)).width(2.4));
    if let Some(fixed) = data.fixed {
        let mark = Look::plain(Colour::BLACK).marker(Marker::Circle);
        p.add(Points::new("fins fixed", mark, vec![[0.0, fixed]]));
    }
    for law in &data.laws {
        let look = Look::nth(law.look);
        let thin = Look::plain(look.colour);
        let stem = vec![[law.angle_deg, law.ride], [law.angle_deg, law.least]];
        p.add(Shape::open(thin, stem).width(1.3));
        let foot = thin.marker(Marker::Plus);
        p.add(Points::new("", foot, vec![[law.angle_deg, law.least]]));
        let at = [law.angle_deg, law.ride];
        p.add(Points::new(law.name.as_str(), look, vec![at]));
        let words = Note::new(at, law.words.as_str()).on_paper();
        // a law with another to its right has its words to the left
        let is_left = data.laws.iter().any(|o| o.angle_deg > law.angle_deg);
        let words = if is_left {
            words.lean(-1.0, 0.0).shift(-7.0, -7.0)
        } else {
            words.shift(7.0, -7.0)
        };
        p.add(words.colour(look.colour.mixed(Colour::BLACK, 0.3)));
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn bound_is_drawn_with_laws() {
        let angle_deg: Vec<f64> = (1..=12).map(|i| 0.5 * f64::from(i)).collect();
        let panel = |name: &str, unit: &str, fixed: f64| {
            let least: Vec<f64> = angle_deg
                .iter()
                .map(|a| fixed * (0.35 + 0.65 * (-a / 2.0).exp()))
                .collect();
            let law = |name: &str, look, angle: f64, over: f64| BoundLaw {
                name: name.into(),
                look,
                angle_deg: angle,
                ride: fixed * (0.35 + 0.65 * (-angle / 2.0).exp()) * over,
                least: fixed * (0.36 + 0.65 * (-angle / 2.0).exp()),
                words: format!("+{:.0} %", 100.0 * (over - 1.0)),
            };
            BoundPanel {
                name: name.into(),
                unit: unit.into(),
                fixed: Some(fixed),
                foreknown: least.iter().map(|l| 0.7 * l).collect(),
                least,
                angle_deg: angle_deg.clone(),
                laws: vec![law("modal PID", 1, 2.2, 1.4), law("LQG", 2, 3.1, 1.15)],
            }
        };
        let data = BoundPicture {
            heading: Heading::new(
                "Least reachable ride",
                "Tarnwick, 16 kn, head seas 180°",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            panels: vec![
                panel("Heave", "m", 0.31),
                panel("Pitch", "deg", 1.4),
                panel("Bridge, vertical acceleration", "m/s²", 0.62),
            ],
        };
        let figure = bound_picture(&data);
        assert_eq!(figure.panel_count(), 3);
        let texts = [
            "least of any causal linear law",
            "every wave known beforehand",
            "fins fixed",
            "modal PID",
            "+40 %",
        ];
        check(&figure, "bound", &texts);
    }
}
