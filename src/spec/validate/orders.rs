//! Checks of a scenario's orders: within the run, for whom there is somebody to obey, inside what the
//! model holds for.

use super::{must_be_known, number};
use crate::error::Problem;
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::craft::{CraftSpec, MovingPart, SurfaceGroup};
use crate::spec::orders::{ActionSpec, HelmSpec, OrderSpec};
use crate::spec::scenario::{CourseSpec, ScenarioSpec};

/// Share by which an ordered speed may differ from the scenario's: tables of water forces are made
/// for one speed and hold about it.
const SPEED_FRAC: f64 = 0.2;

/// What the scenario alone can tell.
pub(super) fn alone(problems: &mut Vec<Problem>, spec: &ScenarioSpec) {
    let whole_s = spec.duration_s + spec.run_in_s;
    let mut before_s = 0.0;
    for (k, o) in spec.orders.iter().enumerate() {
        let at = format!("orders[{k}].at_s");
        if o.at_s > whole_s {
            let told = format!(
                "is {} s, the run ends at {} s",
                number(o.at_s),
                number(whole_s)
            );
            let p = Problem::at(at.clone(), told);
            problems.push(p.hint("times count from the start of the run, run-in included"));
        }
        if o.at_s < before_s {
            let told = format!(
                "is {} s after one at {} s, must not be earlier",
                number(o.at_s),
                number(before_s)
            );
            problems.push(Problem::at(at, told).hint("list orders in order of time"));
        }
        before_s = o.at_s;
        let at = format!("orders[{k}].order");
        speed(problems, &at, o, &spec.speeds_kn);
        let moves = matches!(o.order, ActionSpec::SpeedKn(_) | ActionSpec::Helm(_));
        if moves && !matches!(spec.course, CourseSpec::Kept { .. }) {
            let p = Problem::at(
                at,
                "asks helm or shafts, but the mean course is held by springs",
            );
            problems.push(p.hint("let rudders and thrust keep it: \"course\": {\"kept\": {}}"));
        }
    }
}

fn speed(problems: &mut Vec<Problem>, at: &str, o: &OrderSpec, speeds_kn: &[f64]) {
    let ActionSpec::SpeedKn(u) = o.order else {
        return;
    };
    let beyond = |v: &&f64| (u - **v).abs() > SPEED_FRAC * v.abs() + 1e-9;
    if let Some(v) = speeds_kn.iter().find(beyond) {
        let told = format!(
            "is {} kn in runs at {} kn, must be within {:.0} %: water forces are tabulated for one speed",
            number(u),
            number(*v),
            100.0 * SPEED_FRAC
        );
        let hint = format!(
            "between {} and {} kn, or another scenario for the other speed",
            number((1.0 - SPEED_FRAC) * v),
            number((1.0 + SPEED_FRAC) * v)
        );
        problems.push(Problem::at(format!("{at}.speed_kn"), told).hint(hint));
    }
}

/// Orders against the craft.
pub(super) fn with_craft(problems: &mut Vec<Problem>, orders: &[OrderSpec], craft: &CraftSpec) {
    let fins: Vec<&str> = craft
        .surfaces
        .iter()
        .filter(|s| s.group != SurfaceGroup::Rudder && !matches!(s.moving, MovingPart::Fixed {}))
        .map(|s| s.name.as_str())
        .collect();
    let stops = |rudder: bool, name: Option<&str>| {
        craft
            .surfaces
            .iter()
            .filter(|s| (s.group == SurfaceGroup::Rudder) == rudder)
            .filter(|s| name.is_none_or(|n| n == s.name))
            .map(|s| (s.min_deg, s.max_deg))
            .next()
    };
    for (k, o) in orders.iter().enumerate() {
        let at = format!("orders[{k}].order");
        let (key, angle_deg, range) = match &o.order {
            ActionSpec::Fin { surface, angle_deg } => {
                let place = format!("{at}.fin.surface");
                must_be_known(problems, place, surface, &fins, "fin that turns");
                ("fin.angle_deg", *angle_deg, stops(false, Some(surface)))
            }
            ActionSpec::Release { surface: Some(s) } => {
                let place = format!("{at}.release.surface");
                must_be_known(problems, place, s, &fins, "fin that turns");
                continue;
            }
            ActionSpec::Helm(HelmSpec::RudderDeg(a)) => ("helm.rudder_deg", *a, stops(true, None)),
            _ => continue,
        };
        if let Some((low, high)) = range.filter(|r| angle_deg < r.0 || angle_deg > r.1) {
            let told = format!(
                "is {} deg, its stops are {} and {} deg",
                number(angle_deg),
                number(low),
                number(high)
            );
            problems.push(Problem::at(format!("{at}.{key}"), told));
        }
    }
}

/// Orders against a law: none that it cannot obey.
pub(super) fn with_law(problems: &mut Vec<Problem>, orders: &[OrderSpec], law: &ControllerSpec) {
    let deaf = matches!(law.law, LawSpec::External(_));
    for (k, o) in orders.iter().enumerate() {
        if deaf && matches!(o.order, ActionSpec::SetPoint(_)) {
            let at = format!("orders[{k}].order.set_point");
            let told = format!(
                "is for `{}`, an outside program, which takes none",
                law.name
            );
            problems.push(Problem::at(at, told).hint("leave out the order or the program"));
        }
        if matches!(o.order, ActionSpec::DisplacementT(_))
            && let Some(told) = made_for_one_loading(law)
        {
            let at = format!("orders[{k}].order.displacement_t");
            let p = Problem::at(at, format!("is for `{}`, {told}", law.name));
            problems.push(p.hint(
                "leave out the order or the law; or run the law on the craft file of the other loading",
            ));
        }
        if let ActionSpec::Fin { surface, .. } = &o.order
            && !law.channels.is_empty()
            && !law.channels.contains(surface)
        {
            let at = format!("orders[{k}].order.fin.surface");
            let told = format!("is {surface:?}, which `{}` does not drive", law.name);
            let drives = format!("it drives {}", law.channels.join(", "));
            problems.push(Problem::at(at, told).hint(drives));
        }
    }
}

/// Why a law cannot take a displacement in a run. A PID without `loadings` and fixed fins can: nothing of them depends on
/// it, so that they may stand beside a law that follows.
fn made_for_one_loading(law: &ControllerSpec) -> Option<&'static str> {
    match law.law {
        LawSpec::Lqr(_) => Some("whose gains are solved for the loading the run begins with"),
        LawSpec::External(_) => {
            Some("an outside program, which is told its loading at the start only")
        }
        LawSpec::Fixed {} | LawSpec::Pid(_) => None,
    }
}
