//! Pictures of where and how often a craft can work.
//!
//! # Checked by
//! `operability_is_drawn`

use super::chart::{
    Axis, Bar, BarSeries, Colour, ColourScale, Figure, Heading, Layer, Look, Note, Panel, Row,
    Shape,
};
use super::comparison::Named;
use super::polar::{PolarPicture, PolarSector, SectorValue, polar_picture};
use crate::campaign::operability::{LimitCell, Operability, Stop};
use crate::spec::scatter::{PeriodSpec, ScatterSpec};

/// Share of headings and speeds in which a class must be workable to be outlined.
const OUTLINED: f64 = 0.5;

/// All pictures.
pub fn figures(found: &Operability, scatter: &ScatterSpec) -> Vec<Named> {
    vec![
        ("operability_limits".to_owned(), limits(found, scatter)),
        ("operability_stops".to_owned(), stops(found, scatter)),
        ("operability_time".to_owned(), time_polar(found)),
        ("operability_share".to_owned(), bars(found)),
        ("operability_scatter".to_owned(), diagram(found, scatter)),
    ]
}

fn heading(found: &Operability, title: &str, more: &str) -> Heading {
    Heading::new(
        title,
        format!(
            "{} in {}, limits of {}{more}",
            found.craft, found.area, found.set
        ),
        "Spectral method, limits of servos and drag linearised in every sea. Invented demonstration craft and area.",
    )
}

fn period_words(found: &Operability, scatter: &ScatterSpec) -> String {
    let k = found.usual_column;
    let kind = match scatter.period {
        PeriodSpec::Peak => "peak period",
        PeriodSpec::ZeroCrossing => "mean zero-crossing period",
    };
    format!(
        ", {kind} {} to {} s (the most frequent)",
        crate::spec::number(scatter.period_edges_s[k]),
        crate::spec::number(scatter.period_edges_s[k + 1])
    )
}

/// Every sector of every law, told by `value`.
fn polar_laws(
    found: &Operability,
    value: &dyn Fn(&LimitCell) -> SectorValue,
) -> Vec<(String, Vec<PolarSector>)> {
    let headings = headings_of(found);
    let of = |law: &String| {
        let mut out = Vec::new();
        for (ring, speed) in found.speeds_kn.iter().enumerate() {
            for s in &found.sectors {
                let Some(heading) = headings.get(s.index) else {
                    continue;
                };
                if let Some(c) = found.cell(*speed, *heading, law, found.usual_column) {
                    out.push(PolarSector {
                        ring,
                        span_deg: s.span_deg,
                        value: value(c),
                        trusted: c.trusted,
                        beyond: c.beyond,
                    });
                }
            }
        }
        out
    };
    found.laws.iter().map(|l| (l.clone(), of(l))).collect()
}

/// Headings evaluated, in their order.
fn headings_of(found: &Operability) -> Vec<f64> {
    let mut out = Vec::new();
    for h in &found.headings {
        if !out
            .iter()
            .any(|x: &f64| x.total_cmp(&h.heading_deg).is_eq())
        {
            out.push(h.heading_deg);
        }
    }
    out
}

/// Round edges between the least and the greatest number, about six.
fn edges(values: &[f64]) -> Vec<f64> {
    let low = values.iter().copied().fold(f64::MAX, f64::min);
    let high = values.iter().copied().fold(f64::MIN, f64::max);
    if low >= high {
        return vec![if low < f64::MAX { low } else { 1.0 }];
    }
    let rough = (high - low) / 7.0;
    let ten = 10f64.powf(rough.log10().floor());
    let all = [1.0, 2.0, 2.5, 5.0, 10.0].map(|s| s * ten);
    let step = all.into_iter().find(|s| *s >= rough).unwrap_or(rough);
    let first = (low / step).floor() + 1.0;
    let count = ((high / step).ceil() - first).max(1.0) as usize;
    (0..count).map(|k| (first + k as f64) * step).collect()
}

