//! Time histories: stacked panels that share their time axis, the run-in shaded.
//!
//! # Checked by
//! `histories_share_their_time`

use crate::report::chart::{
    Axis, Colour, Dash, Figure, Hatch, Heading, Line, Look, Panel, Row, Rule, RuleWords, Shade,
};

/// One evenly sampled record.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// In the legend: a law, or a surface.
    pub name: String,
    /// Which look; the same number for the same thing in all panels.
    pub look: usize,
    /// Time of the first sample, s.
    pub t0_s: f64,
    /// Sample interval, s.
    pub dt_s: f64,
    /// Values in the panel's unit.
    pub values: Vec<f64>,
}

/// One quantity against time.
#[derive(Clone, Debug, PartialEq)]
pub struct HistoryPanel {
    /// With its sign: `heave, up positive`.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// Records.
    pub traces: Vec<Trace>,
    /// Dashed level lines and their words: limits of a fin.
    pub limits: Vec<(f64, String)>,
}

/// Time histories of a run or of several laws in the same sea.
#[derive(Clone, Debug, PartialEq)]
pub struct Histories {
    /// Words at the head.
    pub heading: Heading,
    /// End of the run-in, s, 0 for none.
    pub run_in_s: f64,
    /// Times shown, s; all when absent.
    pub window_s: Option<[f64; 2]>,
    /// Quantities from the top.
    pub panels: Vec<HistoryPanel>,
    /// Events to mark, `t, words`: contact, run ended.
    pub events: Vec<(f64, String)>,
}

/// Stacked panels over one time axis.
pub fn histories(data: &Histories) -> Figure {
    let window = data.window_s.unwrap_or_else(|| whole(data));
    let last = data.panels.len().saturating_sub(1);
    let rows = data.panels.iter().enumerate().map(|(i, p)| {
        let height = if i == last { 150.0 } else { 112.0 };
        Row::of(height, vec![panel(data, p, window, i, i == last)])
    });
    Figure::new(data.heading.clone(), rows.collect())
}

/// `Heave at O, up positive (m)`.
fn sentence(name: &str, unit: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{} ({unit})", first.unwrap_or_default(), letters.as_str())
}

fn whole(data: &Histories) -> [f64; 2] {
    let all = data.panels.iter().flat_map(|p| &p.traces);
    let ends = all.map(|t| {
        let n = t.values.len().saturating_sub(1) as f64;
        [t.t0_s, t.t0_s + n * t.dt_s]
    });
    let r = ends.fold([f64::MAX, f64::MIN], |r, e| {
        [r[0].min(e[0]), r[1].max(e[1])]
    });
    if r[0] < r[1] { r } else { [0.0, 1.0] }
}

fn panel(data: &Histories, p: &HistoryPanel, window: [f64; 2], i: usize, is_last: bool) -> Panel {
    let x = Axis::new("time", "s").range(window[0], window[1]);
    let x = if is_last { x } else { x.quiet() };
    let y = Axis::new("", p.unit.as_str()).with_zero();
    let mut panel = Panel::new(sentence(&p.name, &p.unit), x, y);
    panel.y.unit.clear();
    if data.run_in_s > window[0] {
        panel.add(Shade {
            x: Some([window[0], data.run_in_s]),
            y: None,
            label: if i == 0 {
                "run-in, not judged".into()
            } else {
                String::new()
            },
            colour: Colour::GREY,
            hatch: Hatch::None,
        });
    }
    for t in &p.traces {
        let xy = t.values.iter().enumerate();
        let xy = xy.map(|(k, v)| [t.t0_s + k as f64 * t.dt_s, *v]);
        let xy = xy
            .filter(|q| q[0] >= window[0] && q[0] <= window[1])
            .collect();
        panel.add(Line::new(t.name.as_str(), Look::nth(t.look), xy).width(1.4));
    }
    for (at, words) in &p.limits {
        panel.add(Rule::level(*at, words.as_str()));
    }
    for (t, words) in &data.events {
        let words = if i == 0 { words.as_str() } else { "" };
        let look = Look::plain(Colour::VERMILLION).dash(Dash::Dotted);
        panel.add(Rule::upright(*t, words).look(look).words(RuleWords::Above));
    }
    panel
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    fn noise(seed: f64, size: f64, n: usize) -> Vec<f64> {
        let parts: Vec<(f64, f64)> = (0..24)
            .map(|k| {
                let k = f64::from(k);
                (
                    0.35 + 0.05 * k + 0.003 * seed,
                    (seed * 12.9 + k * 78.2).sin() * 43.0,
                )
            })
            .collect();
        let at = |t: f64| -> f64 {
            let sum: f64 = parts.iter().map(|(w, e)| (w * t + e).sin()).sum();
            size * sum / 5.0 * (t / 30.0).min(1.0)
        };
        (0..n).map(|i| at(i as f64 * 0.1)).collect()
    }

    #[test]
    fn histories_share_their_time() {
        let laws = ["fins fixed at trim", "PID", "LQR"];
        let traces = |size: f64| -> Vec<Trace> {
            laws.iter()
                .enumerate()
                .map(|(i, l)| Trace {
                    name: (*l).into(),
                    look: i,
                    t0_s: 0.0,
                    dt_s: 0.1,
                    values: noise(1.0, size * [1.0, 0.6, 0.45][i], 2401),
                })
                .collect()
        };
        let panel = |name: &str, unit: &str, size: f64| HistoryPanel {
            name: name.into(),
            unit: unit.into(),
            traces: traces(size),
            limits: Vec::new(),
        };
        let mut fins = panel(
            "forward starboard fin, trailing edge down positive",
            "deg",
            16.0,
        );
        for t in &mut fins.traces {
            t.values.iter_mut().for_each(|v| *v = v.clamp(-18.0, 18.0));
        }
        fins.limits = vec![(18.0, "limit 18°".into()), (-18.0, "limit −18°".into())];
        let data = Histories {
            heading: Heading::new(
                "Time histories",
                "Tarnwick, 16 kn, head seas (180°), Hs 1.25 m, Tp 7.0 s, one realisation",
                "Invented demonstration craft",
            ),
            run_in_s: 60.0,
            window_s: None,
            panels: vec![
                panel("wave elevation at O, crest positive", "m", 0.5),
                panel("heave at O, up positive", "m", 0.4),
                panel("pitch, bow up positive", "deg", 1.5),
                panel(
                    "vertical acceleration at the bridge, up positive",
                    "m/s²",
                    0.8,
                ),
                fins,
            ],
            events: vec![(171.0, "cross-structure contact".into())],
        };
        let figure = histories(&data);
        assert_eq!(figure.panel_count(), 5);
        let texts = [
            "run-in, not judged",
            "Heave at O, up positive (m)",
            "time (s)",
            "limit 18°",
            "cross-structure contact",
        ];
        check(&figure, "histories", &texts);
        assert_eq!(figure.svg().unwrap().matches("time (s)").count(), 1);
    }
}
