//! Defaults that depend on other keys of the same file, written out for `show`.
//!
//! What only physics can fill (mass equal to displacement, the program's own station and
//! frequency lists) stays `null`, which means the same when read again.

use super::craft::CraftSpec;
use super::outline::{Outline, Section};

/// Writes out what the craft file leaves to other keys: half and axis heights of stations, body
/// radii of surfaces, height sensors. Reading the result gives the same craft.
pub fn craft(spec: &CraftSpec) -> CraftSpec {
    let mut spec = spec.clone();
    let outline = Outline::of(&spec.lower_hulls);
    for station in &mut spec.lower_hulls.stations {
        let section = Section::of(station);
        station.half_height_m = Some(section.half_height_m);
        station.axis_height_m = Some(section.axis_height_m);
    }
    for surface in &mut spec.surfaces {
        let section = outline.as_ref().and_then(|o| o.at(surface.stock_x_m));
        if let (None, Some(section)) = (surface.body_radius_m, section) {
            surface.body_radius_m = Some(body_radius_m(&section));
        }
    }
    if spec.sensors.height_sensors_m.is_empty() {
        spec.sensors.height_sensors_m = height_sensors_m(&spec);
    }
    spec
}

/// Radius of the circle with the section's product of half sides, m: the body of carry-over.
pub fn body_radius_m(section: &Section) -> f64 {
    (section.half_breadth_m * section.half_height_m)
        .max(0.0)
        .sqrt()
}

/// Positions of the height sensors when the file gives none: the underside's middle and bow, on
/// the centre plane (x, y, height above baseline), m.
pub fn height_sensors_m(spec: &CraftSpec) -> Vec<[f64; 3]> {
    let b = &spec.cross_structure;
    let middle = 0.5 * (b.fore_x_m + b.aft_x_m);
    vec![
        [middle, 0.0, b.underside_height_m],
        [b.fore_x_m, 0.0, b.underside_height_m],
    ]
}
