//! Pictures of a campaign: laws beside the baseline draw by draw, and exceedance curves.
//!
//! # Checked by
//! `differences_and_curves_say_what_they_show`

use super::chart::{Axis, Colour, Dash, Figure, Heading, Line, Look, Panel, Points, Row, Rule};
use crate::campaign::batch::columns::{unit_of, words_of};
use crate::campaign::batch::extremes::BlockMaxima;
use crate::campaign::batch::summary::{Number, Place, Summary};
use crate::math::stats::order::band_half_width;

/// Places side by side in one picture at most.
const MOST_PLACES: usize = 8;
/// Points of a fitted law.
const GUMBEL_POINTS: i32 = 60;
/// Quantities in one picture at most.
const MOST_PANELS: usize = 6;

/// All pictures: stem and figure.
pub fn figures(told: &Summary, caption: &str) -> Vec<(String, Figure)> {
    let mut out = Vec::new();
    for (k, places) in told.places.chunks(MOST_PLACES).enumerate() {
        let stem = |what: &str| {
            if told.places.len() > MOST_PLACES {
                format!("{what}_{}", k + 1)
            } else {
                what.to_owned()
            }
        };
        if told.places.iter().any(|p| p.laws.len() > 1) {
            out.push((stem("differences"), differences(told, places, caption)));
        }
        let curve = curve_column(told);
        if let Some(column) = curve {
            let word = super::file_word(&column);
            let stem = stem(&format!("exceedance_{word}"));
            out.push((stem, exceedance(told, places, &column, caption)));
        }
    }
    out
}

/// The column whose exceedance is drawn: the first largest value among those told of, else the first.
fn curve_column(told: &Summary) -> Option<String> {
    let extreme = told
        .columns
        .iter()
        .find(|c| c.contains(".max_") || c.contains("_max_"));
    extreme.or_else(|| told.columns.first()).cloned()
}

/// What differs between places, in two short lines: `16 kn\n180°`.
fn names(places: &[Place]) -> Vec<String> {
    let differs = |f: &dyn Fn(&Place) -> String| places.iter().any(|p| f(p) != f(&places[0]));
    let vessel = |p: &Place| format!("{} {}", p.craft, p.loading);
    let sea = |p: &Place| p.sea.clone();
    let fault = |p: &Place| p.fault.clone();
    places
        .iter()
        .map(|p| {
            let mut words = format!("{:.0} kn\n{:.0}°", p.speed_kn, p.heading_deg);
            for (f, is_told) in [
                (&vessel as &dyn Fn(&Place) -> String, differs(&vessel)),
                (&sea, differs(&sea)),
                (&fault, differs(&fault)),
            ] {
                if is_told {
                    words = format!("{words}\n{}", f(p));
                }
            }
            words
        })
        .collect()
}

fn subtitle(told: &Summary) -> String {
    let mut draws: Vec<usize> = told
        .places
        .iter()
        .flat_map(|p| p.laws.iter().map(|l| l.draws))
        .collect();
    draws.sort_unstable();
    let (few, many) = (draws.first().unwrap_or(&0), draws.last().unwrap_or(&0));
    let count = if few == many {
        format!("{few}")
    } else {
        format!("{few} to {many}")
    };
    let first = told.places.first();
    let one = |f: &dyn Fn(&Place) -> String| {
        let word = first.map(f).unwrap_or_default();
        told.places.iter().all(|p| f(p) == word).then_some(word)
    };
    let mut words: Vec<String> = [one(&|p| p.craft.clone()), one(&|p| p.sea.clone())]
        .into_iter()
        .flatten()
        .collect();
    words.push(format!("{count} draws in each place"));
    words.join(", ")
}

fn number<'a>(place: &'a Place, law: usize, column: &str) -> Option<&'a Number> {
    place
        .laws
        .get(law)?
        .numbers
        .iter()
        .find(|n| n.column == column)
}

