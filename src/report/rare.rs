//! Picture of rare events: how likely a record reaches a response, down to the rarest, beside plain runs.
//!
//! # Checked by
//! `curves_of_rare_events_say_what_they_show`

use super::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Panel, Points, Row, Rule,
};
use crate::campaign::rare::told::{EventTold, Told};
use crate::spec::number;

/// Points of the plain runs' curve that are drawn with their interval.
const PLAIN_POINTS: usize = 14;

/// The picture.
pub fn figure(told: &Told) -> Figure {
    let panels: Vec<Panel> = told.events.iter().enumerate().map(panel).collect();
    let height = if panels.len() == 1 { 380.0 } else { 300.0 };
    let rows = panels.chunks(2).map(|two| Row::of(height, two.to_vec()));
    let fault = told.fault.as_ref();
    let fault = fault.map_or_else(String::new, |f| format!(", {f}"));
    let subtitle = format!(
        "{}, {}, {}{fault}, {} kn, {}°, records of {} s",
        told.craft,
        told.law,
        told.sea,
        number(told.speed_kn),
        number(told.heading_deg),
        number(told.duration_s)
    );
    let heading = Heading::new(
        format!("Rare events: {}", told.name),
        subtitle,
        "Invented demonstration craft and seas where the files say so",
    );
    let mut figure = Figure::new(heading, rows.collect());
    figure.footer = format!(
        "Band and whiskers: {:.0} % intervals; of the search from the scatter of its repetitions, of plain runs \
         after Clopper and Pearson. Dotted: levels that the search climbs by.{}\n{}",
        100.0 * told.level_frac,
        if told.events.iter().any(|e| e.quantity.contains("depth")) {
            " A negative depth is height above the water."
        } else {
            ""
        },
        figure.footer
    );
    figure
}

fn panel((index, e): (usize, &EventTold)) -> Panel {
    let mut x = Axis::new(e.quantity.clone(), e.unit);
    if let Some(first) = e.curve.first() {
        // room behind the event, so that its line is seen
        let last = e.curve.last().map_or(first[0], |c| c[0]);
        x = x.range(first[0], last.max(e.threshold) + 0.05 * (last - first[0]));
    }
    let drawn = |c: &[f64; 4]| c[1] > 0.0 && c[2] > 0.0;
    let curve: Vec<[f64; 4]> = e.curve.iter().copied().filter(drawn).collect();
    let plain = e.plain.as_ref().map_or(&[][..], |p| &p.curve);
    let least = curve.iter().chain(plain).map(|c| c[2]);
    let least = least.filter(|p| *p > 0.0).fold(0.1, f64::min);
    let floor = 10f64.powf(least.log10().floor());
    let y = Axis::new("probability that a record reaches it", "")
        .range(floor, 1.0)
        .log();
    let found = if e.probability.value > 0.0 {
        table_number(e.probability.value)
    } else {
        "not met".to_owned()
    };
    let title = format!("{}: {found}", e.event);
    let mut panel = Panel::new(title, x, y);
    for l in e.levels.iter().filter_map(|l| l.above) {
        let pale = Colour::WHITE.mixed(Colour::GREY, 0.6);
        panel.add(Rule::upright(l, "").look(Look::plain(pale).dash(Dash::Dotted)));
    }
    panel.add(Rule::upright(e.threshold, "event").look(Look::nth(2)));
    let band = curve.iter().map(|c| [c[2], c[3].min(1.0)]).collect();
    // a colour and a stroke for each event, beside those of plain runs and of the event
    let look = [0, 3, 4, 5, 6][index % 5];
    let line = Line::new(
        format!("search, {} runs", e.runs),
        Look::nth(look),
        curve.iter().map(|c| [c[0], c[1]]).collect(),
    );
    panel.add(line.band(band));
    if let Some(p) = &e.plain {
        let step = (plain.len() / PLAIN_POINTS).max(1);
        let some: Vec<&[f64; 4]> = plain.iter().rev().step_by(step).collect();
        let mut points = Points::new(
            format!("{} plain runs", p.runs),
            Look::nth(1).marker(Marker::Circle),
            some.iter().map(|c| [c[0], c[1]]).collect(),
        );
        points.interval = some.iter().map(|c| [c[2].max(floor), c[3]]).collect();
        panel.add(points);
    }
    panel
}

/// A probability in two digits as people say it: `1 in 3100`.
fn table_number(p: f64) -> String {
    let one_in = 1.0 / p;
    let round = 10f64.powf(one_in.log10().floor() - 1.0).max(0.1);
    format!("1 in {}", number((one_in / round).round() * round))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::rare::told::{LevelTold, PlainTold};
    use crate::math::stats::Interval;
    use crate::report::chart::tests::check;

    fn told() -> Told {
        let tail = |x: f64| (-0.5 * x * x).exp();
        let curve = |wide: f64, end: f64| {
            let at = (0..40)
                .map(|k| 1.2 + 0.1 * f64::from(k))
                .filter(|x| *x < end);
            at.map(|x| {
                [
                    x,
                    tail(x),
                    tail(x) / (1.0 + wide * x),
                    tail(x) * (1.0 + wide * x),
                ]
            })
            .collect::<Vec<_>>()
        };
        let interval = Interval {
            value: tail(4.5),
            low: 0.6 * tail(4.5),
            high: 1.5 * tail(4.5),
        };
        Told {
            name: "test".into(),
            craft: "Tarnwick".into(),
            law: "PID".into(),
            sea: "rough sea".into(),
            fault: None,
            speed_kn: 16.0,
            heading_deg: 180.0,
            duration_s: 60.0,
            run_in_s: 30.0,
            seed: 1,
            level_frac: 0.95,
            events: vec![EventTold {
                event: "roll beyond 4.5 deg".into(),
                quantity: "roll".into(),
                unit: "deg",
                threshold: 4.5,
                probability: interval,
                rate_per_h: interval,
                repetitions_with_it: 10,
                runs: 20_000,
                simulated_s: 1.8e6,
                cov_frac: Some(0.2),
                cov_from_within_frac: Some(0.2),
                equal_plain_runs: Some(6e5),
                cost_ratio: Some(interval),
                left_range_frac: 0.0,
                levels: vec![
                    LevelTold {
                        above: None,
                        share_frac: 0.1,
                        accepted_frac: 1.0,
                    },
                    LevelTold {
                        above: Some(2.15),
                        share_frac: 0.1,
                        accepted_frac: 0.4,
                    },
                ],
                curve: curve(0.08, 4.8),
                plain: Some(PlainTold {
                    runs: 4000,
                    hits: 0,
                    probability: interval,
                    agrees: true,
                    curve: curve(0.15, 3.9),
                }),
                repetitions: vec![],
            }],
            caution: "",
        }
    }

    #[test]
    fn curves_of_rare_events_say_what_they_show() {
        let figure = figure(&told());
        assert_eq!(figure.panel_count(), 1);
        check(
            &figure,
            "rare_exceedance",
            &[
                "roll beyond 4.5 deg",
                "roll (deg)",
                "probability that a record reaches it",
                "4000 plain runs",
                "20000 runs",
                "event",
            ],
        );
    }
}
