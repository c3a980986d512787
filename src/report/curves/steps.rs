//! Answers to an impulse and to a step of force or moment, with the fins' angles.
//!
//! # Checked by
//! `answers_stand_in_rows`

use super::pairs;
use crate::report::chart::{Axis, Figure, Heading, Line, Look, Panel, Row};

/// A curve against time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeCurve {
    /// In the legend: the law.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// s.
    pub t_s: Vec<f64>,
    /// Values in the unit of the panel.
    pub values: Vec<f64>,
}

/// One motion: the answer to an impulse, to a step, and what the fins do in the step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AnswerRow {
    /// With its sign: `heave, up positive`.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// What pushes: `Moment for 1° of heel`.
    pub push: String,
    /// Answers to the impulse of one second of it.
    pub impulse: Vec<TimeCurve>,
    /// Answers to the step.
    pub step: Vec<TimeCurve>,
    /// Largest fin angle in the step, deg.
    pub fins_deg: Vec<TimeCurve>,
}

/// All motions.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AnswerPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Rows.
    pub rows: Vec<AnswerRow>,
}

/// Rows of three panels.
pub fn answer_picture(data: &AnswerPicture) -> Figure {
    let last = data.rows.len().saturating_sub(1);
    let rows = data.rows.iter().enumerate().map(|(i, r)| {
        let time = || {
            let x = Axis::new("time", "s").with_zero();
            if i == last { x } else { x.quiet() }
        };
        let panel = |heading: String, label: &str, unit: &str, curves: &[TimeCurve]| {
            let y = Axis::new(label, unit).with_zero();
            let mut p = Panel::new(heading, time(), y);
            for c in curves {
                let xy = pairs(&c.t_s, &c.values);
                p.add(Line::new(c.name.as_str(), Look::nth(c.look), xy));
            }
            p
        };
        let panels = vec![
            panel(format!("{}, for 1 s", r.push), &r.name, &r.unit, &r.impulse),
            panel(format!("{}, for good", r.push), &r.name, &r.unit, &r.step),
            panel(
                "Fins, for good".to_owned(),
                "largest fin angle",
                "deg",
                &r.fins_deg,
            ),
        ];
        Row::of(if i == last { 205.0 } else { 175.0 }, panels)
    });
    Figure::new(data.heading.clone(), rows.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn answers_stand_in_rows() {
        let t: Vec<f64> = (0..200).map(|i| 0.1 * f64::from(i)).collect();
        let curve = |name: &str, look: usize, zeta: f64| TimeCurve {
            name: name.into(),
            look,
            values: t.iter().map(|t| (-zeta * t).exp() * t.sin()).collect(),
            t_s: t.clone(),
        };
        let both = || vec![curve("fins fixed", 0, 0.05), curve("modal PID", 1, 0.4)];
        let row = |name: &str, unit: &str| AnswerRow {
            name: name.into(),
            unit: unit.into(),
            push: "1 deg of moment".into(),
            impulse: both(),
            step: both(),
            fins_deg: vec![curve("modal PID", 1, 0.4)],
        };
        let data = AnswerPicture {
            heading: Heading::new("Answers", "16 kn", "Data are synthetic."),
            rows: vec![
                row("heave, up positive", "m"),
                row("pitch, bow up positive", "deg"),
            ],
        };
        let figure = answer_picture(&data);
        assert_eq!(figure.panel_count(), 6);
        let texts = ["time (s)", "largest fin angle (deg)", "modal PID"];
        check(&figure, "answers", &texts);
    }
}
