//! The numbers of a row: names with units, and where they come from in a judged run.
//!
//! A name is `subject.quantity_unit`: `heave.rms_m`, `bridge.vertical_max_m_s2`. Craft with other points
//! or surfaces add their own columns; what a craft does not have stays empty. `max` is the largest
//! distance from the mean in the record, the extreme of which exceedance is told; `rayleigh_max` and
//! `weibull_max` what theory makes of the record's own amplitudes.
//!
//! # Checked by
//! `names_and_numbers_belong_together` (tests/campaign.rs)

use crate::dynamics::model::CraftModel;
use crate::metrics::motion::AmplitudeStats;
use crate::metrics::ride::RideReport;
use crate::spec::craft::SurfaceGroup;

/// Motions that get columns, with their unit.
const MOTIONS: [(&str, &str); 4] = [
    ("heave", "m"),
    ("pitch", "deg"),
    ("roll", "deg"),
    ("yaw", "deg"),
];
/// Quantities of a motion, without its unit.
const MOTION: [&str; 4] = ["rms", "max", "rayleigh_max", "weibull_max"];
/// Quantities of a point.
const POINT: [&str; 13] = [
    "vertical_rms_m_s2",
    "vertical_max_m_s2",
    "vertical_rayleigh_max_m_s2",
    "vertical_weibull_max_m_s2",
    "vertical_weibull_shape",
    "vertical_velocity_rms_m_s",
    "lateral_rms_m_s2",
    "weighted_vertical_m_s2",
    "weighted_lateral_m_s2",
    "msdv_m_s1_5",
    "msi_percent",
    "mii_per_min",
    "mean_frequency_hz",
];
/// Quantities of the cross-structure.
const UNDERSIDE: [&str; 4] = [
    "contacts",
    "contacts_per_h",
    "deepest_contact_m",
    "least_clearance_m",
];
/// Quantities of a surface.
const SURFACE: [&str; 4] = [
    "rms_deg",
    "rate_rms_deg_s",
    "at_angle_limit_frac",
    "at_rate_limit_frac",
];
/// Quantities of all surfaces but rudders together.
const FINS: [&str; 5] = [
    "largest_rms_deg",
    "travel_deg_per_h",
    "work_kj_per_h",
    "emergences_per_h",
    "emergence_time_frac",
];

/// Names of the columns of one craft.
pub fn names(model: &CraftModel) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for (motion, unit) in MOTIONS {
        out.extend(MOTION.map(|q| format!("{motion}.{q}_{unit}")));
        out.push(format!("{motion}.weibull_shape"));
    }
    for (point, _) in &model.craft.points {
        out.extend(POINT.map(|q| format!("{point}.{q}")));
    }
    out.extend(UNDERSIDE.map(|q| format!("cross_structure.{q}")));
    for s in &model.surfaces {
        out.extend(SURFACE.map(|q| format!("{}.{q}", s.name)));
    }
    out.extend(FINS.map(|q| format!("fins.{q}")));
    out
}

/// The numbers of one judged run, in the order of [`names`].
pub fn numbers(model: &CraftModel, ride: &RideReport) -> Vec<f64> {
    let mut out = Vec::new();
    for (name, _) in MOTIONS {
        let m = ride.motions.iter().find(|m| m.name == name);
        out.extend(m.map_or([f64::NAN; MOTION.len() + 1], |m| {
            let [rayleigh, weibull, shape] = theory(&m.stats.amplitudes);
            let s = &m.stats;
            [s.rms.value, s.max_amplitude, rayleigh, weibull, shape]
        }));
    }
    for (name, _) in &model.craft.points {
        match ride.points.iter().find(|p| p.name == *name) {
            Some(p) => out.extend([
                p.vertical_rms_m_s2.value,
                p.vertical_max_m_s2,
                theory(&p.vertical_amplitudes)[0],
                theory(&p.vertical_amplitudes)[1],
                theory(&p.vertical_amplitudes)[2],
                p.vertical_velocity_rms_m_s.value,
                p.lateral_rms_m_s2.value,
                p.weighted_vertical_m_s2.value,
                p.weighted_lateral_m_s2.value,
                p.msdv_m_s1_5.value,
                p.msi_1976_percent.value,
                p.mii_per_min.value,
                p.mean_frequency_hz,
            ]),
            None => out.extend([f64::NAN; POINT.len()]),
        }
    }
    let under = ride.events.iter().find(|e| e.name == "cross-structure");
    out.extend(under.map_or([f64::NAN; UNDERSIDE.len()], |e| {
        let s = &e.stats;
        [
            s.count as f64,
            s.rate_per_h.value,
            s.deepest_m,
            s.least_clearance_m,
        ]
    }));
    for surface in &model.surfaces {
        let found = ride.surfaces.iter().find(|s| s.name == surface.name);
        out.extend(found.map_or([f64::NAN; SURFACE.len()], |s| {
            [
                s.rms_deg.value,
                s.rate_rms_deg_s.value,
                s.at_angle_limit_frac,
                s.at_rate_limit_frac,
            ]
        }));
    }
    out.extend(fins(model, ride));
    out
}

