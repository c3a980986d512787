//! Righting arms and immersion.
//!
//! # Checked by
//! `hydrostatic_curves_are_drawn`

use super::pairs;
use crate::report::chart::{Axis, Colour, Dash, Figure, Heading, Line, Look, Panel, Row, Rule};

/// Curves beyond the linear range.
#[derive(Clone, Debug, PartialEq)]
pub struct HydrostaticCurves {
    /// Words at the head.
    pub heading: Heading,
    /// Heel, starboard down positive, deg.
    pub heel_deg: Vec<f64>,
    /// Righting arm, m.
    pub gz_m: Vec<f64>,
    /// Transverse metacentric height, m.
    pub gm_t_m: f64,
    /// Heel at which the cross-structure touches, deg.
    pub touches_deg: Option<f64>,
    /// Sinkage from the design waterline, down positive, m.
    pub sinkage_m: Vec<f64>,
    /// Displacement, t.
    pub displacement_t: Vec<f64>,
    /// Mass, t.
    pub mass_t: f64,
    /// Sinkages to mark, m, and their words: strut top out of water, box in the water.
    pub marks: Vec<(f64, String)>,
}

/// GZ against heel, displacement against sinkage.
pub fn hydrostatic_curves(data: &HydrostaticCurves) -> Figure {
    let x = Axis::new("heel, starboard down positive", "deg");
    let y = Axis::new("GZ, positive rights a starboard heel", "m").with_zero();
    let mut gz = Panel::new("Righting arm, sinkage and trim free", x, y);
    let largest = data.gz_m.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    let slope: Vec<[f64; 2]> = data
        .heel_deg
        .iter()
        .map(|h| [*h, data.gm_t_m * h.to_radians()])
        .filter(|p| p[1].abs() <= 1.05 * largest)
        .collect();
    let thin = Look::plain(Colour::VERMILLION).dash(Dash::Dashed);
    let words = format!("slope GM = {:.2} m", data.gm_t_m);
    gz.add(Line::new(words, thin, slope).width(1.3));
    gz.add(
        Line::new(
            "GZ",
            Look::plain(Colour::BLUE),
            pairs(&data.heel_deg, &data.gz_m),
        )
        .width(2.0),
    );
    if let Some(at) = data.touches_deg {
        gz.add(Rule::upright(at, "cross-structure touches"));
    }
    let x = Axis::new("sinkage, down positive", "m");
    let y = Axis::new("displacement", "t").with_zero();
    let xy = pairs(&data.sinkage_m, &data.displacement_t);
    let line = Line::new("displacement", Look::plain(Colour::BLACK), xy).width(2.0);
    let mut immersion = Panel::new("Immersion, even keel", x, y).with(line);
    immersion.add(Rule::level(
        data.mass_t,
        format!("mass {:.1} t", data.mass_t),
    ));
    for (at, words) in &data.marks {
        let look = Look::plain(Colour::GREEN).dash(Dash::Dotted);
        immersion.add(Rule::upright(*at, words.as_str()).look(look));
    }
    Figure::new(
        data.heading.clone(),
        vec![Row::of(290.0, vec![gz, immersion])],
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::restoring::Restoring;
    use crate::report::chart::tests::check;
    use crate::report::craft_views::tests::demo;

    #[test]
    fn hydrostatic_curves_are_drawn() {
        let (craft, _) = demo("coastal_survey.json");
        let restoring = Restoring::build(&craft);
        let heel: Vec<f64> = (-30..=30).map(f64::from).collect();
        let heel_rad: Vec<f64> = heel.iter().map(|h| h.to_radians()).collect();
        let sinkage: Vec<f64> = (-30..=35).map(|i| f64::from(i) * 0.1).collect();
        let gz = craft.gz_curve(&restoring, &heel_rad);
        let immersion = craft.immersion_curve(&restoring, &sinkage);
        let mass_t = craft.mass.mass_kg / 1000.0;
        let data = HydrostaticCurves {
            heading: Heading::new(
                "Hydrostatic curves",
                "Tarnwick, design loading",
                "Invented demonstration craft",
            ),
            heel_deg: heel,
            gz_m: gz.iter().map(|p| p.gz_m).collect(),
            gm_t_m: craft.hydrostatics.gm_t_m,
            touches_deg: Some(19.4),
            displacement_t: immersion
                .iter()
                .map(|p| p.displacement_kg / 1000.0)
                .collect(),
            sinkage_m: sinkage,
            mass_t,
            marks: vec![
                (-1.79, "lower hull emerges".into()),
                (-craft.underside_z_m, "box enters the water".into()),
            ],
        };
        let figure = hydrostatic_curves(&data);
        let texts = [
            "GZ, positive rights",
            "slope GM = 1.43 m",
            "mass 248.",
            "box enters the water",
        ];
        check(&figure, "hydrostatics", &texts);
        assert_eq!(figure.panel_count(), 2);
    }
}
