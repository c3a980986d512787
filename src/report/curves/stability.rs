//! Stability against speed: where the pitch stiffness comes from, fin angles at trim, range left.
//!
//! # Checked by
//! `stability_shows_its_parts`

use super::pairs;
use crate::report::chart::{
    Axis, Colour, Dash, Figure, Hatch, Heading, Line, Look, Marker, Panel, Row, Rule, Stack,
};

/// Pitch stiffness in parts, and the pairs at trim; one entry a speed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StabilityPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Speeds, kn.
    pub speed_kn: Vec<f64>,
    /// Hydrostatic part, N m/rad.
    pub hydrostatic_nm: Vec<f64>,
    /// Hull in motion (Munk moment, body lift), negative: destabilising.
    pub hull_nm: Vec<f64>,
    /// Surfaces, downwash included.
    pub surfaces_nm: Vec<f64>,
    /// Sum, heave held.
    pub net_nm: Vec<f64>,
    /// Heave free.
    pub net_heave_free_nm: Vec<f64>,
    /// Forward pair at trim, trailing edge down positive, deg; not a number where there is no trim.
    pub forward_deg: Vec<f64>,
    /// Aft pair at trim, deg.
    pub aft_deg: Vec<f64>,
    /// Limit of the forward pair at each speed, deg; empty when not shown.
    pub forward_limit_deg: Vec<f64>,
    /// Limit of the aft pair at each speed, deg.
    pub aft_limit_deg: Vec<f64>,
    /// Speeds to mark, kn, and their words: divergence with fins and without.
    pub marks: Vec<(f64, String)>,
}

/// Stacked parts with the net stiffness, and the pairs at trim with the range left.
pub fn stability_picture(data: &StabilityPicture) -> Figure {
    let rows = vec![
        Row::of(285.0, vec![stiffness(data)]),
        Row::of(215.0, vec![trim(data), range_left(data)]),
    ];
    Figure::new(data.heading.clone(), rows)
}

fn mega(v: &[f64]) -> Vec<f64> {
    v.iter().map(|v| v / 1e6).collect()
}

fn x_axis(data: &StabilityPicture) -> Axis {
    let mut x = Axis::new("speed", "kn");
    if let (Some(a), Some(b)) = (data.speed_kn.first(), data.speed_kn.last()) {
        let more = 0.6 * spacing(&data.speed_kn);
        x = x.range(a - more, b + more);
    }
    x
}

/// Least distance of neighbouring speeds.
fn spacing(x: &[f64]) -> f64 {
    let d = x
        .windows(2)
        .map(|p| (p[1] - p[0]).abs())
        .fold(f64::MAX, f64::min);
    if d < f64::MAX { d } else { 1.0 }
}

fn stiffness(data: &StabilityPicture) -> Panel {
    let y = Axis::new("stiffness, restoring positive", "MN m/rad");
    let mut p = Panel::new("Pitch stiffness in parts", x_axis(data), y.with_zero());
    let grey = Look::plain(Colour(110, 110, 110));
    let look = |colour: Colour, hatch: Hatch| Look::plain(colour).hatch(hatch);
    p.add(Stack {
        x: data.speed_kn.clone(),
        width: 0.6 * spacing(&data.speed_kn),
        parts: vec![
            ("hydrostatic".into(), grey, mega(&data.hydrostatic_nm)),
            (
                "control surfaces".into(),
                look(Colour::BLUE, Hatch::Rising),
                mega(&data.surfaces_nm),
            ),
            (
                "hull in motion".into(),
                look(Colour::VERMILLION, Hatch::Falling),
                mega(&data.hull_nm),
            ),
        ],
    });
    p.add(Rule::level(0.0, "").look(Look::plain(Colour::INK)));
    let net = Look::plain(Colour::BLACK).marker(Marker::Circle);
    let xy = |v: &[f64]| pairs(&data.speed_kn, &mega(v));
    let count = data.speed_kn.len();
    p.add(
        Line::new("net, heave held", net, xy(&data.net_nm))
            .width(2.0)
            .markers(count),
    );
    let free = Look::plain(Colour::GREEN)
        .dash(Dash::Dashed)
        .marker(Marker::Diamond);
    let line = Line::new("net, heave free", free, xy(&data.net_heave_free_nm));
    p.add(line.width(2.0).markers(count));
    marks(&mut p, data, true);
    p
}

