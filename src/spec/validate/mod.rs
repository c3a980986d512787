//! Checks that need more than one key but nothing besides the paper: what must be unique, ordered,
//! inside something else, or present elsewhere. Ranges of single numbers stand beside the fields.
//!
//! Checks that need physics (mass against displacement, metacentric height) belong to the rooms
//! that compute it; they name the key and use [`super::source::locate`].

mod bundle;
mod campaign;
mod campaign_bundle;
mod controller;
mod craft;
mod failures;
pub(crate) mod fault;
mod orders;
mod paths;
mod rare;
mod scatter;
mod scenario;
mod sea;
mod surface;
#[cfg(test)]
mod tests;
mod tuning;
mod tuning_bundle;

use std::path::Path;

use super::criteria::CriteriaSpec;
use super::hint::{closest, number};
use super::source::item;
use crate::error::Problem;

pub use bundle::{Bundle, bundle};
pub use campaign::MOST_DEVIATIONS;
pub(super) use campaign::campaign;
pub use campaign_bundle::{
    AS_FILED, CampaignBundle, Vessel, campaign_bundle, scenario as campaign_scenario,
};
pub(super) use controller::controller;
pub(crate) use controller::rows_beside_loadings;
pub(super) use craft::craft;
pub(super) use failures::failures;
pub use failures::{FailuresBundle, failures_bundle};
pub(super) use rare::rare;
pub use rare::{RareBundle, rare_bundle, scenario as rare_scenario};
pub(super) use scatter::scatter;
pub(super) use scenario::scenario;
pub(super) use sea::sea;
pub(super) use tuning::tuning;
pub use tuning_bundle::{TuningBundle, tuning_bundle};

pub(super) fn criteria(spec: &CriteriaSpec, _: Option<&Path>) -> Vec<Problem> {
    let mut problems = Vec::new();
    if spec.criteria.is_empty() {
        problems.push(Problem::at(
            "criteria",
            "has no entries, must have at least one",
        ));
    }
    problems
}

/// Every entry of `names` that stands in the list at `path` a second time; `member` is the key of
/// the name inside an entry, empty when the entry is the name.
fn unique<'a>(
    problems: &mut Vec<Problem>,
    path: &str,
    member: &str,
    names: impl Iterator<Item = &'a str>,
) {
    let mut seen = std::collections::HashMap::new();
    for (i, name) in names.enumerate() {
        if let Some(first) = seen.insert(name, i) {
            let mut at = item(path, i);
            if !member.is_empty() {
                at = format!("{at}.{member}");
            }
            let told = format!("is {name:?}, which {} has already", item(path, first));
            problems.push(Problem::at(at, told).hint("every name must be its own"));
            seen.insert(name, first);
        }
    }
}

/// Numbers of a list that must ascend.
pub(crate) fn ascending(
    problems: &mut Vec<Problem>,
    values: impl Iterator<Item = f64>,
    at: impl Fn(usize) -> String,
    unit: &str,
) {
    let mut last: Option<f64> = None;
    for (i, v) in values.enumerate() {
        if let Some(before) = last.filter(|before| v <= *before) {
            problems.push(
                Problem::at(
                    at(i),
                    format!(
                        "is {} {unit} after {} {unit}, must be greater",
                        number(v),
                        number(before)
                    ),
                )
                .hint("list in ascending order, each value once"),
            );
        }
        last = Some(v);
    }
}

/// Values of a list that must differ.
fn distinct(problems: &mut Vec<Problem>, path: &str, values: &[f64], unit: &str) {
    for (i, v) in values.iter().enumerate() {
        if values[..i].iter().any(|w| (w - v).abs() < 1e-9) {
            problems.push(
                Problem::at(
                    item(path, i),
                    format!("is {} {unit} a second time", number(*v)),
                )
                .hint("each value once: it would only be run twice"),
            );
        }
    }
}

/// A name that must be one of `known`.
fn must_be_known(problems: &mut Vec<Problem>, at: String, name: &str, known: &[&str], what: &str) {
    if known.contains(&name) {
        return;
    }
    let list = if known.is_empty() {
        "there is none".to_owned()
    } else {
        format!("there are {}", known.join(", "))
    };
    let p = Problem::at(at, format!("is {name:?}, must name a {what}: {list}"));
    problems.push(match closest(name, known.iter().copied()) {
        Some(meant) => p.hint(format!("did you mean \"{meant}\"?")),
        None => p,
    });
}
