//! A campaign with all files it names, and the checks between them.

use std::path::Path;

use super::bundle::{keep, law_with_craft, with_craft};
use super::fault;
use crate::error::{Error, Problem, Result};
use crate::spec::campaign::{CampaignCraftSpec, CampaignSpec, LoadingSpec};
use crate::spec::controller::ControllerSpec;
use crate::spec::craft::CraftSpec;
use crate::spec::fault::FaultSpec;
use crate::spec::load::{
    Loaded, load_campaign, load_controller, load_craft, load_fault, load_scatter, load_sea,
    problems_of,
};
use crate::spec::scatter::ScatterSpec;
use crate::spec::scenario::ScenarioSpec;
use crate::spec::sea::SeaSpec;
use crate::spec::source::locate;

/// Name of the loading that a craft file states itself.
pub const AS_FILED: &str = "as filed";

/// A craft in one of its loadings.
#[derive(Clone, Debug)]
pub struct Vessel {
    /// The craft file with the loading put in.
    pub craft: Loaded<CraftSpec>,
    /// Name of the loading.
    pub loading: String,
}

/// Everything a campaign needs, read and checked.
#[derive(Clone, Debug)]
pub struct CampaignBundle {
    /// The campaign.
    pub campaign: Loaded<CampaignSpec>,
    /// Craft and loadings, in the order of the file.
    pub vessels: Vec<Vessel>,
    /// Its seas.
    pub seas: Vec<Loaded<SeaSpec>>,
    /// Its scatter diagram, whose classes are further seas.
    pub scatter: Option<Loaded<ScatterSpec>>,
    /// Its laws; the first is the baseline.
    pub laws: Vec<Loaded<ControllerSpec>>,
    /// Its faults.
    pub faults: Vec<Loaded<FaultSpec>>,
}

impl CampaignBundle {
    /// Every file that was read, the campaign first, each once.
    pub fn sources(&self) -> Vec<&crate::spec::Source> {
        let mut all = vec![&self.campaign.source];
        all.extend(self.vessels.iter().map(|v| &v.craft.source));
        all.extend(self.seas.iter().map(|s| &s.source));
        all.extend(self.scatter.iter().map(|s| &s.source));
        all.extend(self.laws.iter().map(|l| &l.source));
        all.extend(self.faults.iter().map(|f| &f.source));
        let mut once: Vec<&crate::spec::Source> = Vec::new();
        for s in all {
            if once.iter().all(|o| o.path != s.path) {
                once.push(s);
            }
        }
        once
    }
}

/// Reads a campaign and all files it names, and tells the faults of all of them at once.
///
/// # Errors
/// All problems of all files.
pub fn campaign_bundle(path: impl AsRef<Path>) -> Result<CampaignBundle> {
    let campaign = load_campaign(path)?;
    let folder = campaign.source.folder().to_owned();
    let spec = &campaign.spec;
    let mut problems = Vec::new();
    let mut vessels = Vec::new();
    for (i, c) in spec.crafts.iter().enumerate() {
        match load_craft(folder.join(&c.craft)) {
            Ok(craft) => vessels.extend(loaded(&craft, c, i, &campaign, &mut problems)),
            Err(e) => problems.extend(e.problems),
        }
    }
    let seas: Vec<_> = spec.seas.iter().map(|n| load_sea(folder.join(n))).collect();
    let laws = spec.laws.iter();
    let laws: Vec<_> = laws.map(|n| load_controller(folder.join(n))).collect();
    let scatter = spec.scatter.as_ref();
    let scatter = scatter.map(|n| keep(&mut problems, load_scatter(folder.join(n))));
    let faults = spec.faults.iter();
    let faults: Vec<_> = faults.map(|n| load_fault(folder.join(n))).collect();
    let seas: Vec<_> = seas.into_iter().map(|s| keep(&mut problems, s)).collect();
    let laws: Vec<_> = laws.into_iter().map(|l| keep(&mut problems, l)).collect();
    let faults: Vec<_> = faults.into_iter().map(|f| keep(&mut problems, f)).collect();
    for v in &vessels {
        for f in faults.iter().flatten() {
            let own = fault::with_craft(&f.spec.events, &v.craft.spec);
            add(&mut problems, locate(own, &f.source));
        }
        let scenario = scenario(spec);
        let own = with_craft(&scenario, &v.craft.spec);
        add(&mut problems, locate(own, &campaign.source));
        for law in laws.iter().flatten() {
            let own = law_with_craft(&law.spec, &v.craft.spec, &scenario);
            add(&mut problems, locate(own, &law.source));
        }
    }
    let own =
        |list: &'static str, names: Vec<&String>| twins(names).into_iter().map(move |n| (list, n));
    let twice: Vec<_> = own(
        "laws",
        laws.iter().flatten().map(|l| &l.spec.name).collect(),
    )
    .chain(own(
        "faults",
        faults.iter().flatten().map(|f| &f.spec.name).collect(),
    ))
    .chain(own(
        "seas",
        seas.iter().flatten().map(|s| &s.spec.name).collect(),
    ))
    .collect();
    for (list, name) in twice {
        let p = Problem::at(list, format!("has two files of the name {name:?} inside"));
        let p = p.hint("rows and tables tell them by the names in their files");
        problems.extend(locate(vec![p], &campaign.source));
    }
    let seas = seas.into_iter().collect::<Option<Vec<_>>>();
    let laws = laws.into_iter().collect::<Option<Vec<_>>>();
    let faults = faults.into_iter().collect::<Option<Vec<_>>>();
    match (seas, laws, faults) {
        (Some(seas), Some(laws), Some(faults)) if problems.is_empty() => Ok(CampaignBundle {
            scatter: scatter.flatten(),
            campaign,
            vessels,
            seas,
            laws,
            faults,
        }),
        _ => Err(Error::from(problems)),
    }
}