/// Largest by Rayleigh and by Weibull, and the shape of the latter.
fn theory(a: &AmplitudeStats) -> [f64; 3] {
    let or_none = |x: Option<f64>| x.unwrap_or(f64::NAN);
    [
        a.rayleigh_max,
        or_none(a.weibull_max),
        or_none(a.weibull_shape),
    ]
}

/// Columns of the largest by Rayleigh and by Weibull that belong to a column of the largest found.
pub fn forecasts_of(largest: &str) -> Option<[String; 2]> {
    let (before, after) = largest.rsplit_once("max_")?;
    let by = |law: &str| format!("{before}{law}_max_{after}");
    let is_found = !before.ends_with("rayleigh_") && !before.ends_with("weibull_");
    is_found.then(|| [by("rayleigh"), by("weibull")])
}

/// All surfaces but rudders together.
fn fins(model: &CraftModel, ride: &RideReport) -> [f64; FINS.len()] {
    let lifts = |name: &str| {
        let s = model.surfaces.iter().find(|s| s.name == name);
        s.is_some_and(|s| s.group != SurfaceGroup::Rudder)
    };
    let mut sum = [0.0; FINS.len()];
    for s in ride.surfaces.iter().filter(|s| lifts(&s.name)) {
        sum[0] = f64::max(sum[0], s.rms_deg.value);
        sum[1] += s.travel_deg_per_h;
        sum[2] += s.work_kj_per_h.unwrap_or(0.0);
    }
    for e in ride.events.iter().filter(|e| lifts(&e.name)) {
        sum[3] += e.stats.rate_per_h.value;
        sum[4] = f64::max(sum[4], e.stats.time_frac);
    }
    sum
}

/// Columns of all craft together, each once, in the order of their first craft.
pub fn union(all: &[Vec<String>]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for name in all.iter().flatten() {
        if !out.contains(name) {
            out.push(name.clone());
        }
    }
    out
}

/// What tables tell when the file asks for nothing else: `point` is a named point of the craft.
pub fn usual(columns: &[String], point: Option<&str>) -> Vec<String> {
    let mut wanted: Vec<String> = ["heave.rms_m", "pitch.rms_deg", "roll.rms_deg"]
        .map(String::from)
        .into();
    if let Some(p) = point {
        wanted.push(format!("{p}.vertical_rms_m_s2"));
        wanted.push(format!("{p}.vertical_max_m_s2"));
        wanted.push(format!("{p}.msi_percent"));
    }
    wanted.push("cross_structure.contacts_per_h".into());
    wanted.push("fins.largest_rms_deg".into());
    wanted.retain(|w| columns.contains(w));
    wanted
}

/// The unit at the end of a column's name as printed; empty for counts and shares.
pub fn unit_of(column: &str) -> &'static str {
    const UNITS: [(&str, &str); 12] = [
        ("_deg_per_h", "deg/h"),
        ("_kj_per_h", "kJ/h"),
        ("_m_s1_5", "m/s1.5"),
        ("_percent", "%"),
        ("_per_min", "1/min"),
        ("_per_h", "1/h"),
        ("_deg_s", "deg/s"),
        ("_m_s2", "m/s2"),
        ("_m_s", "m/s"),
        ("_deg", "deg"),
        ("_hz", "Hz"),
        ("_m", "m"),
    ];
    let found = UNITS.iter().find(|(end, _)| column.ends_with(end));
    found.map_or("", |(_, unit)| unit)
}

/// A column in words, without its unit: `bridge.vertical_rms_m_s2` as `bridge: vertical acceleration RMS`.
pub fn words_of(column: &str) -> String {
    const ENDS: [&str; 12] = [
        "_deg_per_h",
        "_kj_per_h",
        "_m_s1_5",
        "_percent",
        "_per_min",
        "_per_h",
        "_deg_s",
        "_m_s2",
        "_m_s",
        "_deg",
        "_hz",
        "_m",
    ];
    let bare = ENDS.iter().find_map(|e| column.strip_suffix(e));
    let mut bare = bare.unwrap_or(column).replace('_', " ");
    if column.ends_with("_m_s2") {
        for side in ["vertical", "lateral"] {
            bare = bare.replacen(side, &format!("{side} acceleration"), 1);
        }
    }
    let bare = bare.replacen('.', ": ", 1);
    [
        ("rms", "RMS"),
        ("msi", "MSI"),
        ("mii", "MII"),
        ("msdv", "MSDV"),
    ]
    .iter()
    .fold(bare, |text, (small, large)| {
        text.split(' ')
            .map(|w| if w == *small { *large } else { w })
            .collect::<Vec<_>>()
            .join(" ")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_units_of_columns() {
        assert_eq!(
            words_of("bridge.vertical_rms_m_s2"),
            "bridge: vertical acceleration RMS"
        );
        assert_eq!(unit_of("bridge.vertical_rms_m_s2"), "m/s2");
        assert_eq!(unit_of("fins.travel_deg_per_h"), "deg/h");
        assert_eq!(unit_of("cross_structure.contacts"), "");
        assert_eq!(words_of("bridge.msi_percent"), "bridge: MSI");
        let all = [
            vec!["a".to_owned(), "b".to_owned()],
            vec!["b".to_owned(), "c".to_owned()],
        ];
        assert_eq!(union(&all), ["a", "b", "c"]);
    }
}