/// Change of every law against the baseline on the same draws, place by place.
fn differences(told: &Summary, places: &[Place], caption: &str) -> Figure {
    let laws = places.first().map_or(0, |p| p.laws.len());
    let shown = told.columns.iter().filter(|c| {
        places
            .iter()
            .any(|p| (1..laws).any(|l| number(p, l, c).is_some_and(|n| change(n).is_some())))
    });
    let panels: Vec<Panel> = shown
        .take(MOST_PANELS)
        .map(|c| change_panel(places, laws, c))
        .collect();
    let rows = panels.chunks(2).map(|two| Row::of(235.0, two.to_vec()));
    let base = places.first().map_or("", |p| p.laws[0].law.as_str());
    let title = format!("Change against {base} on the same draws");
    let mut figure = Figure::new(Heading::new(title, subtitle(told), caption), rows.collect());
    figure.footer = format!(
        "Points: change of the geometric mean over draws; whiskers: {:.3} % intervals of the paired change.\n{}",
        100.0 * told.level_frac,
        figure.footer
    )
    .replace("95.000 %", "95 %");
    figure
}

/// Change in per cent with its ends, where draws are enough to tell it.
fn change(n: &Number) -> Option<[f64; 3]> {
    let c = n.difference.as_ref()?.change_told()?;
    Some([c.value, c.low, c.high])
}

fn change_panel(places: &[Place], laws: usize, column: &str) -> Panel {
    let mut x = Axis::new("", "").range(-0.5, places.len() as f64 - 0.5);
    x.categories = names(places);
    let y = Axis::new("change", "%").with_zero();
    let mut panel = Panel::new(words_of(column), x, y);
    let zero = Rule::level(0.0, "").look(Look::plain(Colour::GREY).dash(Dash::Solid));
    panel.add(zero);
    for law in 1..laws {
        // side by side around the place
        let off = 0.16 * (law as f64 - 0.5 * laws as f64);
        let (mut xy, mut interval) = (Vec::new(), Vec::new());
        for (i, p) in places.iter().enumerate() {
            if let Some([v, low, high]) = number(p, law, column).and_then(change) {
                xy.push([i as f64 + off, v]);
                interval.push([low, high]);
            }
        }
        let name = places.first().map_or("", |p| p.laws[law].law.as_str());
        let mut points = Points::new(name, Look::nth(law), xy);
        points.interval = interval;
        points.size_px = 5.5;
        panel.add(points);
    }
    panel
}

/// Share of draws above a value, law by law, with the band for the whole curve.
fn exceedance(told: &Summary, places: &[Place], column: &str, caption: &str) -> Figure {
    let panels: Vec<Panel> = places
        .iter()
        .zip(names(places))
        .map(|(p, name)| curve_panel(p, &name.replace('\n', ", "), column, told.level_frac))
        .collect();
    let wide = if panels.len() > 4 { 3 } else { 2 };
    let rows = panels
        .chunks(wide)
        .map(|some| Row::of(235.0, some.to_vec()));
    let title = format!("Exceedance in one record, {}", words_of(column));
    let mut figure = Figure::new(Heading::new(title, subtitle(told), caption), rows.collect());
    figure.footer = format!(
        "Bands: {:.3} % for the whole curve, no distribution assumed; dotted: Gumbel law fitted to largest values. Runs that ended early have no part.\n{}",
        100.0 * told.level_frac,
        figure.footer
    )
    .replace("95.000 %", "95 %");
    figure
}

fn curve_panel(place: &Place, name: &str, column: &str, level: f64) -> Panel {
    let range = curve_range(place, column);
    let mut x = Axis::new(words_of(column), unit_of(column));
    if let Some([low, high]) = range {
        x = x.range(low, high);
    }
    // room beside 0 and 1, where curves begin and end
    let mut y = Axis::new("share of draws above", "").range(-0.04, 1.04);
    y.step = Some(0.2);
    let mut panel = Panel::new(name, x, y);
    for (law, numbers) in place.laws.iter().enumerate() {
        let Some(n) = number(place, law, column) else {
            continue;
        };
        let (mut xy, mut band) = (Vec::new(), Vec::new());
        let half = band_half_width(n.draws, level);
        let mut above = 1.0;
        // from edge to edge; the band, which would cover those of other laws, with the draws only
        let least = n.exceedance.first().map(|e| e[0]);
        if let Some((r, v)) = range.zip(least) {
            xy.extend([[r[0], 1.0], [v, 1.0]]);
            band.extend([[1.0, 1.0]; 2]);
        }
        for [v, share, low, high] in &n.exceedance {
            // a step at each draw
            xy.extend([[*v, above], [*v, *share]]);
            band.extend([
                [(above - half).max(0.0), (above + half).min(1.0)],
                [*low, *high],
            ]);
            above = *share;
        }
        if let Some((r, v)) = range.zip(n.exceedance.last().map(|e| e[0])) {
            xy.extend([[v, above], [r[1], above]]);
            band.extend([[above, above]; 2]);
        }
        let ends = range.filter(|_| !xy.is_empty());
        panel.add(Line::new(numbers.law.as_str(), Look::nth(law), xy).band(band));
        let fit = numbers.extremes.iter().find(|e| e.column == column);
        if let Some((m, ends)) = fit.and_then(|e| e.block_maxima.as_ref()).zip(ends) {
            panel.add(gumbel(m, ends, law));
        }
    }
    panel
}

