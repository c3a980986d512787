//! Checks of a controller file.

use std::path::Path;

use super::{ascending, number, unique};
use crate::error::Problem;
use crate::spec::controller::{
    AngleGains, CalibrationSpec, ControllerSpec, FilterKind, FollowingMode, HeaveGains, LawSpec,
    LoadingSchedule, LqrSpec, PidSpec, ScheduleRow,
};

/// Servo angle per fin angle below which a servo moves nothing.
const LEAST_SCALE: f64 = 0.05;

pub(crate) fn controller(spec: &ControllerSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    unique(
        &mut problems,
        "channels",
        "",
        spec.channels.iter().map(String::as_str),
    );
    calibration(&mut problems, &spec.calibration);
    match &spec.law {
        LawSpec::Fixed {} => {}
        LawSpec::Pid(pid) => modal(&mut problems, pid),
        LawSpec::Lqr(lqr) => weights(&mut problems, lqr, spec.channels.len()),
        LawSpec::External(external) => {
            if external
                .command
                .first()
                .is_some_and(|c| c.trim().is_empty())
            {
                problems.push(Problem::at(
                    "law.external.command[0]",
                    "is empty, must be a program",
                ));
            }
        }
    }
    problems
}

/// Scales that move something, stops in order, every servo wired once.
fn calibration(problems: &mut Vec<Problem>, list: &[CalibrationSpec]) {
    let names = list.iter().map(|c| c.surface.as_str());
    unique(problems, "calibration", "surface", names);
    for (i, c) in list.iter().enumerate() {
        if c.scale.abs() < LEAST_SCALE {
            let told = format!(
                "is {}, must be {} or more either way",
                number(c.scale),
                number(LEAST_SCALE)
            );
            let p = Problem::at(format!("calibration[{i}].scale"), told);
            problems.push(p.hint("1 for a servo that turns as its fin does, -1 for the other way"));
        }
        if let (Some(low), Some(high)) = (c.stop_min_deg, c.stop_max_deg)
            && low >= high
        {
            let told = format!(
                "is {} deg, must be above `stop_min_deg`, {} deg",
                number(high),
                number(low)
            );
            problems.push(Problem::at(format!("calibration[{i}].stop_max_deg"), told));
        }
        let Some(servo) = &c.wired_to else { continue };
        let given_away = |other: &CalibrationSpec| {
            other.surface == *servo && other.wired_to.as_ref().is_some_and(|w| w != servo)
        };
        if *servo != c.surface && !list.iter().any(given_away) {
            let told = format!("is {servo:?}, whose servo then has two channels");
            let p = Problem::at(format!("calibration[{i}].wired_to"), told);
            problems.push(p.hint("cross both channels: each names the other's servo"));
        }
    }
}

fn modal(problems: &mut Vec<Problem>, pid: &PidSpec) {
    if pid.min_speed_kn >= pid.reference_speed_kn {
        problems.push(Problem::at(
            "law.pid.min_speed_kn",
            format!(
                "is {} kn, must be below the reference speed of {} kn",
                number(pid.min_speed_kn),
                number(pid.reference_speed_kn)
            ),
        ));
    }
    integrals(problems, "law.pid", &pid.heave, &pid.pitch, &pid.roll);
    gains(problems, pid);
    for (i, f) in pid.filters.iter().enumerate() {
        if f.kind == FilterKind::LowPass && f.depth_frac.is_some() {
            problems.push(
                Problem::at(
                    format!("law.pid.filters[{i}].depth_frac"),
                    "stands in a low-pass, must stand in a notch only",
                )
                .hint("leave it out: a low-pass takes out everything above its corner"),
            );
        }
    }
    following(problems, pid);
    ahead(problems, pid);
}

fn following(problems: &mut Vec<Problem>, pid: &PidSpec) {
    let f = &pid.following;
    let mut must = |key: &str, fine: bool, found: String| {
        if !fine {
            problems.push(Problem::at(format!("law.pid.following.{key}"), found));
        }
    };
    must(
        "contouring_corner_rad_s",
        f.mode == FollowingMode::Platforming
            || f.contouring_corner_rad_s > pid.heave_estimator_corner_rad_s,
        format!(
            "is {} rad/s, must be above the corner of the heave estimate of {} rad/s",
            number(f.contouring_corner_rad_s),
            number(pid.heave_estimator_corner_rad_s)
        ),
    );
    must(
        "platform_below_m",
        f.platform_below_m < f.contour_above_m,
        format!(
            "is {} m, must be below `contour_above_m` of {} m",
            number(f.platform_below_m),
            number(f.contour_above_m)
        ),
    );
}

