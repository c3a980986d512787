//! Spectra of responses against encounter frequency, several laws.
//!
//! # Checked by
//! `spectra_are_drawn`

use super::pairs;
use crate::report::chart::{Axis, Figure, Heading, Line, Look, Panel, Row};

/// One spectrum.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectrumCurve {
    /// In the legend.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// Frequencies, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// Density in the panel's unit.
    pub density: Vec<f64>,
    /// Low and high of the 95 % interval; empty without one.
    pub band: Vec<[f64; 2]>,
}

/// One response.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectrumPanel {
    /// What.
    pub name: String,
    /// Unit of the density, `m² s`.
    pub unit: String,
    /// Curves.
    pub curves: Vec<SpectrumCurve>,
}

/// Spectra of several responses.
#[derive(Clone, Debug, PartialEq)]
pub struct Spectra {
    /// Words at the head.
    pub heading: Heading,
    /// Frequencies shown, rad/s; all when absent.
    pub range_rad_s: Option<[f64; 2]>,
    /// Responses, two in a row.
    pub panels: Vec<SpectrumPanel>,
}

/// Spectra, two in a row.
pub fn spectra(data: &Spectra) -> Figure {
    let panels: Vec<Panel> = data.panels.iter().map(|p| panel(data, p)).collect();
    let rows = panels.chunks(2).map(|pair| Row::of(215.0, pair.to_vec()));
    Figure::new(data.heading.clone(), rows.collect())
}

fn panel(data: &Spectra, p: &SpectrumPanel) -> Panel {
    let mut x = Axis::new("encounter frequency", "rad/s").with_zero();
    x.range = data.range_rad_s;
    let y = Axis::new("spectral density", p.unit.as_str()).with_zero();
    let mut panel = Panel::new(p.name.as_str(), x, y);
    for c in &p.curves {
        let xy = pairs(&c.omega_rad_s, &c.density);
        let line = Line::new(c.name.as_str(), Look::nth(c.look), xy).band(c.band.clone());
        panel.add(line.markers(12));
    }
    panel
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn spectra_are_drawn() {
        let omega: Vec<f64> = (1..=120).map(|i| f64::from(i) * 0.025).collect();
        let panel = |name: &str, unit: &str, scale: f64| SpectrumPanel {
            name: name.into(),
            unit: unit.into(),
            curves: ["fins fixed at trim", "PID", "LQR"]
                .iter()
                .enumerate()
                .map(|(i, n)| {
                    let f = [1.0, 0.5, 0.3][i] * scale;
                    let s = |w: &f64| f * (0.9 / w).powi(5) * (-1.25 * (0.9 / w).powi(4)).exp();
                    let density: Vec<f64> = omega.iter().map(s).collect();
                    SpectrumCurve {
                        name: (*n).into(),
                        look: i,
                        omega_rad_s: omega.clone(),
                        band: density.iter().map(|v| [0.8 * v, 1.3 * v]).collect(),
                        density,
                    }
                })
                .collect(),
        };
        let data = Spectra {
            heading: Heading::new(
                "Response spectra",
                "Tarnwick, 16 kn, head seas (180°), Hs 1.25 m, Tp 7.0 s; bands: 95 % intervals",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            range_rad_s: Some([0.0, 3.0]),
            panels: vec![
                panel("Heave at O", "m² s", 0.3),
                panel("Pitch", "deg² s", 2.0),
                panel("Vertical acceleration, bridge", "m² s⁻³", 0.5),
                panel("Forward fin angle", "deg² s", 40.0),
            ],
        };
        let figure = spectra(&data);
        assert_eq!(figure.panel_count(), 4);
        let texts = [
            "encounter frequency (rad/s)",
            "spectral density (m² s)",
            "LQR",
        ];
        check(&figure, "spectra", &texts);
    }
}
