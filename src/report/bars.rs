//! Ride metrics side by side: fixed against the laws, heading by heading.
//!
//! # Checked by
//! `ride_bars_say_when_a_run_ended`

use super::chart::{Axis, Bar, BarSeries, Figure, Heading, Layer, Look, Panel, Row};

/// One number of one law at one heading.
#[derive(Clone, Debug, PartialEq)]
pub enum RideValue {
    /// A value and its 95 % interval.
    Estimate {
        /// Value.
        value: f64,
        /// Low end.
        low: f64,
        /// High end.
        high: f64,
    },
    /// The run ended before its time; the words say so (`run ended at 83 s`).
    Ended(String),
    /// Not run.
    Absent,
}

/// One quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct RidePanel {
    /// `Heave at O`.
    pub name: String,
    /// `RMS`, `significant`.
    pub measure: String,
    /// `m`, `deg`, `m/s²`.
    pub unit: String,
    /// `values[law][heading]`.
    pub values: Vec<Vec<RideValue>>,
}

/// Ride metrics of several laws at several headings.
#[derive(Clone, Debug, PartialEq)]
pub struct RideBars {
    /// Words at the head.
    pub heading: Heading,
    /// Names of the headings, `head\n180°`; a line break is kept.
    pub headings: Vec<String>,
    /// Names of the laws, the baseline first.
    pub laws: Vec<String>,
    /// Quantities, two in a row.
    pub panels: Vec<RidePanel>,
}

/// Grouped bars with 95 % intervals and values; empty dashed bars where a run ended.
pub fn ride_bars(data: &RideBars) -> Figure {
    let panels: Vec<Panel> = data.panels.iter().map(|p| panel(data, p)).collect();
    let many = data.headings.len() * data.laws.len() > 16;
    let rows = panels
        .chunks(if many { 1 } else { 2 })
        .map(|pair| Row::of(225.0, pair.to_vec()))
        .collect();
    let mut figure = Figure::new(data.heading.clone(), rows);
    let note = "Whiskers: 95 % intervals. Empty bar: the run ended before its time, no value.";
    figure.footer = format!("{note}\n{}", figure.footer);
    figure
}

fn panel(data: &RideBars, p: &RidePanel) -> Panel {
    let mut x = Axis::new("wave heading", "");
    x.categories.clone_from(&data.headings);
    let all = data.laws.iter().zip(&p.values).enumerate();
    let series = all.map(|(i, (law, values))| BarSeries {
        name: law.clone(),
        look: Look::nth(i),
        bars: values.iter().map(bar).collect(),
    });
    let y = Axis::new(p.measure.as_str(), p.unit.as_str()).with_zero();
    Panel::new(p.name.as_str(), x, y).with(Layer::Bars(series.collect()))
}

fn bar(value: &RideValue) -> Bar {
    match value {
        RideValue::Estimate { value, low, high } => Bar::Value {
            value: *value,
            interval: Some([*low, *high]),
        },
        RideValue::Ended(words) => Bar::Words(words.clone()),
        RideValue::Absent => Bar::Missing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    fn sample() -> RideBars {
        let of = |scale: f64, law: f64, ended: bool| -> Vec<RideValue> {
            [0.6, 0.8, 1.0, 1.5, 2.1]
                .iter()
                .enumerate()
                .map(|(i, f)| {
                    let value = scale * law * f;
                    if ended && i == 4 {
                        return RideValue::Ended("run ended at 214 s".into());
                    }
                    RideValue::Estimate {
                        value,
                        low: 0.88 * value,
                        high: 1.15 * value,
                    }
                })
                .collect()
        };
        let panel = |name: &str, unit: &str, scale: f64| RidePanel {
            name: name.into(),
            measure: "RMS".into(),
            unit: unit.into(),
            values: vec![
                of(scale, 1.0, true),
                of(scale, 0.62, false),
                of(scale, 0.5, false),
            ],
        };
        RideBars {
            heading: Heading::new(
                "Ride quality: fins fixed, PID, LQR",
                "Tarnwick, 16 kn, Bretschneider sea Hs 1.25 m, Tp 7.0 s, 5 records of 30 min",
                "Invented demonstration craft",
            ),
            headings: [
                "head\n180°",
                "bow\n135°",
                "beam\n90°",
                "quartering\n45°",
                "following\n0°",
            ]
            .map(String::from)
            .into(),
            laws: ["fins fixed at trim", "PID", "LQR"]
                .map(String::from)
                .into(),
            panels: vec![
                panel("Heave at O", "m", 0.32),
                panel("Pitch", "deg", 1.1),
                panel("Roll", "deg", 0.9),
                panel("Vertical acceleration, bridge", "m/s²", 0.45),
            ],
        }
    }

    #[test]
    fn ride_bars_say_when_a_run_ended() {
        let figure = ride_bars(&sample());
        assert_eq!(figure.panel_count(), 4);
        let texts = [
            "run ended at 214 s",
            "fins fixed at trim",
            "Vertical acceleration, bridge",
            "RMS (m/s²)",
            "quartering",
            "95 % intervals",
        ];
        check(&figure, "ride_bars", &texts);
    }

    #[test]
    fn twelve_bars_have_level_values() {
        let mut data = sample();
        data.headings.remove(2);
        for values in data.panels.iter_mut().flat_map(|p| &mut p.values) {
            values.remove(2);
        }
        data.panels[0].values[1][0] = RideValue::Absent;
        let figure = ride_bars(&data);
        check(
            &figure,
            "ride_bars_four_headings",
            &["0.48", "run ended at 214 s"],
        );
        let turned = figure.svg().unwrap().matches("rotate(270").count();
        assert_eq!(
            turned,
            4 + 4,
            "only axis labels and the ended runs read upwards"
        );
    }
}
