//! The lower hull's outline as the craft file gives it: enough to say whether a strut stands on
//! the hull and a fin sits at it. Geometry proper, with volumes and moments, is built a floor up.
//!
//! Between stations the squares of half breadth and half height and the axis height run linearly
//! in x; beyond the end stations both half sides fall by the law of the end.

use super::craft::{EndSpec, LowerHullSpec, StationSpec};

/// Half breadth, half height and axis height of the lower hull at one x, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Section {
    /// Half breadth, m.
    pub half_breadth_m: f64,
    /// Half height, m.
    pub half_height_m: f64,
    /// Height of the axis above the baseline, m.
    pub axis_height_m: f64,
}

impl Section {
    /// A station with its defaults: half height from half breadth, axis height from half height.
    pub fn of(station: &StationSpec) -> Self {
        let half_height_m = station.half_height_m.unwrap_or(station.half_breadth_m);
        Section {
            half_breadth_m: station.half_breadth_m,
            half_height_m,
            axis_height_m: station.axis_height_m.unwrap_or(half_height_m),
        }
    }

    /// Height of the section's top above the baseline, m.
    pub fn top_m(&self) -> f64 {
        self.axis_height_m + self.half_height_m
    }

    /// Distance (m) of a point from the outline (taken as an ellipse) and whether it is inside.
    /// `dy` is to the side of the hull's centre plane, `height` above the baseline, both m.
    pub fn distance(&self, dy: f64, height: f64) -> (f64, bool) {
        let dz = height - self.axis_height_m;
        let (b, h) = (self.half_breadth_m, self.half_height_m);
        let is_inside = b > 0.0 && h > 0.0 && (dy / b).powi(2) + (dz / h).powi(2) < 1.0;
        // a quarter of a degree: the nearest sample is within 2e-6 of b + h of the true distance
        let nearest = (0..1440)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 1440.0)
            .map(|t| (dy - b * t.cos()).hypot(dz - h * t.sin()))
            .fold(f64::INFINITY, f64::min);
        (nearest, is_inside)
    }
}

/// The starboard lower hull.
#[derive(Clone, Debug)]
pub struct Outline {
    stations: Vec<(f64, Section)>,
    fore: EndSpec,
    aft: EndSpec,
}

impl Outline {
    /// The outline, if the stations ascend and no end is shorter than nothing.
    pub fn of(hull: &LowerHullSpec) -> Option<Self> {
        let stations: Vec<_> = hull
            .stations
            .iter()
            .map(|s| (s.x_m, Section::of(s)))
            .collect();
        let ascending = stations.windows(2).all(|w| w[0].0 < w[1].0);
        let ends_reach_out = [&hull.fore_end, &hull.aft_end]
            .iter()
            .all(|end| length_of(end) >= 0.0);
        (ascending && stations.len() > 1 && ends_reach_out).then_some(Outline {
            stations,
            fore: hull.fore_end,
            aft: hull.aft_end,
        })
    }

    /// Aftmost and foremost x, m.
    pub fn ends(&self) -> (f64, f64) {
        let first = self.stations[0].0;
        let last = self.stations[self.stations.len() - 1].0;
        (first - length_of(&self.aft), last + length_of(&self.fore))
    }

    /// The greatest half breadth at a station, m.
    pub fn broadest_m(&self) -> f64 {
        self.stations
            .iter()
            .map(|s| s.1.half_breadth_m)
            .fold(0.0, f64::max)
    }

    /// The section at `x_m`, if the hull reaches there.
    pub fn at(&self, x_m: f64) -> Option<Section> {
        let (aft, fore) = self.ends();
        if !(aft..=fore).contains(&x_m) {
            return None;
        }
        let (first, last) = (self.stations[0], self.stations[self.stations.len() - 1]);
        if x_m < first.0 {
            return Some(shrunk(first.1, &self.aft, first.0 - x_m));
        }
        if x_m > last.0 {
            return Some(shrunk(last.1, &self.fore, x_m - last.0));
        }
        let i = self.stations.partition_point(|s| s.0 <= x_m);
        let i = i.clamp(1, self.stations.len() - 1);
        let ((xa, a), (xb, b)) = (self.stations[i - 1], self.stations[i]);
        let t = (x_m - xa) / (xb - xa);
        let by_square = |p: f64, q: f64| ((1.0 - t) * p * p + t * q * q).max(0.0).sqrt();
        Some(Section {
            half_breadth_m: by_square(a.half_breadth_m, b.half_breadth_m),
            half_height_m: by_square(a.half_height_m, b.half_height_m),
            axis_height_m: (1.0 - t) * a.axis_height_m + t * b.axis_height_m,
        })
    }
}

/// Length of an end beyond its station, m.
pub fn length_of(end: &EndSpec) -> f64 {
    match *end {
        EndSpec::AsGiven => 0.0,
        EndSpec::Ellipsoid { length_m }
        | EndSpec::Paraboloid { length_m }
        | EndSpec::Parabola { length_m } => length_m,
    }
}

fn shrunk(section: Section, end: &EndSpec, beyond_m: f64) -> Section {
    let s = match length_of(end) {
        l if l > 0.0 => (beyond_m / l).clamp(0.0, 1.0),
        _ => 1.0,
    };
    let factor = match end {
        EndSpec::AsGiven => 1.0,
        EndSpec::Ellipsoid { .. } => (1.0 - s * s).sqrt(),
        EndSpec::Paraboloid { .. } => (1.0 - s).sqrt(),
        EndSpec::Parabola { .. } => 1.0 - s * s,
    };
    Section {
        half_breadth_m: section.half_breadth_m * factor,
        half_height_m: section.half_height_m * factor,
        axis_height_m: section.axis_height_m,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cone_with_nose() -> Option<Outline> {
        let station = |x_m, half_breadth_m| StationSpec {
            x_m,
            half_breadth_m,
            half_height_m: None,
            axis_height_m: Some(1.0),
        };
        Outline::of(&LowerHullSpec {
            lateral_position_m: 5.0,
            section: super::super::craft::SectionShape::Circle,
            stations: vec![station(-10.0, 0.0), station(0.0, 1.0), station(4.0, 1.0)],
            fore_end: EndSpec::Ellipsoid { length_m: 2.0 },
            aft_end: EndSpec::AsGiven,
        })
    }

    #[test]
    fn area_runs_linearly_and_the_nose_is_an_ellipse() {
        let outline = cone_with_nose().expect("stations ascend");
        assert_eq!(outline.ends(), (-10.0, 6.0));
        let b = |x| outline.at(x).map_or(-1.0, |s| s.half_breadth_m);
        assert!((b(-5.0) - 0.5_f64.sqrt()).abs() < 1e-12);
        assert!((b(5.0) - 0.75_f64.sqrt()).abs() < 1e-12);
        assert!(b(6.0).abs() < 1e-12 && outline.at(6.01).is_none());
    }

    #[test]
    fn distance_to_a_circle_is_exact_to_the_sampling() {
        let circle = Section {
            half_breadth_m: 1.0,
            half_height_m: 1.0,
            axis_height_m: 1.0,
        };
        let (d, inside) = circle.distance(3.0, 5.0);
        assert!((d - 4.0).abs() < 1e-5 && !inside); // 3-4-5 triangle less the radius
        let (d, inside) = circle.distance(0.5, 1.0);
        assert!((d - 0.5).abs() < 1e-5 && inside);
    }
}