fn ahead(problems: &mut Vec<Problem>, pid: &PidSpec) {
    let Some(f) = &pid.feed_forward else { return };
    if f.low_rad_s >= f.high_rad_s {
        problems.push(Problem::at(
            "law.pid.feed_forward.low_rad_s",
            format!(
                "is {} rad/s, must be below `high_rad_s` of {} rad/s",
                number(f.low_rad_s),
                number(f.high_rad_s)
            ),
        ));
    }
}

/// Integrators of the gains at `path`.
fn integrals(
    problems: &mut Vec<Problem>,
    path: &str,
    heave: &HeaveGains,
    pitch: &AngleGains,
    roll: &AngleGains,
) {
    let h = (heave.integral_deg_per_m_s, "deg/(m s)");
    bounded(
        problems,
        &format!("{path}.heave"),
        h,
        heave.integral_limit_deg,
    );
    for (mode, g) in [("pitch", pitch), ("roll", roll)] {
        let gain = (g.integral_deg_per_deg_s, "deg/(deg s)");
        bounded(
            problems,
            &format!("{path}.{mode}"),
            gain,
            g.integral_limit_deg,
        );
    }
}

/// Rows over speed, of all loadings or of none.
fn gains(problems: &mut Vec<Problem>, pid: &PidSpec) {
    let first = pid.loadings.first().map_or(&pid.schedule, |l| &l.schedule);
    let Some(first) = first.first() else { return };
    if pid.loadings.is_empty() {
        return schedule(problems, "law.pid.schedule", &pid.schedule, first);
    }
    if !pid.schedule.is_empty() {
        problems.push(rows_beside_loadings());
    }
    let at = |i| format!("law.pid.loadings[{i}].displacement_t");
    let told = |l: &LoadingSchedule| l.displacement_t;
    ascending(problems, pid.loadings.iter().map(told), at, "t");
    for (i, l) in pid.loadings.iter().enumerate() {
        let path = format!("law.pid.loadings[{i}].schedule");
        schedule(problems, &path, &l.schedule, first);
    }
}

/// A file with both kinds of rows.
pub(crate) fn rows_beside_loadings() -> Problem {
    let told = "has rows beside `loadings`, must have none";
    Problem::at("law.pid.schedule", told).hint(
        "move the rows into the entry of `loadings` they are made for, or leave `loadings` out",
    )
}

/// Rows at `path` ascend, and a mode has an integrator in all of them or in none, as in the `first` row of all.
fn schedule(problems: &mut Vec<Problem>, path: &str, rows: &[ScheduleRow], first: &ScheduleRow) {
    let at = |i| format!("{path}[{i}].speed_kn");
    ascending(problems, rows.iter().map(|r| r.speed_kn), at, "kn");
    for (i, r) in rows.iter().enumerate() {
        let place = format!("{path}[{i}]");
        integrals(problems, &place, &r.heave, &r.pitch, &r.roll);
        if has_integrals(r) != has_integrals(first) {
            problems.push(
                Problem::at(
                    place,
                    "has integral gains where the first row has none, or none where it has some",
                )
                .hint("a mode needs an integral gain in all rows or in none: a small one will do"),
            );
        }
    }
}

/// Which of heave, pitch and roll have an integral gain.
fn has_integrals(r: &ScheduleRow) -> [bool; 3] {
    let gains = [
        r.heave.integral_deg_per_m_s,
        r.pitch.integral_deg_per_deg_s,
        r.roll.integral_deg_per_deg_s,
    ];
    gains.map(|g| g != 0.0)
}

/// An integrator needs a bound.
fn bounded(problems: &mut Vec<Problem>, path: &str, (gain, unit): (f64, &str), limit_deg: f64) {
    if gain != 0.0 && limit_deg <= 0.0 {
        problems.push(
            Problem::at(
                format!("{path}.integral_limit_deg"),
                format!(
                    "is 0 deg with an integral gain of {} {unit}, must be more than 0 deg",
                    number(gain)
                ),
            )
            .hint("a third of the surfaces' range is a usual bound; without the integral gain none is needed"),
        );
    }
}

fn weights(problems: &mut Vec<Problem>, lqr: &LqrSpec, channels: usize) {
    ascending(
        problems,
        lqr.design_speeds_kn.iter().copied(),
        |i| format!("law.lqr.design_speeds_kn[{i}]"),
        "kn",
    );
    let lists = [
        ("channel_deg", "deg", lqr.channel_deg.len()),
        (
            "channel_rate_deg_s",
            "rate_deg_s",
            lqr.channel_rate_deg_s.len(),
        ),
    ];
    for (key, of_group, given) in lists {
        if given > 0 && given != channels {
            let p = Problem::at(
                format!("law.lqr.{key}"),
                format!("has {given} values for {channels} channels, must have one a channel"),
            );
            problems.push(p.hint(if channels == 0 {
                format!("list the surfaces under `channels`, or leave `{key}` out to use `forward_{of_group}` and `aft_{of_group}`")
            } else {
                "give the values in the order of `channels`".to_owned()
            }));
        }
    }
}
