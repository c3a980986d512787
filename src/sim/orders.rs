//! Human orders in a run: what happens when, and to whom.
//!
//! An [`Event`] is a time and an [`Action`]. It takes effect at the first sample at or after its
//! time, before the law is asked; orders of one time in the order of the list. The law takes its
//! own ([`crate::control::Controller::order`]), the course and speed keepers the rest.
//!
//! # Checked by
//! `orders_reach_whom_they_are_for`, `no_orders_no_change`, `orders_are_in_the_record`

use serde::Serialize;

use crate::control::modes::{Mode, Order};
use crate::control::signal::{SetPoint, Setup};
use crate::error::{Error, Problem, Result};
use crate::spec::number;
use crate::spec::orders::{ActionSpec, HelmSpec, OrderSpec};
use crate::units::{deg, kn, to_tonnes, tonnes};

/// Factor either way by which a displacement told may differ from the craft's: more is a slip of the unit.
const DISPLACEMENT_FACTOR: f64 = 2.0;

/// What an event does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Action {
    /// The law is told.
    Law(Order),
    /// The speed keeper gets another speed, m/s, and the law is told of it.
    Speed(f64),
    /// The course keeper's course changes, to starboard, rad.
    Course(f64),
    /// All rudders are held at this angle off trim, rad.
    Rudder(f64),
    /// Everything goes back from hand to law and course keeper.
    Release,
}

/// Something that happens at a time.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// When, s from the start of the run.
    pub at_s: f64,
    /// What.
    pub action: Action,
    /// In words, for the record.
    pub words: String,
}

/// Something that happened, for record and picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Happening {
    /// When, s from the start of the run.
    pub t_s: f64,
    /// What.
    pub words: String,
}

/// The events of a scenario's orders, in order of time.
///
/// # Errors
/// A surface that the craft does not have; a displacement that she cannot have.
pub fn events(orders: &[OrderSpec], setup: &Setup) -> Result<Vec<Event>> {
    let mut out = Vec::with_capacity(orders.len());
    for (k, o) in orders.iter().enumerate() {
        let index = |name: &str| {
            setup.channel(name).ok_or_else(|| {
                let at = format!("orders[{k}].order");
                Error::from(Problem::at(
                    at,
                    format!("names `{name}`, which is no surface"),
                ))
            })
        };
        if let ActionSpec::DisplacementT(told_t) = o.order {
            must_be_likely(k, told_t, setup)?;
        }
        out.push(Event {
            at_s: o.at_s,
            action: action(&o.order, index)?,
            words: words(&o.order),
        });
    }
    out.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok(out)
}

/// Refuses a displacement far from that of the craft, t.
fn must_be_likely(k: usize, told_t: f64, setup: &Setup) -> Result<()> {
    let own_t = to_tonnes(setup.displacement_kg);
    let (low_t, high_t) = (own_t / DISPLACEMENT_FACTOR, own_t * DISPLACEMENT_FACTOR);
    if (low_t..=high_t).contains(&told_t) {
        return Ok(());
    }
    let at = format!("orders[{k}].order.displacement_t");
    let told = format!(
        "is {} t, must lie between {low_t:.1} and {high_t:.1} t",
        number(told_t)
    );
    let hint = format!("tonnes of the whole craft, who weighs {own_t:.1} t in her file");
    Err(Problem::at(at, told).hint(hint).into())
}

fn action(order: &ActionSpec, index: impl Fn(&str) -> Result<usize>) -> Result<Action> {
    Ok(match order {
        ActionSpec::Mode(m) => Action::Law(Order::Mode((*m).into())),
        ActionSpec::SetPoint(s) => Action::Law(Order::SetPoint(SetPoint {
            heave_m: -s.heave_up_m,
            pitch_rad: deg(s.pitch_deg),
            roll_rad: deg(s.roll_deg),
        })),
        ActionSpec::Fin { surface, angle_deg } => Action::Law(Order::Fin {
            surface: index(surface)?,
            angle_rad: deg(*angle_deg),
        }),
        ActionSpec::SpeedKn(u) => Action::Speed(kn(*u)),
        ActionSpec::DisplacementT(m) => Action::Law(Order::Displacement(tonnes(*m))),
        ActionSpec::Helm(HelmSpec::CourseDeg(c)) => Action::Course(deg(*c)),
        ActionSpec::Helm(HelmSpec::RudderDeg(a)) => Action::Rudder(deg(*a)),
        ActionSpec::Release { surface: None } => Action::Release,
        ActionSpec::Release { surface: Some(s) } => Action::Law(Order::Release(Some(index(s)?))),
    })
}

fn words(order: &ActionSpec) -> String {
    match order {
        ActionSpec::Mode(m) => Mode::from(*m).word().into(),
        ActionSpec::SetPoint(s) => {
            let parts = [
                (s.heave_up_m, "m up"),
                (s.pitch_deg, "deg bow up"),
                (s.roll_deg, "deg roll"),
            ];
            let told: Vec<String> = parts
                .iter()
                .filter(|p| p.0 != 0.0)
                .map(|p| format!("{} {}", number(p.0), p.1))
                .collect();
            if told.is_empty() {
                "set-point: trim".into()
            } else {
                format!("set-point {}", told.join(", "))
            }
        }
        ActionSpec::Fin { surface, angle_deg } => {
            format!("{surface} by hand {} deg", number(*angle_deg))
        }
        ActionSpec::SpeedKn(u) => format!("{} kn", number(*u)),
        ActionSpec::DisplacementT(m) => format!("displacement {} t told", number(*m)),
        ActionSpec::Helm(HelmSpec::CourseDeg(c)) => format!("course {c:+} deg"),
        ActionSpec::Helm(HelmSpec::RudderDeg(a)) => format!("rudders {} deg", number(*a)),
        ActionSpec::Release { surface: None } => "release".into(),
        ActionSpec::Release { surface: Some(s) } => format!("release {s}"),
    }
}

#[cfg(test)]
mod tests;
