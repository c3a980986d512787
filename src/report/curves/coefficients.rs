//! Added mass and damping against frequency: what the tables say and what the memory model makes
//! of them.
//!
//! # Checked by
//! `coefficients_show_table_and_fit`

use super::pairs;
use crate::report::chart::{
    Axis, Colour, Dash, Figure, Heading, Line, Look, Panel, Row, Rule, RuleWords,
};

/// Added mass and damping of one coupling.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Coupling {
    /// `33, heave`.
    pub name: String,
    /// `t`, `t m`, `t m²`.
    pub added_unit: String,
    /// `t/s`.
    pub damping_unit: String,
    /// Frequencies of the table, rad/s.
    pub omega_rad_s: Vec<f64>,
    /// Added mass of the table, in its unit.
    pub added: Vec<f64>,
    /// Damping of the table, in its unit.
    pub damping: Vec<f64>,
    /// Frequencies of the fit, rad/s; empty without one.
    pub fit_omega_rad_s: Vec<f64>,
    /// Added mass of the memory model.
    pub fit_added: Vec<f64>,
    /// Damping of the memory model.
    pub fit_damping: Vec<f64>,
    /// Added mass at infinite frequency.
    pub added_infinite: Option<f64>,
}

/// Coefficients of one craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Coefficients {
    /// Words at the head.
    pub heading: Heading,
    /// Couplings, one a row.
    pub couplings: Vec<Coupling>,
    /// Frequencies to mark, rad/s, and their words: natural frequencies.
    pub marks: Vec<(f64, String)>,
}

/// Rows of added mass and damping.
pub fn coefficients(data: &Coefficients) -> Figure {
    let last = data.couplings.len().saturating_sub(1);
    let rows = data.couplings.iter().enumerate().map(|(i, k)| {
        let x = || {
            let x = Axis::new("frequency", "rad/s").with_zero();
            if i == last { x } else { x.quiet() }
        };
        let mut a = Panel::new(
            format!("Added mass A{}", k.name),
            x(),
            Axis::new(format!("A{}", index(k)), k.added_unit.as_str()).with_zero(),
        );
        let mut b = Panel::new(
            format!("Damping B{}", k.name),
            x(),
            Axis::new(format!("B{}", index(k)), k.damping_unit.as_str()).with_zero(),
        );
        if let Some(v) = k.added_infinite {
            let look = Look::plain(Colour::GREY).dash(Dash::Dotted);
            let ends = [0.0, k.omega_rad_s.last().copied().unwrap_or(1.0)];
            let xy = pairs(&ends, &[v, v]);
            a.add(Line::new("added mass at infinite frequency", look, xy).width(1.3));
        }
        curves(&mut a, k, &k.added, &k.fit_added);
        curves(&mut b, k, &k.damping, &k.fit_damping);
        for (at, words) in &data.marks {
            let look = Look::plain(Colour::GREEN).dash(Dash::Dotted);
            let named = if i == 0 { words.as_str() } else { "" };
            a.add(Rule::upright(*at, named).look(look).words(RuleWords::Low));
            b.add(Rule::upright(*at, "").look(look));
        }
        Row::of(if i == last { 190.0 } else { 152.0 }, vec![a, b])
    });
    Figure::new(data.heading.clone(), rows.collect())
}

/// `33` of `33, heave`.
fn index(k: &Coupling) -> &str {
    k.name.split(',').next().unwrap_or("")
}

fn curves(p: &mut Panel, k: &Coupling, table: &[f64], fit: &[f64]) {
    let look = Look::nth(0);
    p.add(
        Line::new(
            "sectional theory, table",
            look,
            pairs(&k.omega_rad_s, table),
        )
        .width(2.2),
    );
    if !fit.is_empty() {
        let look = Look::plain(Colour::VERMILLION).dash(Dash::Dashed);
        let xy = pairs(&k.fit_omega_rad_s, fit);
        p.add(Line::new("memory model, fit", look, xy));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::chart::tests::check;

    #[test]
    fn coefficients_show_table_and_fit() {
        let omega: Vec<f64> = (1..=80).map(|i| f64::from(i) * 0.05).collect();
        let coupling = |name: &str, unit: [&str; 2], scale: f64, at: f64| {
            let b = |w: &f64| scale * 0.4 * (w / at).powi(2) * (-(w / at).powi(2)).exp();
            let a =
                |w: &f64| scale * (1.0 + 0.5 * (1.0 - (w / at).powi(2)) / (1.0 + (w / at).powi(4)));
            Coupling {
                name: name.into(),
                added_unit: unit[0].into(),
                damping_unit: unit[1].into(),
                added: omega.iter().map(a).collect(),
                damping: omega.iter().map(b).collect(),
                fit_omega_rad_s: omega.clone(),
                fit_added: omega.iter().map(|w| 1.01 * a(w)).collect(),
                fit_damping: omega.iter().map(|w| 1.04 * b(w)).collect(),
                omega_rad_s: omega.clone(),
                added_infinite: Some(scale),
            }
        };
        let data = Coefficients {
            heading: Heading::new(
                "Added mass and damping at zero speed",
                "Tarnwick, about O, 41 stations, hull interaction faded",
                "Invented demonstration craft. Data of this picture are synthetic.",
            ),
            couplings: vec![
                coupling("33, heave", ["t", "t/s"], 180.0, 0.9),
                coupling("35, heave from pitch", ["t m", "t m/s"], -55.0, 0.9),
                coupling("55, pitch", ["t m²", "t m²/s"], 11_000.0, 0.9),
                coupling("22, sway", ["t", "t/s"], 320.0, 1.3),
            ],
            marks: vec![
                (0.68, "natural, heave".into()),
                (0.45, "natural, pitch".into()),
            ],
        };
        let figure = coefficients(&data);
        assert_eq!(figure.panel_count(), 8);
        let texts = [
            "Added mass A33, heave",
            "memory model, fit",
            "frequency (rad/s)",
            "(t m²/s)",
        ];
        check(&figure, "coefficients", &texts);
    }
}
