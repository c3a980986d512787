//! Pictures of a comparison of laws: bars, histories, fin angles, spectra.

use super::bars::{RideBars, RidePanel, RideValue, ride_bars};
use super::chart::{Figure, Heading};
use super::curves::histories::{Histories, HistoryPanel, Trace, histories};
use super::curves::spectra::{Spectra, SpectrumCurve, SpectrumPanel, spectra};
use super::orders::order_history;
use crate::campaign::compare::{Cell, Comparison, RunResult};
use crate::math::spectral::welch;
use crate::metrics::pool::Quantity;
use crate::sim::record::Record;

/// Length of the piece of history that is shown, s.
const SHOWN_S: f64 = 120.0;
/// Length of the segments of the spectral estimate, s.
const SEGMENT_S: f64 = 128.0;
/// Encounter frequencies shown, rad/s.
const SPECTRUM_RANGE: [f64; 2] = [0.0, 3.0];

/// Quantities of the bars: which, of what, name, unit.
const BARS: [(Quantity, &str, &str, &str); 4] = [
    (Quantity::MotionRms, "heave", "Heave", "m"),
    (Quantity::MotionRms, "pitch", "Pitch", "deg"),
    (Quantity::MotionRms, "roll", "Roll", "deg"),
    (Quantity::VerticalRms, "", "Vertical acceleration", "m/s²"),
];

/// A picture and the stem of its files.
pub type Named = (String, Figure);

/// All pictures of a comparison. `point` is where acceleration is shown, `headings` puts wave
/// headings (deg) into words.
pub fn figures(found: &Comparison, point: &str, headings: &dyn Fn(f64) -> String) -> Vec<Named> {
    let mut out = Vec::new();
    let mut speeds: Vec<f64> = found.cells.iter().map(|c| c.speed_kn).collect();
    speeds.dedup();
    for speed_kn in speeds {
        out.push((
            format!("ride_{speed_kn:.0}kn"),
            bars(found, speed_kn, point, headings),
        ));
        let mut places: Vec<f64> = found
            .cells
            .iter()
            .filter(|c| c.speed_kn.total_cmp(&speed_kn).is_eq())
            .map(|c| c.heading_deg)
            .collect();
        places.dedup();
        for heading_deg in places {
            let runs: Vec<&RunResult> = found
                .runs
                .iter()
                .filter(|r| {
                    r.record.is_some()
                        && r.speed_kn.total_cmp(&speed_kn).is_eq()
                        && r.heading_deg.total_cmp(&heading_deg).is_eq()
                })
                .collect();
            let words = format!("{speed_kn:.0} kn, {}, {}", headings(heading_deg), found.sea);
            let stem = format!("{speed_kn:.0}kn_{heading_deg:.0}deg");
            out.push((
                format!("history_{stem}"),
                motions(found, &runs, point, &words),
            ));
            out.push((format!("fins_{stem}"), fins(found, &runs, &words)));
            out.extend(runs.iter().filter_map(|r| ordered(found, r, &stem, &words)));
            out.push((
                format!("spectra_{stem}"),
                densities(found, &runs, point, &words),
            ));
        }
    }
    out
}

fn heading(found: &Comparison, title: &str, words: &str) -> Heading {
    Heading::new(
        title,
        format!("{}, {words}", found.craft),
        "Invented demonstration craft and sea",
    )
}

fn bars(found: &Comparison, speed_kn: f64, point: &str, words: &dyn Fn(f64) -> String) -> Figure {
    let cells: Vec<&Cell> = found
        .cells
        .iter()
        .filter(|c| c.speed_kn.total_cmp(&speed_kn).is_eq())
        .collect();
    let laws = found.laws.len();
    let headings = cells
        .chunks(laws)
        .map(|c| words(c[0].heading_deg))
        .collect();
    let panel = |(quantity, of, name, unit): (Quantity, &str, &str, &str)| {
        let of = if of.is_empty() { point } else { of };
        let name = if quantity == Quantity::VerticalRms {
            format!("{name}, {of}")
        } else {
            name.to_owned()
        };
        let of_law = |law: usize| {
            cells
                .chunks(laws)
                .map(|c| value(c[law], quantity, of))
                .collect()
        };
        RidePanel {
            name,
            measure: "RMS".to_owned(),
            unit: unit.to_owned(),
            values: (0..laws).map(of_law).collect(),
        }
    };
    ride_bars(&RideBars {
        heading: heading(
            found,
            "Ride, law by law",
            &format!("{speed_kn:.0} kn, {}", found.sea),
        ),
        headings,
        laws: found.laws.clone(),
        panels: BARS.into_iter().map(panel).collect(),
    })
}

fn value(cell: &Cell, quantity: Quantity, of: &str) -> RideValue {
    if !cell.completed {
        return RideValue::Ended(
            cell.endings
                .first()
                .map_or("run ended", |_| "run ended")
                .to_owned(),
        );
    }
    match cell.numbers.as_ref().and_then(|n| n.get(quantity, of)) {
        Some(i) => RideValue::Estimate {
            value: i.value,
            low: i.low,
            high: i.high,
        },
        None => RideValue::Absent,
    }
}

/// One column of a run as a trace, times `factor`.
fn trace(
    run: &RunResult,
    record: &Record,
    column: &str,
    look: usize,
    factor: f64,
) -> Option<Trace> {
    let c = record.column(column)?;
    Some(Trace {
        name: run.law.clone(),
        look,
        t0_s: 0.0,
        dt_s: record.interval_s,
        values: c.data.iter().map(|v| v * factor).collect(),
    })
}