fn limits(found: &Operability, scatter: &ScatterSpec) -> Figure {
    let usual = found
        .cells
        .iter()
        .filter(|c| c.column == found.usual_column);
    let values: Vec<f64> = usual
        .filter(|c| !c.unstable)
        .map(|c| c.limit_hs_m)
        .collect();
    let value = |c: &LimitCell| {
        if c.unstable {
            SectorValue::Unstable
        } else {
            SectorValue::Number(c.limit_hs_m)
        }
    };
    polar_picture(&PolarPicture {
        heading: heading(
            found,
            "Limiting significant wave height",
            &period_words(found, scatter),
        ),
        speeds_kn: found.speeds_kn.clone(),
        number: "limiting Hs (m)".to_owned(),
        steps: edges(&values),
        kinds: Vec::new(),
        laws: polar_laws(found, &value),
    })
}

fn stops(found: &Operability, scatter: &ScatterSpec) -> Figure {
    let mut kinds: Vec<String> = Vec::new();
    for c in found
        .cells
        .iter()
        .filter(|c| c.column == found.usual_column)
    {
        let words = c.stop.as_ref().map(Stop::words);
        if let Some(w) = words.filter(|w| !kinds.contains(w)) {
            kinds.push(w);
        }
    }
    let value = |c: &LimitCell| {
        let words = c.stop.as_ref().map(Stop::words);
        let at = words.and_then(|w| kinds.iter().position(|k| *k == w));
        at.map_or(SectorValue::Unstable, SectorValue::Kind)
    };
    polar_picture(&PolarPicture {
        heading: heading(found, "What stops work", &period_words(found, scatter)),
        speeds_kn: found.speeds_kn.clone(),
        number: String::new(),
        steps: Vec::new(),
        laws: polar_laws(found, &value),
        kinds: kinds.clone(),
    })
}

/// Share of the diagram's time that is workable, around the craft.
fn time_polar(found: &Operability) -> Figure {
    let headings = headings_of(found);
    let of = |law: &String| {
        let mut out = Vec::new();
        for (ring, speed) in found.speeds_kn.iter().enumerate() {
            for s in &found.sectors {
                let share = found.headings.iter().find(|h| {
                    h.law == *law
                        && h.speed_kn.total_cmp(speed).is_eq()
                        && headings
                            .get(s.index)
                            .is_some_and(|d| d.total_cmp(&h.heading_deg).is_eq())
                });
                let Some(share) = share.map(|h| h.share) else {
                    continue;
                };
                out.push(PolarSector {
                    ring,
                    span_deg: s.span_deg,
                    value: if share.unstable > 0.5 {
                        SectorValue::Unstable
                    } else {
                        SectorValue::Number(100.0 * share.workable)
                    },
                    // a tenth of the time is more than the picture's steps show
                    trusted: share.most - share.least < 0.1,
                    beyond: false,
                });
            }
        }
        out
    };
    let mut data = PolarPicture {
        heading: heading(
            found,
            "Share of time in which the craft can work",
            ", all periods",
        ),
        speeds_kn: found.speeds_kn.clone(),
        number: "time (%)".to_owned(),
        steps: vec![50.0, 60.0, 70.0, 80.0, 85.0, 90.0, 95.0, 98.0],
        kinds: Vec::new(),
        laws: found.laws.iter().map(|l| (l.clone(), of(l))).collect(),
    };
    data.heading
        .caption
        .push_str(" Not trusted: the share is known to ten per cent of the time at best.");
    polar_picture(&data)
}

fn bars(found: &Operability) -> Figure {
    let mut x = Axis::new("speed", "");
    let speeds = found.speeds_kn.iter().map(|v| format!("{v:.0} kn"));
    x.categories = speeds.chain(["all".to_owned()]).collect();
    let wanted: Vec<Option<f64>> = found
        .speeds_kn
        .iter()
        .map(|v| Some(*v))
        .chain([None])
        .collect();
    let series = found.laws.iter().enumerate().map(|(i, law)| BarSeries {
        name: law.clone(),
        look: Look::nth(i),
        bars: wanted
            .iter()
            .map(|speed| {
                let mut all = found.shares.iter();
                let s = all.find(|s| s.law == *law && s.speed_kn == *speed);
                s.map_or(Bar::Missing, |s| Bar::Value {
                    value: 100.0 * s.share.workable,
                    interval: Some([100.0 * s.share.least, 100.0 * s.share.most]),
                })
            })
            .collect(),
    });
    let y = Axis::new("share of time", "%").range(0.0, 112.0).step(20.0);
    let panel =
        Panel::new("Time in which every limit is met", x, y).with(Layer::Bars(series.collect()));
    let mut figure = Figure::new(
        heading(found, "Share of time in which the craft can work", ""),
        vec![Row::of(300.0, vec![panel])],
    );
    let note = "Whiskers: from what is certain to what cannot be ruled out, where the spectral method cannot be trusted.";
    figure.footer = format!("{note}\n{}", figure.footer);
    figure
}

