//! The front of ride against fin work, the search's course, and the laws confirmed by simulation.
//!
//! # Checked by
//! `front_marks_start_and_winner`

use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Note, Panel, Points, Row,
};

/// What a tuning found, drawn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FrontPicture {
    /// Words at the head.
    pub heading: Heading,
    /// What fin work is and its unit.
    pub work: (String, String),
    /// Work and ride of every law that met the limits.
    pub met: Vec<[f64; 2]>,
    /// Of laws that did not.
    pub missed: Vec<[f64; 2]>,
    /// The front, least work first.
    pub front: Vec<[f64; 2]>,
    /// The law to begin with, when it could be judged.
    pub start: Option<[f64; 2]>,
    /// The winner.
    pub winner: Option<[f64; 2]>,
    /// Least ride that any law could reach at a fin work.
    pub bound: Vec<[f64; 2]>,
    /// Best ride so far against laws judged, for each stage by name.
    pub courses: Vec<(String, Vec<[f64; 2]>)>,
}

/// The front and the course of the search.
pub fn front_picture(data: &FrontPicture) -> Figure {
    let mut rows = vec![Row::of(380.0, vec![front(data)])];
    if !data.courses.is_empty() {
        rows.push(Row::of(230.0, vec![courses(data)]));
    }
    Figure::new(data.heading.clone(), rows)
}

fn front(data: &FrontPicture) -> Panel {
    let (low, high) = window(data);
    let y = Axis::new("ride, 1 is just acceptable", "").range(low[1], high[1]);
    let x = Axis::new(&data.work.0, &data.work.1).range(low[0], high[0]);
    let mut p = Panel::new("Ride against fin work", x, y);
    let cloud = |name: &str, xy: &[[f64; 2]], marker| {
        let colour = Colour::WHITE.mixed(Colour::GREY, 0.55);
        let mut points = Points::new(name, Look::plain(colour).marker(marker), thin(xy));
        points.size_px = 3.5;
        points
    };
    p.add(cloud("limits not met", &data.missed, Marker::Cross));
    p.add(cloud("limits met", &data.met, Marker::Circle));
    if !data.bound.is_empty() {
        let look = Look::plain(Colour::GREEN).dash(Dash::Dashed);
        p.add(Line::new(
            "least that can be reached",
            look,
            data.bound.clone(),
        ));
    }
    let look = Look::plain(Colour::BLUE).marker(Marker::Square);
    p.add(
        Line::new("front", look, data.front.clone())
            .width(2.0)
            .markers(data.front.len()),
    );
    for (i, at) in data.front.iter().enumerate() {
        let note = Note::new(*at, format!("{}", i + 1)).shift(8.0, -7.0);
        p.add(note.colour(Colour::BLUE).size(10.0).yielding());
    }
    let mark = |name: &str, at: [f64; 2], colour, marker| {
        let mut points = Points::new(name, Look::plain(colour).marker(marker), vec![at]);
        points.size_px = 11.0;
        points
    };
    if let Some(at) = data.start {
        p.add(mark("start", at, Colour::INK, Marker::Diamond));
    }
    if let Some(at) = data.winner {
        p.add(mark("winner", at, Colour::VERMILLION, Marker::Triangle));
    }
    p
}

/// What the axes hold: front, start, winner and bound, with the cloud about them.
fn window(data: &FrontPicture) -> ([f64; 2], [f64; 2]) {
    let mut low = [f64::MAX; 2];
    let mut high = [f64::MIN; 2];
    let named = data.front.iter().chain(&data.start).chain(&data.winner);
    for p in named.chain(&data.bound) {
        for k in 0..2 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    if low[0] > high[0] {
        return ([0.0; 2], [1.0; 2]);
    }
    for k in 0..2 {
        let spread = (high[k] - low[k]).max(0.1 * high[k].abs()).max(1e-6);
        low[k] = (low[k] - 0.25 * spread).max(0.0);
        high[k] += 0.35 * spread;
    }
    (low, high)
}

/// At most two thousand points, evenly taken.
fn thin(xy: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let every = xy.len().div_ceil(2000).max(1);
    xy.iter().step_by(every).copied().collect()
}

fn courses(data: &FrontPicture) -> Panel {
    let x = Axis::new("laws judged", "");
    let y = Axis::new("best ride so far", "");
    let mut p = Panel::new("Course of the search: best law that meets the limits", x, y);
    for (k, (name, xy)) in data.courses.iter().enumerate() {
        p.add(Line::new(name, Look::nth(k), xy.clone()).width(1.6));
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn front_marks_start_and_winner() {
        let at = |i: u32| {
            let work = 2.0 + 0.02 * f64::from(i);
            [work, 0.5 + 1.5 / work]
        };
        let above = |i: u32| [at(i)[0], at(i)[1] + 0.02 * f64::from(i * 7919 % 23)];
        let data = FrontPicture {
            heading: Heading::new(
                "Tuning: PID, one gain set",
                "Tarnwick, moderate sea, five headings",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            work: ("fin rate, RMS over fins and cases".into(), "deg/s".into()),
            met: (0..300).map(above).collect(),
            missed: (0..100)
                .map(|i| [above(i)[0] + 4.0, 0.7 * above(i)[1]])
                .collect(),
            front: (0..7).map(|i| at(50 * i)).collect(),
            start: Some([4.0, 1.1]),
            winner: Some(at(300)),
            bound: (0..7)
                .map(|i| [at(50 * i)[0], at(50 * i)[1] - 0.1])
                .collect(),
            courses: vec![(
                "all speeds".into(),
                (0..40)
                    .map(|i| [f64::from(i) * 20.0, 0.7 + 1.0 / f64::from(i + 2)])
                    .collect(),
            )],
        };
        let words = [
            "start",
            "winner",
            "front",
            "limits met",
            "laws judged",
            "deg/s",
        ];
        let figure = front_picture(&data);
        check(&figure, "front", &words);
        assert_eq!(figure.panel_count(), 2);
    }
}
