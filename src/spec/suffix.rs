//! Unit suffixes of keys: the unit a key's number is in, the sane range of such numbers, and the
//! units it is commonly mistaken for.
//!
//! Every numeric key of every file ends with one of [`SUFFIXES`] or stands in [`DIMENSIONLESS`];
//! a test walks the schemas to see to it.

/// How a number in another unit becomes one in ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Conversion {
    /// Times this factor.
    Factor(f64),
    /// This factor over the number (frequency to period).
    Inverse(f64),
}

impl Conversion {
    /// The number `value` of the other unit in our unit.
    pub fn apply(self, value: f64) -> f64 {
        match self {
            Conversion::Factor(f) => value * f,
            Conversion::Inverse(f) => f / value,
        }
    }
}

/// A unit that is easily taken for ours.
#[derive(Clone, Copy, Debug)]
pub struct Mistaken {
    /// How it would be spelt as the ending of a key; empty when only the question makes sense.
    pub ending: &'static str,
    /// Its symbol.
    pub symbol: &'static str,
    /// "were ... meant?"
    pub question: &'static str,
    /// To our unit.
    pub to_ours: Conversion,
}

/// A suffix of keys.
#[derive(Clone, Copy, Debug)]
pub struct Suffix {
    /// The ending of the key, with its underscore.
    pub ending: &'static str,
    /// Unit as printed after a number; empty for ratios.
    pub unit: &'static str,
    /// Least and greatest number that makes sense where the key itself states nothing narrower.
    pub range: (f64, f64),
    /// Units it is mistaken for.
    pub mistaken: &'static [Mistaken],
}

const fn m(
    ending: &'static str,
    symbol: &'static str,
    question: &'static str,
    to_ours: Conversion,
) -> Mistaken {
    Mistaken {
        ending,
        symbol,
        question,
        to_ours,
    }
}

use Conversion::{Factor, Inverse};

const DEG_PER_RAD: f64 = 180.0 / std::f64::consts::PI;

const LENGTHS: &[Mistaken] = &[
    m("_mm", "mm", "were millimetres meant", Factor(1e-3)),
    m("_cm", "cm", "were centimetres meant", Factor(1e-2)),
    m("_ft", "ft", "were feet meant", Factor(0.3048)),
];
const ANGLES: &[Mistaken] = &[m("_rad", "rad", "were radians meant", Factor(DEG_PER_RAD))];
const RATES: &[Mistaken] = &[m(
    "_rad_s",
    "rad/s",
    "were radians per second meant",
    Factor(DEG_PER_RAD),
)];
const TIMES: &[Mistaken] = &[
    m("_hz", "Hz", "was a frequency meant", Inverse(1.0)),
    m(
        "_rad_s",
        "rad/s",
        "was a circular frequency meant",
        Inverse(std::f64::consts::TAU),
    ),
    m("_ms", "ms", "were milliseconds meant", Factor(1e-3)),
    m("_min", "min", "were minutes meant", Factor(60.0)),
];
const CIRCULAR: &[Mistaken] = &[m(
    "_hz",
    "Hz",
    "was a frequency in hertz meant",
    Factor(std::f64::consts::TAU),
)];
const SPEEDS: &[Mistaken] = &[
    m(
        "_m_s",
        "m/s",
        "were metres per second meant",
        Factor(3600.0 / 1852.0),
    ),
    m(
        "_km_h",
        "km/h",
        "were kilometres per hour meant",
        Factor(1.0 / 1.852),
    ),
];
const SI_SPEEDS: &[Mistaken] = &[m(
    "_kn",
    "kn",
    "were knots meant",
    Factor(crate::units::KNOT_M_S),
)];
const SHARES: &[Mistaken] = &[m("_percent", "%", "was a percentage meant", Factor(0.01))];
const MASSES: &[Mistaken] = &[m("_t", "t", "were tonnes meant", Factor(1e3))];
const TONNES: &[Mistaken] = &[m("_kg", "kg", "were kilograms meant", Factor(1e-3))];
const DENSITIES: &[Mistaken] = &[m(
    "_t_m3",
    "t/m3",
    "were tonnes per cubic metre meant",
    Factor(1e3),
)];
const FORCES: &[Mistaken] = &[m("_kn", "kN", "were kilonewtons meant", Factor(1e3))];
const MOMENTS: &[Mistaken] = &[m(
    "_knm",
    "kN m",
    "were kilonewton metres meant",
    Factor(1e3),
)];
const GEES: &[Mistaken] = &[m(
    "_m_s2",
    "m/s2",
    "were metres per second squared meant",
    Factor(1.0 / crate::units::G_M_S2),
)];
const HOURS: &[Mistaken] = &[m("_min", "min", "were minutes meant", Factor(1.0 / 60.0))];
const VISCOSITIES: &[Mistaken] = &[m(
    "_mm2_s",
    "mm2/s",
    "were square millimetres per second meant",
    Factor(1e-6),
)];