/// Colours of workable shares: edges in per cent.
const SHARES: [f64; 5] = [10.0, 30.0, 50.0, 70.0, 90.0];

fn share_colour(i: usize) -> Colour {
    Colour::WHITE.mixed(Colour::ramp(i as f64 / SHARES.len() as f64), 0.6)
}

fn diagram(found: &Operability, scatter: &ScatterSpec) -> Figure {
    let panels: Vec<Panel> = found
        .laws
        .iter()
        .map(|l| diagram_panel(found, scatter, l))
        .collect();
    let across = panels.len().clamp(1, 3);
    let rows = panels.chunks(across).map(|p| Row::of(330.0, p.to_vec()));
    let mut figure = Figure::new(
        heading(
            found,
            "Seas in which the craft can work",
            ", headings and speeds together",
        ),
        rows.collect(),
    );
    let words = ["< 10", "10-30", "30-50", "50-70", "70-90", "> 90"];
    let steps = words.iter().enumerate();
    figure.scale = Some(ColourScale {
        label: "headings and speeds at which it can (%)".to_owned(),
        steps: steps
            .map(|(i, w)| ((*w).to_owned(), share_colour(i)))
            .collect(),
    });
    let note = "Numbers: how often the class occurs, per thousand. A dot: not trusted at some headings or speeds.";
    figure.footer = format!("{note}\n{}", figure.footer);
    figure
}