/// From below the least to beyond the largest of all laws; none without two different numbers.
fn curve_range(place: &Place, column: &str) -> Option<[f64; 2]> {
    let laws = 0..place.laws.len();
    let all = laws.filter_map(|law| number(place, law, column));
    let all = all.flat_map(|n| n.exceedance.iter().map(|e| e[0]));
    let (low, high) = all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let room = 0.05 * (high - low);
    (room > 0.0).then_some([low - room, high + room])
}

/// The fitted law of the largest values, dotted.
fn gumbel(m: &BlockMaxima, ends: [f64; 2], law: usize) -> Line {
    let x = (0..=GUMBEL_POINTS).map(|k| {
        let share = f64::from(k) / f64::from(GUMBEL_POINTS);
        ends[0] + share * (ends[1] - ends[0])
    });
    let above = |x: f64| -(-(-(x - m.mode) / m.scale).exp()).exp_m1();
    let look = Look::nth(law).dash(Dash::Dotted);
    Line::new("", look, x.map(|x| [x, above(x)]).collect()).width(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::batch::summary::{Difference, LawNumbers};
    use crate::math::stats::Interval;
    use crate::report::chart::tests::check;
    use crate::spec::scenario::Integrator;

    fn told() -> Summary {
        let near = |v: f64, half: f64| Interval {
            value: v,
            low: v - half,
            high: v + half,
        };
        let columns = ["heave.rms_m", "bridge.vertical_max_m_s2"].map(String::from);
        let law = |law: usize, place: usize| LawNumbers {
            law: ["fins fixed", "PID", "LQG"][law].to_owned(),
            draws: 16,
            completed: 16,
            ended_frac: near(0.0, 0.0),
            ended: vec![],
            outside_validity: 0,
            extremes: vec![],
            numbers: columns
                .iter()
                .map(|c| Number {
                    column: c.clone(),
                    draws: 16,
                    mean: Some(near(1.0, 0.1)),
                    median: None,
                    exceeded_by_tenth: None,
                    largest: Some(2.0),
                    difference: (law > 0).then(|| Difference {
                        pairs: 16,
                        mean: near(-0.2, 0.05),
                        change_percent: Some(near(-15.0 * law as f64 + 4.0 * place as f64, 4.0)),
                        less_frac: near(0.9, 0.1),
                    }),
                    exceedance: (0..16)
                        .map(|i| {
                            let share = 1.0 - (f64::from(i) + 1.0) / 16.0;
                            let x = 1.0 + 0.1 * f64::from(i) - 0.3 * law as f64;
                            [x, share, (share - 0.34).max(0.0), (share + 0.34).min(1.0)]
                        })
                        .collect(),
                })
                .collect(),
        };
        Summary {
            campaign: "test".into(),
            seed: 1,
            integrator: Integrator::PredictorCorrector,
            cases: 192,
            completed: 192,
            level_frac: 0.95,
            columns: columns.clone().into(),
            places: (0..4)
                .map(|p| Place {
                    craft: "Tarnwick".into(),
                    loading: "as filed".into(),
                    speed_kn: [10.0, 16.0][p / 2],
                    heading_deg: [180.0, 0.0][p % 2],
                    sea: "moderate sea".into(),
                    fault: "no fault".into(),
                    words: String::new(),
                    laws: (0..3).map(|l| law(l, p)).collect(),
                })
                .collect(),
            warnings: vec![],
            caution: "",
        }
    }

    #[test]
    fn differences_and_curves_say_what_they_show() {
        let all = figures(&told(), "Invented demonstration craft");
        assert_eq!(all.len(), 2);
        check(
            &all[0].1,
            "campaign_differences",
            &[
                "Change against fins fixed on",
                "heave: RMS",
                "PID",
                "16 draws",
            ],
        );
        check(
            &all[1].1,
            "campaign_exceedance",
            &[
                "bridge: vertical acceleration max (m/s²)",
                "share of draws above",
                "LQG",
            ],
        );
    }
}