const fn s(
    ending: &'static str,
    unit: &'static str,
    low: f64,
    high: f64,
    mistaken: &'static [Mistaken],
) -> Suffix {
    Suffix {
        ending,
        unit,
        range: (low, high),
        mistaken,
    }
}

/// All suffixes, longest first, so that the first match is the right one.
pub const SUFFIXES: &[Suffix] = &[
    s("_deg_s2_per_m", "deg s2/m", -1e3, 1e3, &[]),
    s("_deg_per_deg_s", "deg/(deg s)", -1e3, 1e3, &[]),
    s("_deg_s_per_deg", "deg s/deg", -1e3, 1e3, &[]),
    s("_deg_per_deg", "deg/deg", -1e3, 1e3, &[]),
    s("_deg_s_per_m", "deg s/m", -1e3, 1e3, &[]),
    s("_deg_per_m_s", "deg/(m s)", -1e3, 1e3, &[]),
    s("_deg_per_m", "deg/m", -1e3, 1e3, &[]),
    s("_m_s1_5", "m/s^1.5", 0.0, 1e3, &[]),
    s("_percent", "%", 0.0, 100.0, &[]),
    s("_per_min", "per min", 0.0, 1e3, &[]),
    s("_per_rad", "1/rad", 0.0, 20.0, &[]),
    s("_kg_m3", "kg/m3", 0.0, 3e4, DENSITIES),
    s("_rad_s", "rad/s", 0.0, 1e3, CIRCULAR),
    s("_deg_s", "deg/s", -1e3, 1e3, RATES),
    s("_m2_s", "m2/s", 0.0, 1e6, VISCOSITIES),
    s("_m_s2", "m/s2", -100.0, 100.0, &[]),
    s("_frac", "", 0.0, 1.0, SHARES),
    s("_deg", "deg", -360.0, 360.0, ANGLES),
    s("_m_s", "m/s", -100.0, 100.0, SI_SPEEDS),
    s("_per_h", "per h", 0.0, 1e4, &[]),
    s("_hz", "Hz", 0.0, 1e4, &[]),
    s("_db", "dB", 0.0, 200.0, &[]),
    s("_kn", "kn", 0.0, 80.0, SPEEDS),
    s("_kg", "kg", -1e9, 1e9, MASSES),
    s("_t", "t", 0.0, 1e6, TONNES),
    s("_m2", "m2", 0.0, 1e5, &[]),
    s("_nm", "N m", -1e11, 1e11, MOMENTS),
    s("_g", "g", 0.0, 5.0, GEES),
    s("_h", "h", 0.0, 1e3, HOURS),
    s("_m", "m", -1e3, 1e3, LENGTHS),
    s("_n", "N", -1e9, 1e9, FORCES),
    s("_s", "s", 0.0, 1e6, TIMES),
];