fn diagram_panel(found: &Operability, scatter: &ScatterSpec, law: &str) -> Panel {
    let (xs, ys) = (&scatter.period_edges_s, &scatter.hs_edges_m);
    let ends = |e: &[f64]| {
        [
            e.first().copied().unwrap_or(0.0),
            e.last().copied().unwrap_or(1.0),
        ]
    };
    let [x0, x1] = ends(xs);
    let [y0, y1] = ends(ys);
    let name = match scatter.period {
        PeriodSpec::Peak => "peak period",
        PeriodSpec::ZeroCrossing => "mean zero-crossing period",
    };
    let x = Axis::new(name, "s").range(x0, x1);
    let y = Axis::new("significant height", "m").range(y0, y1);
    let mut panel = Panel::new(law, x, y);
    let rectangle = |i: usize, k: usize| {
        vec![
            [xs[k], ys[i]],
            [xs[k + 1], ys[i]],
            [xs[k + 1], ys[i + 1]],
            [xs[k], ys[i + 1]],
        ]
    };
    let mine: Vec<_> = found.classes.iter().filter(|c| c.law == law).collect();
    for c in &mine {
        let [i, k] = c.at;
        let step = SHARES
            .iter()
            .filter(|e| 100.0 * c.share.workable >= **e)
            .count();
        let look = Look::plain(share_colour(step));
        panel.add(Shape::closed(look, rectangle(i, k)).fill(1.0).width(0.4));
        let at = [scatter.period_s(k), scatter.hs_m(i)];
        let per_mille = 1000.0 * scatter.occurrences[i][k] / scatter.total();
        let text = if per_mille < 0.5 {
            "<1".to_owned()
        } else {
            format!("{per_mille:.0}")
        };
        let doubt = if c.share.untrusted > 0.05 { "·" } else { "" };
        let dark = step < 2;
        let ink = if dark { Colour::WHITE } else { Colour::INK };
        panel.add(
            Note::new(at, format!("{text}{doubt}"))
                .lean(-0.5, -0.5)
                .size(8.5)
                .colour(ink),
        );
    }
    // a neighbour before the first is no class: usize::MAX is in no diagram
    let is_in = |i: usize, k: usize| {
        let mut all = mine.iter();
        all.any(|c| c.at == [i, k] && c.share.workable >= OUTLINED)
    };
    let mut first = true;
    for c in &mine {
        let [i, k] = c.at;
        if !is_in(i, k) {
            continue;
        }
        let r = rectangle(c.at[0], c.at[1]);
        for (a, b, other) in [
            (0, 1, (i.wrapping_sub(1), k)),
            (1, 2, (i, k + 1)),
            (2, 3, (i + 1, k)),
            (3, 0, (i, k.wrapping_sub(1))),
        ] {
            if !is_in(other.0, other.1) {
                let name = if first {
                    "workable at half of headings and speeds or more"
                } else {
                    ""
                };
                first = false;
                let line = Shape::open(Look::plain(Colour::VERMILLION), vec![r[a], r[b]]);
                panel.add(line.name(name).width(2.2));
            }
        }
    }
    panel
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::operability::share::{Share, sectors};
    use crate::campaign::operability::{ClassShare, HeadingShare, LawShare};
    use crate::report::chart::tests::check;

    #[test]
    fn edges_are_round() {
        assert_eq!(edges(&[1.02, 2.3, 3.9]), [1.5, 2.0, 2.5, 3.0, 3.5]);
        assert_eq!(edges(&[2.0, 2.0]), [2.0]);
    }

    #[test]
    fn operability_is_drawn() {
        let scatter: ScatterSpec = serde_json::from_str(
            r#"{"format": "ridewright.scatter/1", "name": "a coast", "source": "invented",
                "period_edges_s": [4, 6, 8], "hs_edges_m": [0, 1, 2],
                "occurrences": [[5, 3], [1, 2]]}"#,
        )
        .unwrap();
        let share = |workable| Share {
            workable,
            least: workable - 0.1,
            most: workable + 0.05,
            ..Share::default()
        };
        let laws = ["fins fixed", "PID"].map(String::from).to_vec();
        let mut found = Operability {
            craft: "Tarnwick".into(),
            area: "a coast".into(),
            set: "a set".into(),
            source: "invented".into(),
            laws: laws.clone(),
            refused: Vec::new(),
            remarks: Vec::new(),
            speeds_kn: vec![8.0, 16.0],
            sectors: sectors(&[180.0, 90.0, 0.0], true, &[]),
            mirrored: true,
            cells: Vec::new(),
            headings: Vec::new(),
            shares: Vec::new(),
            classes: Vec::new(),
            usual_column: 0,
        };
        for (n, law) in laws.iter().enumerate() {
            for speed_kn in [8.0, 16.0] {
                for (k, heading_deg) in [180.0, 90.0, 0.0].into_iter().enumerate() {
                    found.cells.push(LimitCell {
                        speed_kn,
                        heading_deg,
                        law: law.clone(),
                        column: 0,
                        period_s: 5.0,
                        tp_s: 5.0,
                        unstable: false,
                        limit_hs_m: 1.0 + 0.4 * k as f64 + 0.5 * n as f64,
                        beyond: false,
                        stop: Some(Stop {
                            what: ["roll RMS, deg", "interruptions, 1/min"][k % 2].into(),
                            of: ["roll", "bridge"][k % 2].into(),
                            value: 1.0,
                            limit: 1.0,
                        }),
                        trusted: k < 2,
                        trusted_to_m: 1.0,
                        doubts: Vec::new(),
                        at_limits_frac: 0.0,
                        probes: 3,
                    });
                    found.headings.push(HeadingShare {
                        speed_kn,
                        heading_deg,
                        law: law.clone(),
                        share: share(0.6 + 0.1 * k as f64),
                    });
                }
            }
            for speed_kn in [Some(8.0), Some(16.0), None] {
                found.shares.push(LawShare {
                    law: law.clone(),
                    speed_kn,
                    time: 0.5,
                    share: share(0.7 + 0.1 * n as f64),
                    gain: None,
                    stops: Vec::new(),
                });
            }
            for at in [[0, 0], [0, 1], [1, 0], [1, 1]] {
                found.classes.push(ClassShare {
                    law: law.clone(),
                    at,
                    share: share(1.0 - 0.4 * at[0] as f64),
                });
            }
        }
        let all = figures(&found, &scatter);
        assert!(all.iter().any(|(stem, _)| stem == "operability_limits"));
        for (stem, f) in all {
            let words: &[&str] = match stem.as_str() {
                "operability_limits" => &["limiting Hs (m)", "not trusted", "4 to 6 s"],
                "operability_stops" => &["a: roll RMS", "b: interruptions, bridge"],
                "operability_share" => &["16 kn", "share of time (%)"],
                "operability_scatter" => &["peak period (s)", "workable at half"],
                _ => &["time (%)"],
            };
            check(&f, &stem, words);
        }
    }
}
