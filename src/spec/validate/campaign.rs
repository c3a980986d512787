//! Checks of a campaign file by itself.

use std::path::Path;

use super::scenario::divides;
use super::{ascending, distinct, number, paths, unique};
use crate::error::Problem;
use crate::spec::campaign::{
    CampaignSpec, DistributionSpec, DrawsSpec, UncertainOf, UncertainSpec,
};

/// Standard deviations within which draws stay; a normal factor must be positive that far out.
pub const MOST_DEVIATIONS: f64 = 5.2;

pub(crate) fn campaign(spec: &CampaignSpec, folder: Option<&Path>) -> Vec<Problem> {
    let mut p = Vec::new();
    for (i, c) in spec.crafts.iter().enumerate() {
        let at = format!("crafts[{i}]");
        paths::must_exist(&mut p, format!("{at}.craft"), &c.craft, folder);
        let names = c.loadings.iter().map(|l| l.name.as_str());
        unique(&mut p, &format!("{at}.loadings"), "name", names);
    }
    let crafts = spec.crafts.iter().map(|c| c.craft.as_str());
    unique(&mut p, "crafts", "craft", crafts);
    for (list, names) in [
        ("seas", &spec.seas),
        ("laws", &spec.laws),
        ("faults", &spec.faults),
    ] {
        for (i, name) in names.iter().enumerate() {
            paths::must_exist(&mut p, format!("{list}[{i}]"), name, folder);
        }
        unique(&mut p, list, "", names.iter().map(String::as_str));
    }
    if let Some(name) = &spec.scatter {
        paths::must_exist(&mut p, "scatter".into(), name, folder);
    } else if spec.seas.is_empty() {
        let told = "has no entries, and there is no scatter diagram";
        p.push(Problem::at("seas", told).hint("list sea files, or name a scatter file"));
    }
    unique(&mut p, "report", "", spec.report.iter().map(String::as_str));
    distinct(&mut p, "speeds_kn", &spec.speeds_kn, "kn");
    distinct(&mut p, "headings_deg", &spec.headings_deg, "deg");
    divides(&mut p, spec.step_s, "record_s", spec.record_s);
    if spec.record_s > spec.duration_s && spec.duration_s > 0.0 {
        let told = format!(
            "is {} s, must be at most the duration of {} s",
            number(spec.record_s),
            number(spec.duration_s)
        );
        p.push(Problem::at("record_s", told));
    }
    if !spec.healthy && spec.faults.is_empty() {
        let told = "is false, but there are no faults: nothing is left to run";
        p.push(Problem::at("healthy", told).hint("list fault files in `faults`, or leave it true"));
    }
    draws(&mut p, &spec.draws);
    for (i, u) in spec.uncertain.iter().enumerate() {
        let at = format!("uncertain[{i}]");
        if let Some(first) = spec.uncertain[..i].iter().position(|v| v.of == u.of) {
            let told = format!("is {:?}, which uncertain[{first}] has already", u.of.name());
            p.push(Problem::at(format!("{at}.of"), told).hint("each once"));
        }
        let floats = matches!(u.of, UncertainOf::Mass | UncertainOf::WeightForwardM);
        if floats && !spec.physics.nonlinear_restoring {
            let told = "needs the exact restoring, but `physics.nonlinear_restoring` is false";
            let hint = "leave that switch on: the craft has to find a new place of rest";
            p.push(Problem::at(format!("{at}.of"), told).hint(hint));
        }
        distribution(&mut p, &at, u);
    }
    if let Some(stations) = &spec.physics.stations_x_m {
        let at = |i| format!("physics.stations_x_m[{i}]");
        ascending(&mut p, stations.iter().copied(), at, "m");
    }
    if let Some(list) = &spec.physics.frequencies_rad_s {
        let at = |i| format!("physics.frequencies_rad_s[{i}]");
        ascending(&mut p, list.iter().copied(), at, "rad/s");
    }
    p
}

fn draws(p: &mut Vec<Problem>, draws: &DrawsSpec) {
    let DrawsSpec::Until { least, most, .. } = draws else {
        return;
    };
    let mut fits = (*least).max(1);
    while fits < *most {
        fits *= 2;
    }
    if fits != *most {
        let told = format!("is {most}, must be {least} doubled a whole number of times");
        let hint = format!("{fits} does: looks are taken at {least} draws and at each doubling");
        p.push(Problem::at("draws.until.most", told).hint(hint));
    }
}

fn distribution(p: &mut Vec<Problem>, at: &str, u: &UncertainSpec) {
    let (word, low, high) = match u.by {
        DistributionSpec::Normal {
            mean,
            standard_deviation,
        } => {
            let reach = MOST_DEVIATIONS * standard_deviation;
            ("normal", mean - reach, mean + reach)
        }
        DistributionSpec::Lognormal {
            median,
            log_standard_deviation,
        } => {
            let reach = (MOST_DEVIATIONS * log_standard_deviation).exp();
            ("lognormal", median / reach, median * reach)
        }
        DistributionSpec::Uniform { low, high } => ("uniform", low, high),
        DistributionSpec::Triangular { low, mode, high } => {
            if !(low..=high).contains(&mode) {
                let told = format!(
                    "is {}, must lie between {} and {}",
                    number(mode),
                    number(low),
                    number(high)
                );
                p.push(Problem::at(format!("{at}.by.triangular.mode"), told));
            }
            ("triangular", low, high)
        }
    };
    let place = format!("{at}.by.{word}");
    if low >= high {
        let told = format!("runs from {} to {}", number(low), number(high));
        p.push(Problem::at(place, told).hint("`high` must be greater than `low`"));
    } else if u.of.is_factor() && low <= 0.0 {
        let told = format!(
            "reaches down to {}, but {} is a factor and must stay positive",
            number(low),
            u.of.name()
        );
        let hint = "1 is as the craft file says; lognormal is always positive";
        p.push(Problem::at(place, told).hint(hint));
    } else if u.of.is_factor() && high > 10.0 {
        let told = format!(
            "reaches up to {}, but {} is a factor of at most 10",
            number(high),
            u.of.name()
        );
        p.push(Problem::at(place, told).hint("1 is as the craft file says"));
    }
}

#[cfg(test)]
mod tests {
    use crate::spec::campaign::CampaignSpec;
    use crate::spec::load::parse;

    #[test]
    fn slips_are_told() {
        let text = r#"{
            "format": "ridewright.campaign/1", "name": "x",
            "crafts": [{"craft": "c.json"}, {"craft": "c.json", "loadings": [{"name": "a"}, {"name": "a"}]}],
            "speeds_kn": [10, 10], "headings_deg": [180], "seas": ["s.json", "s.json"],
            "laws": ["l.json"], "duration_s": 60,
            "draws": {"until": {"quantity": "q", "half_width_frac": 0.1, "least": 8, "most": 50}},
            "uncertain": [
                {"of": "damping", "by": {"normal": {"mean": 1, "standard_deviation": 0.3}}},
                {"of": "damping", "by": {"uniform": {"low": 2, "high": 1}}},
                {"of": "fins", "by": {"triangular": {"low": 0.5, "mode": 2, "high": 1}}}
            ]
        }"#;
        let told = parse::<CampaignSpec>("c.json", text)
            .unwrap_err()
            .to_string();
        for words in [
            "which crafts[0] has already",
            "which crafts[1].loadings[0] has already",
            "10 kn a second time",
            "which seas[0] has already",
            "64 does",
            "must stay positive",
            "which uncertain[0] has already",
            "runs from 2 to 1",
            "must lie between 0.5 and 1",
        ] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }
}