fn motions(found: &Comparison, runs: &[&RunResult], point: &str, words: &str) -> Figure {
    let acceleration = format!("{point}.acc_up");
    let columns = [
        ("heave_up", "Heave, up positive", "m", 1.0),
        ("pitch", "Pitch, bow up positive", "deg", 1f64.to_degrees()),
        (
            "roll",
            "Roll, starboard down positive",
            "deg",
            1f64.to_degrees(),
        ),
        (
            acceleration.as_str(),
            "Vertical acceleration, up positive",
            "m/s²",
            1.0,
        ),
    ];
    let mut panels = vec![wave_panel(runs)];
    for (column, name, unit, factor) in columns {
        panels.push(HistoryPanel {
            name: name.to_owned(),
            unit: unit.to_owned(),
            traces: runs
                .iter()
                .enumerate()
                .filter_map(|(k, r)| trace(r, r.record.as_ref()?, column, k, factor))
                .collect(),
            limits: Vec::new(),
        });
    }
    histories(&Histories {
        heading: heading(found, "Motions in the same waves", words),
        run_in_s: run_in_s(runs),
        window_s: Some(window(runs)),
        panels,
        events: events(runs),
    })
}

fn wave_panel(runs: &[&RunResult]) -> HistoryPanel {
    let first = runs.first().and_then(|r| {
        let mut t = trace(r, r.record.as_ref()?, "wave", 3, 1.0)?;
        "wave".clone_into(&mut t.name);
        Some(t)
    });
    HistoryPanel {
        name: "Wave above O, up positive".to_owned(),
        unit: "m".to_owned(),
        traces: first.into_iter().collect(),
        limits: Vec::new(),
    }
}

/// Angle of one surface of each pair under every law.
fn fins(found: &Comparison, runs: &[&RunResult], words: &str) -> Figure {
    let names: Vec<String> = runs
        .first()
        .and_then(|r| r.record.as_ref())
        .map(|rec| {
            rec.columns
                .iter()
                .filter_map(|c| c.name.strip_suffix(".angle").map(str::to_owned))
                .collect()
        })
        .unwrap_or_default();
    let panels = names
        .iter()
        .map(|surface| HistoryPanel {
            name: format!("{surface}, lift up positive"),
            unit: "deg".to_owned(),
            traces: runs
                .iter()
                .enumerate()
                .filter_map(|(k, r)| {
                    let column = format!("{surface}.angle");
                    trace(r, r.record.as_ref()?, &column, k, 1f64.to_degrees())
                })
                .collect(),
            limits: Vec::new(),
        })
        .collect();
    histories(&Histories {
        heading: heading(found, "Angles of the surfaces", words),
        run_in_s: run_in_s(runs),
        window_s: Some(window(runs)),
        panels,
        events: events(runs),
    })
}

fn densities(found: &Comparison, runs: &[&RunResult], point: &str, words: &str) -> Figure {
    let acceleration = format!("{point}.acc_up");
    let panels = [
        ("heave_up", "Heave", "m² s", 1.0),
        ("pitch", "Pitch", "deg² s", 1f64.to_degrees()),
        ("roll", "Roll", "deg² s", 1f64.to_degrees()),
        (acceleration.as_str(), "Vertical acceleration", "m²/s³", 1.0),
    ]
    .into_iter()
    .map(|(column, name, unit, factor)| SpectrumPanel {
        name: name.to_owned(),
        unit: unit.to_owned(),
        curves: runs
            .iter()
            .enumerate()
            .filter_map(|(k, r)| density(r, r.record.as_ref()?, column, k, factor))
            .collect(),
    })
    .collect();
    spectra(&Spectra {
        heading: heading(found, "Spectra over encounter frequency", words),
        range_rad_s: Some(SPECTRUM_RANGE),
        panels,
    })
}

fn density(
    run: &RunResult,
    record: &Record,
    column: &str,
    look: usize,
    factor: f64,
) -> Option<SpectrumCurve> {
    let samples: Vec<f64> = record
        .judged_of(column)?
        .iter()
        .map(|v| v * factor)
        .collect();
    let segment = (SEGMENT_S / record.interval_s) as usize;
    if samples.len() < 2 * segment {
        return None;
    }
    let d = welch(&samples, record.interval_s, segment);
    Some(SpectrumCurve {
        name: run.law.clone(),
        look,
        omega_rad_s: (0..d.s.len()).map(|k| d.omega_rad_s(k)).collect(),
        density: d.s,
        band: Vec::new(),
    })
}

fn run_in_s(runs: &[&RunResult]) -> f64 {
    runs.iter()
        .filter_map(|r| r.record.as_ref())
        .map(|r| r.run_in_samples as f64 * r.interval_s)
        .fold(0.0, f64::max)
}

/// Orders, trips and locks of all laws within the piece that is shown, each once.
fn events(runs: &[&RunResult]) -> Vec<(f64, String)> {
    let shown = window(runs);
    let mut out: Vec<(f64, String)> = Vec::new();
    let records = runs.iter().filter_map(|r| r.record.as_ref());
    for h in records.flat_map(|r| &r.happenings) {
        let event = (h.t_s, h.words.clone());
        if (shown[0]..=shown[1]).contains(&h.t_s) && !out.contains(&event) {
            out.push(event);
        }
    }
    out
}

/// Orders and what followed; none in a run without.
fn ordered(found: &Comparison, run: &RunResult, stem: &str, words: &str) -> Option<Named> {
    let record = run.record.as_ref().filter(|r| !r.happenings.is_empty())?;
    let head = heading(found, &format!("Orders: {}", run.law), words);
    let law = super::file_word(&run.law);
    Some((format!("orders_{stem}_{law}"), order_history(record, head)))
}

/// The piece after the run-in that is shown.
fn window(runs: &[&RunResult]) -> [f64; 2] {
    let from = run_in_s(runs);
    [from, from + SHOWN_S]
}
