//! Checks of a controller file.

use std::path::Path;

use super::{ascending, number, unique};
use crate::error::Problem;
use crate::spec::controller::{AngleGains, ControllerSpec, LawSpec, LqrSpec, PidSpec};

pub(crate) fn controller(spec: &ControllerSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    unique(
        &mut problems,
        "channels",
        "",
        spec.channels.iter().map(String::as_str),
    );
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
    bounded(problems, "law.pid.pitch", &pid.pitch);
    bounded(problems, "law.pid.roll", &pid.roll);
}

/// An integrator needs a bound.
fn bounded(problems: &mut Vec<Problem>, path: &str, gains: &AngleGains) {
    if gains.integral_deg_per_deg_s != 0.0 && gains.integral_limit_deg <= 0.0 {
        problems.push(
            Problem::at(
                format!("{path}.integral_limit_deg"),
                format!(
                    "is 0 deg with an integral gain of {} deg/(deg s), must be more than 0 deg",
                    number(gains.integral_deg_per_deg_s)
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
    let given = lqr.channel_deg.len();
    if given > 0 && given != channels {
        let p = Problem::at(
            "law.lqr.channel_deg",
            format!("has {given} values for {channels} channels, must have one a channel"),
        );
        problems.push(p.hint(if channels == 0 {
            "list the surfaces under `channels`, or leave `channel_deg` out to use `forward_deg` and `aft_deg`"
        } else {
            "give the values in the order of `channels`"
        }));
    }
}