fn marks(p: &mut Panel, data: &StabilityPicture, named: bool) {
    for (at, words) in &data.marks {
        let look = Look::plain(Colour::VERMILLION.mixed(Colour::BLACK, 0.25)).dash(Dash::Dotted);
        p.add(Rule::upright(*at, if named { words.as_str() } else { "" }).look(look));
    }
}

const FORWARD: Look = Look {
    colour: Colour::BLUE,
    dash: Dash::Solid,
    marker: Marker::Circle,
    hatch: Hatch::None,
};
const AFT: Look = Look {
    colour: Colour::VERMILLION,
    dash: Dash::Dashed,
    marker: Marker::Square,
    hatch: Hatch::None,
};

fn trim(data: &StabilityPicture) -> Panel {
    let y = Axis::new("angle", "deg").with_zero();
    let mut p = Panel::new(
        "Fin angles at trim, trailing edge down positive",
        x_axis(data),
        y,
    );
    let n = data.speed_kn.len();
    let pairs_of = [
        (
            "forward fins",
            FORWARD,
            &data.forward_deg,
            &data.forward_limit_deg,
        ),
        ("aft fins", AFT, &data.aft_deg, &data.aft_limit_deg),
    ];
    for (name, look, angle, limit) in pairs_of {
        p.add(Line::new(name, look, pairs(&data.speed_kn, angle)).markers(n));
        for sign in [1.0, -1.0] {
            let limit: Vec<f64> = limit.iter().map(|v| sign * v).collect();
            let pale = Look::plain(Colour::WHITE.mixed(look.colour, 0.6)).dash(Dash::Dotted);
            let name = format!("{name}, limit");
            p.add(Line::new(name, pale, pairs(&data.speed_kn, &limit)).width(1.4));
        }
    }
    marks(&mut p, data, false);
    p
}

fn range_left(data: &StabilityPicture) -> Panel {
    let y = Axis::new("range left", "deg").with_zero();
    let mut p = Panel::new("Fin range left to the nearer limit", x_axis(data), y);
    let n = data.speed_kn.len();
    let pairs_of = [
        (
            "forward fins",
            FORWARD,
            &data.forward_deg,
            &data.forward_limit_deg,
        ),
        ("aft fins", AFT, &data.aft_deg, &data.aft_limit_deg),
    ];
    for (name, look, angle, limit) in pairs_of {
        let left: Vec<f64> = angle.iter().zip(limit).map(|(a, l)| l - a.abs()).collect();
        p.add(Line::new(name, look, pairs(&data.speed_kn, &left)).markers(n));
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn stability_shows_its_parts() {
        let speed: Vec<f64> = (0..=10).map(|i| 2.0 * f64::from(i)).collect();
        let square = |f: f64| -> Vec<f64> { speed.iter().map(|u| f * u * u).collect() };
        let (hull, fins) = (square(-7.5e4), square(7.2e4));
        let sum = |f: f64| -> Vec<f64> {
            hull.iter()
                .zip(&fins)
                .map(|(a, b)| 9.4e6 + a + f * b)
                .collect()
        };
        let data = StabilityPicture {
            heading: Heading::new(
                "Pitch stability against speed",
                "Tarnwick; divergence without fins at 12.1 kn, with fins: none up to 40 kn",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            hydrostatic_nm: vec![9.4e6; speed.len()],
            net_nm: sum(1.0),
            net_heave_free_nm: sum(0.93),
            forward_deg: speed
                .iter()
                .map(|u| if *u < 5.0 { f64::NAN } else { 0.4 * u - 4.0 })
                .collect(),
            aft_deg: speed
                .iter()
                .map(|u| if *u < 5.0 { f64::NAN } else { 2.0 - 0.2 * u })
                .collect(),
            forward_limit_deg: speed.iter().map(|u| (26.0 - 0.6 * u).min(20.0)).collect(),
            aft_limit_deg: speed.iter().map(|u| (28.0 - 0.6 * u).min(22.0)).collect(),
            hull_nm: hull,
            surfaces_nm: fins,
            marks: vec![(12.1, "divergence without fins 12.1 kn".into())],
            speed_kn: speed,
        };
        let figure = stability_picture(&data);
        let texts = [
            "control surfaces",
            "net, heave free",
            "Fin range left",
            "MN m/rad",
            "12.1 kn",
        ];
        check(&figure, "stability", &texts);
        assert_eq!(figure.panel_count(), 3);
    }
}
