//! Pictures of a prediction: RMS against heading, response spectra law by law.
//!
//! # Checked by
//! `a_prediction_is_drawn`

use super::chart::{Axis, Figure, Heading, Line, Look, Panel, Row};
use super::comparison::Named;
use super::curves::spectra::{Spectra, SpectrumCurve, SpectrumPanel, spectra};
use crate::campaign::prediction::{PredictedCell, Prediction};

/// Share of each response's variance that lies within the encounter frequencies shown.
const SHOWN_FRAC: f64 = 0.995;
/// Least range shown, and the steps in which it grows, rad/s.
const STEP_RAD_S: f64 = 0.5;

/// All pictures; `headings` puts wave headings (deg) into words.
pub fn figures(found: &Prediction, headings: &dyn Fn(f64) -> String) -> Vec<Named> {
    let mut out = Vec::new();
    let mut speeds: Vec<f64> = found.cells.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed_kn in speeds {
        let here: Vec<&PredictedCell> = found
            .cells
            .iter()
            .filter(|c| c.speed_kn.total_cmp(&speed_kn).is_eq())
            .collect();
        out.push((
            format!("predicted_{speed_kn:.0}kn"),
            against_heading(found, &here, speed_kn),
        ));
        for cells in here.chunks(found.laws.len().max(1)) {
            let heading_deg = cells[0].heading_deg;
            let words = format!("{speed_kn:.0} kn, {}", headings(heading_deg));
            if let Some(f) = densities(found, cells, &words) {
                let stem = format!("predicted_spectra_{speed_kn:.0}kn_{heading_deg:.0}deg");
                out.push((stem, f));
            }
        }
    }
    out
}

fn heading(found: &Prediction, title: &str, words: &str) -> Heading {
    Heading::new(
        title,
        format!("{}, {words}, {}", found.craft, found.sea),
        "Spectral method, second order in the waves, limits and drag linearised in this sea. Invented demonstration craft and sea.",
    )
}

fn against_heading(found: &Prediction, cells: &[&PredictedCell], speed_kn: f64) -> Figure {
    let place = found.point.clone();
    let panel = |name: &str, unit: &str, value: &dyn Fn(&PredictedCell) -> Option<f64>| {
        let x = Axis::new("waves travel to (0 following, 180 head)", "deg");
        let measure = if unit == "%" { "share" } else { "RMS" };
        let y = Axis::new(measure, unit).with_zero();
        let mut panel = Panel::new(name, x, y);
        for (k, law) in found.laws.iter().enumerate() {
            let mut xy: Vec<[f64; 2]> = cells
                .iter()
                .filter(|c| c.law == *law)
                .filter_map(|c| Some([c.heading_deg, value(c)?]))
                .collect();
            xy.sort_by(|a, b| a[0].total_cmp(&b[0]));
            let marks = xy.len();
            panel.add(Line::new(law.as_str(), Look::nth(k), xy).markers(marks));
        }
        panel
    };
    let panels = [
        panel("Heave", "m", &|c| c.motion("heave")),
        panel("Pitch", "deg", &|c| c.motion("pitch")),
        panel("Roll", "deg", &|c| c.motion("roll")),
        panel(&format!("Vertical acceleration, {place}"), "m/s²", &|c| {
            c.vertical(&place)
        }),
        panel("Busiest fin, angle", "deg", &PredictedCell::fins_deg),
        panel("Time on limits", "%", &|c| {
            c.ride.as_ref().map(|_| 100.0 * c.limit_frac)
        }),
    ];
    let rows = panels.chunks(2).map(|p| Row::of(215.0, p.to_vec()));
    Figure::new(
        heading(
            found,
            "Predicted ride against heading",
            &format!("{speed_kn:.0} kn"),
        ),
        rows.collect(),
    )
}

/// None where no law has a ride.
fn densities(found: &Prediction, cells: &[&PredictedCell], words: &str) -> Option<Figure> {
    let first = cells.iter().find(|c| !c.spectra.is_empty())?;
    let panels = (0..first.spectra.len()).map(|p| SpectrumPanel {
        name: first.spectra[p].of.clone(),
        unit: first.spectra[p].unit.to_owned(),
        curves: cells
            .iter()
            .enumerate()
            .filter_map(|(look, c)| {
                let s = c.spectra.get(p)?;
                Some(SpectrumCurve {
                    name: c.law.clone(),
                    look,
                    omega_rad_s: s.omega_e_rad_s.clone(),
                    density: s.density.clone(),
                    band: Vec::new(),
                })
            })
            .collect(),
    });
    Some(spectra(&Spectra {
        heading: heading(found, "Predicted response spectra", words),
        range_rad_s: Some([0.0, shown_rad_s(cells)]),
        panels: panels.collect(),
    }))
}

/// Highest encounter frequency worth showing.
fn shown_rad_s(cells: &[&PredictedCell]) -> f64 {
    let spectra = cells.iter().flat_map(|c| &c.spectra);
    let most = spectra
        .map(|s| {
            let all: f64 = s.density.iter().sum();
            let mut sum = 0.0;
            let at = s.density.iter().position(|v| {
                sum += v;
                sum >= SHOWN_FRAC * all
            });
            at.map_or(0.0, |i| s.omega_e_rad_s[i])
        })
        .fold(0.0, f64::max);
    ((most / STEP_RAD_S).ceil() * STEP_RAD_S).max(STEP_RAD_S)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::campaign::prediction::Spectrum;
    use crate::report::chart::tests::check;

    #[test]
    fn a_prediction_is_drawn() {
        let cell = |heading_deg: f64, law: &str, size: f64| PredictedCell {
            speed_kn: 16.0,
            heading_deg,
            law: law.into(),
            stable: true,
            trusted: true,
            doubts: Vec::new(),
            limit_frac: 0.01,
            iterations: 3,
            ride: None,
            spectra: vec![Spectrum {
                of: "Heave at O".into(),
                unit: "m² s",
                omega_e_rad_s: vec![0.5, 1.0, 1.5],
                density: vec![0.1 * size, size, 0.3 * size],
            }],
        };
        let found = Prediction {
            craft: "Tarnwick".into(),
            sea: "a sea".into(),
            point: "bridge".into(),
            laws: vec!["fins fixed".into(), "PID".into()],
            refused: Vec::new(),
            cells: vec![
                cell(180.0, "fins fixed", 1.0),
                cell(180.0, "PID", 0.4),
                cell(0.0, "fins fixed", 0.6),
                cell(0.0, "PID", 0.2),
            ],
        };
        let all = figures(&found, &|d| format!("{d:.0}°"));
        assert_eq!(all.len(), 3);
        assert_eq!(all[0].1.panel_count(), 6);
        check(
            &all[0].1,
            "predicted",
            &["waves travel to (0 following, 180 head) (deg)"],
        );
        check(
            &all[1].1,
            "predicted_spectra",
            &["encounter frequency (rad/s)", "PID"],
        );
    }
}
