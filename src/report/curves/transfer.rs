//! Amplitude and phase against frequency or wave length: wave forces and transfer functions.
//!
//! # Checked by
//! `transfer_functions_have_amplitude_and_phase`

use super::pairs;
use crate::report::chart::{Axis, Figure, Heading, Line, Look, Panel, Row};

/// One curve.
#[derive(Clone, Debug, PartialEq)]
pub struct TransferCurve {
    /// In the legend: a heading, a speed, a law.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// Frequencies, or wave length over hull length.
    pub x: Vec<f64>,
    /// Amplitude in the panel's unit.
    pub amplitude: Vec<f64>,
    /// Lead over the crest at O, deg.
    pub phase_deg: Vec<f64>,
}

/// One response.
#[derive(Clone, Debug, PartialEq)]
pub struct TransferPanel {
    /// With its sign: `heave, up positive`.
    pub name: String,
    /// What the amplitude is divided by: `heave / wave amplitude`.
    pub amplitude: String,
    /// Its unit, empty for none.
    pub unit: String,
    /// Curves.
    pub curves: Vec<TransferCurve>,
}

/// Transfer functions or wave forces.
#[derive(Clone, Debug, PartialEq)]
pub struct Transfers {
    /// Words at the head.
    pub heading: Heading,
    /// `wave frequency`, `wave length / hull length`.
    pub abscissa: String,
    /// Unit of it.
    pub abscissa_unit: String,
    /// Responses, one a row.
    pub panels: Vec<TransferPanel>,
}

/// Rows of amplitude and phase.
pub fn transfers(data: &Transfers) -> Figure {
    let last = data.panels.len().saturating_sub(1);
    let rows = data.panels.iter().enumerate().map(|(i, p)| {
        let x = || {
            let x = Axis::new(data.abscissa.as_str(), data.abscissa_unit.as_str()).with_zero();
            if i == last { x } else { x.quiet() }
        };
        let y = Axis::new(p.amplitude.as_str(), p.unit.as_str()).with_zero();
        let phase = Axis::new("phase lead over crest", "deg")
            .range(-180.0, 180.0)
            .step(90.0);
        let mut left = Panel::new(p.name.as_str(), x(), y);
        let mut right = Panel::new("Phase", x(), phase);
        for c in &p.curves {
            let look = Look::nth(c.look);
            let xy = pairs(&c.x, &c.amplitude);
            left.add(Line::new(c.name.as_str(), look, xy).markers(7));
            let turns = unwound(&pairs(&c.x, &c.phase_deg));
            right.add(Line::new(c.name.as_str(), look, turns).markers(7));
        }
        let mut row = Row::of(if i == last { 205.0 } else { 168.0 }, vec![left, right]);
        row.cells[0].0 = 1.25;
        row
    });
    Figure::new(data.heading.clone(), rows.collect())
}

/// Phases within half a turn of zero, the line broken where they leap.
fn unwound(xy: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut all: Vec<[f64; 2]> = Vec::with_capacity(xy.len());
    let mut last = f64::NAN;
    for p in xy {
        let phase = (p[1] + 180.0).rem_euclid(360.0) - 180.0;
        if (phase - last).abs() > 180.0 {
            all.push([p[0], f64::NAN]);
        }
        all.push([p[0], phase]);
        last = phase;
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn transfer_functions_have_amplitude_and_phase() {
        let x: Vec<f64> = (2..=100).map(|i| f64::from(i) * 0.02).collect();
        let panel = |name: &str, amplitude: &str, unit: &str, scale: f64| TransferPanel {
            name: name.into(),
            amplitude: amplitude.into(),
            unit: unit.into(),
            curves: ["head 180°", "bow 135°", "beam 90°", "following 0°"]
                .iter()
                .enumerate()
                .map(|(i, n)| {
                    let w0 = 0.7 + 0.12 * i as f64;
                    let of = |w: &f64| {
                        num_complex::Complex64::new(1.0 - (w / w0).powi(2), 0.3 * w / w0).inv()
                    };
                    TransferCurve {
                        name: (*n).into(),
                        look: i,
                        x: x.clone(),
                        amplitude: x.iter().map(|w| scale * of(w).norm()).collect(),
                        phase_deg: x
                            .iter()
                            .map(|w| of(w).arg().to_degrees() - 80.0 * w * w)
                            .collect(),
                    }
                })
                .collect(),
        };
        let data = Transfers {
            heading: Heading::new(
                "Transfer functions from waves",
                "Tarnwick, 16 kn, fins fixed at trim, linear model",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            abscissa: "wave frequency".into(),
            abscissa_unit: "rad/s".into(),
            panels: vec![
                panel(
                    "Heave at O, up positive",
                    "heave / wave amplitude",
                    "m/m",
                    1.0,
                ),
                panel(
                    "Pitch, bow up positive",
                    "pitch / wave slope",
                    "rad/rad",
                    0.7,
                ),
                panel(
                    "Roll, starboard down positive",
                    "roll / wave slope",
                    "rad/rad",
                    0.4,
                ),
            ],
        };
        let figure = transfers(&data);
        assert_eq!(figure.panel_count(), 6);
        let texts = [
            "heave / wave amplitude (m/m)",
            "phase lead over crest (deg)",
            "head 180°",
        ];
        check(&figure, "transfer_functions", &texts);
        let leap = unwound(&[[0.0, 170.0], [1.0, 190.0]]);
        assert!(leap[1][1].is_nan() && (leap[2][1] + 170.0).abs() < 1e-12);
    }
}