/// Two vessels may share a file and its faults.
fn add(problems: &mut Vec<Problem>, more: Vec<Problem>) {
    for p in more {
        if !problems.contains(&p) {
            problems.push(p);
        }
    }
}

fn twins(names: Vec<&String>) -> Vec<String> {
    let mut seen = std::collections::BTreeSet::new();
    let twice = names.into_iter().filter(|n| !seen.insert(*n));
    twice.cloned().collect()
}

/// The craft in each of its loadings.
fn loaded(
    craft: &Loaded<CraftSpec>,
    entry: &CampaignCraftSpec,
    at: usize,
    campaign: &Loaded<CampaignSpec>,
    problems: &mut Vec<Problem>,
) -> Vec<Vessel> {
    if entry.loadings.is_empty() {
        return vec![Vessel {
            craft: craft.clone(),
            loading: AS_FILED.to_owned(),
        }];
    }
    let one = |(k, l): (usize, &LoadingSpec)| {
        let mut craft = craft.clone();
        if let Some(mass) = &l.mass {
            craft.spec.mass = mass.clone();
        }
        if let Some(waterline) = l.design_waterline_m {
            craft.spec.design_waterline_m = waterline;
        }
        let wrong: Vec<Problem> = problems_of(&craft.spec)
            .into_iter()
            .map(|p| {
                let place = format!("crafts[{at}].loadings[{k}]");
                Problem::at(
                    place,
                    format!("makes `{}` wrong: {}", p.place.key, p.message),
                )
            })
            .collect();
        add(problems, locate(wrong, &campaign.source));
        Vessel {
            craft,
            loading: l.name.clone(),
        }
    };
    entry.loadings.iter().enumerate().map(one).collect()
}

/// The campaign's grid as a scenario: what checks, trims and laws are made for.
pub fn scenario(spec: &CampaignSpec) -> ScenarioSpec {
    ScenarioSpec {
        format: "ridewright.scenario/1".to_owned(),
        name: spec.name.clone(),
        note: spec.note.clone(),
        craft: String::new(),
        sea: String::new(),
        controllers: spec.laws.clone(),
        speeds_kn: spec.speeds_kn.clone(),
        headings_deg: spec.headings_deg.clone(),
        // draws stand for seeds: checks count how much is judged in all
        seeds: (0..spec.draws.most() as u64).collect(),
        duration_s: spec.duration_s,
        run_in_s: spec.run_in_s,
        step_s: spec.step_s,
        record_s: spec.record_s,
        integrator: Some(spec.integrator),
        course: spec.course.clone(),
        orders: Vec::new(),
        fault: None,
        physics: spec.physics.clone(),
    }
}