/// Numeric keys without a unit, and why they have none.
pub const DIMENSIONLESS: &[(&str, &str)] = &[
    ("relative_wave_factor", "ratio of elevations"),
    ("trailing_lift_factor", "ratio of forces"),
    ("form_factor", "1 + k of resistance"),
    ("damping_ratio", "share of critical damping"),
    ("disk_margin", "size of a disk of factors"),
    ("max_speed_scale", "ratio of gains"),
    ("scale", "ratio of angles, or of readings"),
    ("body_lift", "coefficient"),
    ("hull_drag", "coefficient"),
    ("strut_drag", "coefficient"),
    ("roughness_allowance", "coefficient"),
    ("longitudinal_coefficient", "coefficient"),
    ("lateral_coefficient", "coefficient"),
    ("gamma", "ratio of spectral peaks"),
    ("pitch_weight", "ratio of weights"),
    ("roll_weight", "ratio of weights"),
    ("heave_weight", "ratio of weights"),
    ("ride_weight", "ratio of weights"),
    ("height_sensor", "place in a list"),
    ("lambda", "shape parameter"),
    ("s", "exponent"),
    ("components", "count"),
    ("least_surfaces", "count"),
    ("forward_lost", "count"),
    ("aft_lost", "count"),
    ("seeds", "names of random streams"),
    ("noise", "in the unit of the key that holds it"),
    ("bias", "in the unit of the key that holds it"),
    ("step", "in the unit of the key that holds it"),
    ("weight", "ratio of importance"),
    ("least_disk", "size of a disk of relative change"),
    ("least_damping_ratio", "share of critical damping"),
    ("seed", "name of a random stream"),
    ("evaluations", "count"),
    ("evaluations_per_speed", "count"),
    ("points", "count"),
    ("occurrences", "counts, per cent or shares"),
    ("share", "ratio of times"),
    ("low", "in the unit of the key that it bounds"),
    ("high", "in the unit of the key that it bounds"),
    ("count", "count"),
    ("least", "count"),
    ("most", "count"),
    ("plain_runs", "count"),
    ("runs_per_level", "count"),
    ("one_in", "count"),
    ("levels", "count"),
    ("repetitions", "count"),
    ("mean", "in the unit of what is uncertain"),
    ("median", "in the unit of what is uncertain"),
    ("mode", "in the unit of what is uncertain"),
    ("standard_deviation", "in the unit of what is uncertain"),
    ("log_standard_deviation", "of a logarithm"),
    ("parameters", "free, meant for the user's own program"),
];

/// The suffix of a key, if it has a known one.
pub fn suffix_of(key: &str) -> Option<&'static Suffix> {
    SUFFIXES
        .iter()
        .find(|s| key.len() > s.ending.len() && key.ends_with(s.ending))
}

/// The unit of a key as printed after a number, with its leading space; empty without one.
pub fn unit_after(key: &str) -> String {
    match suffix_of(key) {
        Some(s) if !s.unit.is_empty() => format!(" {}", s.unit),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_longest_suffix_wins() {
        for (key, unit) in [
            ("speed_10m_m_s", "m/s"),
            ("observer_disturbance_m_s2", "m/s2"),
            ("rate_deg_s_per_m", "deg s/m"),
            ("integral_deg_per_deg_s", "deg/(deg s)"),
            ("kinematic_viscosity_m2_s", "m2/s"),
            ("trim_moment_nm", "N m"),
            ("span_m", "m"),
        ] {
            assert_eq!(suffix_of(key).map(|s| s.unit), Some(unit), "{key}");
        }
        assert!(suffix_of("gamma").is_none());
        assert!(suffix_of("_m").is_none());
    }

    #[test]
    fn no_suffix_is_hidden_by_a_shorter_one_before_it() {
        for (i, a) in SUFFIXES.iter().enumerate() {
            for b in &SUFFIXES[i + 1..] {
                assert!(
                    !b.ending.ends_with(a.ending),
                    "{} hides {}",
                    a.ending,
                    b.ending
                );
            }
        }
    }
}
