//! Ranges of the numbers of a PID file.
//!
//! # Equation
//! None: comparisons.
//!
//! # Symbols
//! Keys as in the file.
//!
//! # Valid when
//! Always.
//!
//! # Source
//! The ranges of the schema, and what the law divides by.
//!
//! # Checked by
//! `numbers_out_of_range_are_all_named`

use crate::error::{Problem, Result};
use crate::spec::controller::PidSpec;

/// Every number out of range.
pub(super) fn check(s: &PidSpec) -> Result<()> {
    let mut bad = Vec::new();
    let mut range = |key: &str, value: f64, low: f64, high: f64, unit: &str| {
        if !(value >= low && value <= high) {
            bad.push(Problem::at(
                format!("law.pid.{key}"),
                format!("is {value} {unit}, must lie between {low} and {high} {unit}"),
            ));
        }
    };
    range("reference_speed_kn", s.reference_speed_kn, 1.0, 60.0, "kn");
    range(
        "min_speed_kn",
        s.min_speed_kn,
        0.0,
        s.reference_speed_kn.max(0.0),
        "kn",
    );
    range("max_speed_scale", s.max_speed_scale, 1.0, 20.0, "");
    range("forward_share_frac", s.forward_share_frac, 0.0, 1.0, "");
    range(
        "wake_compensation_frac",
        s.wake_compensation_frac,
        0.0,
        1.0,
        "",
    );
    range("filter_rad_s", s.filter_rad_s, 0.1, 200.0, "rad/s");
    range("anti_windup_s", s.anti_windup_s, 0.05, 600.0, "s");
    range(
        "heave_estimator_corner_rad_s",
        s.heave_estimator_corner_rad_s,
        0.02,
        5.0,
        "rad/s",
    );
    range(
        "following.contouring_corner_rad_s",
        s.following.contouring_corner_rad_s,
        0.05,
        10.0,
        "rad/s",
    );
    range(
        "following.average_s",
        s.following.average_s,
        1.0,
        3600.0,
        "s",
    );
    range("following.blend_s", s.following.blend_s, 0.1, 600.0, "s");
    range("following.slope_frac", s.following.slope_frac, 0.0, 1.0, "");
    if let Some(share) = s.heave_forward_share_frac {
        range("heave_forward_share_frac", share, 0.0, 1.0, "");
    }
    if let Some(omega) = s.wake_frequency_rad_s {
        range("wake_frequency_rad_s", omega, 0.0, 20.0, "rad/s");
    }
    if let Some(f) = &s.feed_forward {
        range(
            "feed_forward.wave_frequency_rad_s",
            f.wave_frequency_rad_s,
            0.1,
            10.0,
            "rad/s",
        );
        range("feed_forward.low_rad_s", f.low_rad_s, 1e-4, 10.0, "rad/s");
        range(
            "feed_forward.high_rad_s",
            f.high_rad_s,
            1e-3,
            100.0,
            "rad/s",
        );
    }
    for (i, f) in s.filters.iter().enumerate() {
        range(
            &format!("filters[{i}].frequency_rad_s"),
            f.frequency_rad_s,
            1e-3,
            1000.0,
            "rad/s",
        );
        range(
            &format!("filters[{i}].damping_ratio"),
            f.damping_ratio,
            0.05,
            5.0,
            "",
        );
    }
    range(
        "heave.integral_limit_deg",
        s.heave.integral_limit_deg,
        0.0,
        90.0,
        "deg",
    );
    for (mode, g) in [("pitch", &s.pitch), ("roll", &s.roll)] {
        range(
            &format!("{mode}.integral_limit_deg"),
            g.integral_limit_deg,
            0.0,
            90.0,
            "deg",
        );
        let gains = [
            ("proportional_deg_per_deg", g.proportional_deg_per_deg),
            ("rate_deg_s_per_deg", g.rate_deg_s_per_deg),
            ("integral_deg_per_deg_s", g.integral_deg_per_deg_s),
        ];
        for (key, v) in gains {
            range(&format!("{mode}.{key}"), v, -1000.0, 1000.0, "");
        }
    }
    let h = &s.heave;
    for (key, v) in [
        ("proportional_deg_per_m", h.proportional_deg_per_m),
        ("rate_deg_s_per_m", h.rate_deg_s_per_m),
        ("integral_deg_per_m_s", h.integral_deg_per_m_s),
        ("acceleration_deg_s2_per_m", h.acceleration_deg_s2_per_m),
    ] {
        range(&format!("heave.{key}"), v, -1000.0, 1000.0, "");
    }
    if bad.is_empty() {
        Ok(())
    } else {
        Err(bad.into())
    }
}
