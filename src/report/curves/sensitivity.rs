//! Sensitivities against frequency: what feedback does to disturbances, and its price.
//!
//! # Checked by
//! `sensitivities_have_their_peaks`

use super::pairs;
use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Marker, Note, Panel, Points, Row, Rule,
};

/// One curve.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SensitivityCurve {
    /// In the legend.
    pub name: String,
    /// Which look.
    pub look: usize,
    /// rad/s, ascending.
    pub omega_rad_s: Vec<f64>,
    /// dB.
    pub db: Vec<f64>,
    /// Frequency and height of the peak, dB.
    pub peak: Option<[f64; 2]>,
}

/// Panels of sensitivities.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SensitivityPicture {
    /// Words at the head.
    pub heading: Heading,
    /// Name of a panel and its curves.
    pub panels: Vec<(String, Vec<SensitivityCurve>)>,
    /// Frequencies shown, rad/s.
    pub range_rad_s: [f64; 2],
    /// Peak that common practice allows, dB.
    pub allowed_db: f64,
}

/// Panels side by side.
pub fn sensitivity_picture(data: &SensitivityPicture) -> Figure {
    let panels = data
        .panels
        .iter()
        .map(|(name, curves)| {
            let [low, high] = data.range_rad_s;
            let x = Axis::new("frequency", "rad/s").range(low, high).log();
            let mut y = Axis::new("below 0 dB feedback helps, above it harms", "dB");
            y.include = vec![-20.0, 12.0];
            let mut p = Panel::new(name.as_str(), x, y.step(5.0));
            let ink = Look::plain(Colour::INK);
            p.add(Rule::level(0.0, "").look(ink));
            let red = Look::plain(Colour::VERMILLION).dash(Dash::Dashed);
            let words = format!("{:.0} dB, common practice", data.allowed_db);
            p.add(Rule::level(data.allowed_db, words).look(red));
            for c in curves {
                let look = Look::nth(c.look);
                let xy = pairs(&c.omega_rad_s, &c.db)
                    .into_iter()
                    .filter(|p| p[0] >= low && p[0] <= high && p[1] > -30.0);
                p.add(Line::new(c.name.as_str(), look, xy.collect()));
                if let Some(at) = c.peak.filter(|p| p[0] >= low && p[0] <= high) {
                    let look = Look::plain(look.colour).marker(Marker::Circle);
                    p.add(Points::new("", look, vec![at]));
                    let note = Note::new(at, format!("{} {:+.1} dB", c.name, at[1]));
                    p.add(note.shift(0.0, -10.0).lean(-0.5, -1.0).size(9.5).yielding());
                }
            }
            p
        })
        .collect();
    Figure::new(data.heading.clone(), vec![Row::of(330.0, panels)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn sensitivities_have_their_peaks() {
        let omega: Vec<f64> = (0..200).map(|i| 0.02 * 1.04_f64.powi(i)).collect();
        let db = |w: &f64| {
            let s = num_complex::Complex64::new(0.0, *w);
            -20.0 * (1.0 + 10.0 / (s * (s + 1.0) * (s + 5.0))).norm().log10()
        };
        let curve = SensitivityCurve {
            name: "S".into(),
            look: 1,
            db: omega.iter().map(db).collect(),
            peak: Some([1.402, 8.68]),
            omega_rad_s: omega,
        };
        let data = SensitivityPicture {
            heading: Heading::new("Sensitivities", "16 kn", "Data are synthetic."),
            panels: vec![("Demands".into(), vec![curve])],
            range_rad_s: [0.05, 30.0],
            allowed_db: 6.0,
        };
        let texts = ["S +8.7 dB", "6 dB, common practice", "frequency (rad/s)"];
        let figure = sensitivity_picture(&data);
        assert_eq!(figure.panel_count(), 1);
        check(&figure, "sensitivity", &texts);
    }
}
