//! The head of a campaign's store: every file that its rows depend on, by contents.

use std::path::Path;

use super::grid::Shard;
use super::head::{FORMAT, Head, Input, Target};
use super::rig::Rig;
use crate::campaign::lines::hash_of_file;
use crate::math::hash::Hash;
use crate::spec::Source;
use crate::spec::controller::{ControllerSpec, LawSpec};
use crate::spec::load::Loaded;
use crate::spec::sea::{SeaSpec, SpectrumSpec};
use crate::spec::validate::CampaignBundle;

/// The head of the store that `target` writes for a campaign.
pub fn head(bundle: &CampaignBundle, rig: &Rig, target: Target, shard: Shard) -> Head {
    Head {
        format: FORMAT.to_owned(),
        campaign: rig.spec.name.clone(),
        seed: rig.spec.seed,
        inputs: inputs(
            bundle.campaign.source.folder(),
            &bundle.sources(),
            &bundle.seas,
            &bundle.laws,
        ),
        target,
        shard,
        integrator: rig.spec.integrator,
        record_s: rig.spec.duration_s,
        grid: rig.grid.clone(),
        uncertain: rig.draws.of().iter().map(|u| u.name().to_owned()).collect(),
        columns: rig.columns.clone(),
        report: rig.report.clone(),
    }
}

/// Files read, the first of `sources` first, then what they name in turn: measured spectra, programs of laws.
/// Names are relative to `home`.
pub fn inputs(
    home: &Path,
    sources: &[&Source],
    seas: &[Loaded<SeaSpec>],
    laws: &[Loaded<ControllerSpec>],
) -> Vec<Input> {
    let name = |path: &Path| {
        let inside = path.strip_prefix(home).unwrap_or(path);
        inside.display().to_string()
    };
    let mut out: Vec<Input> = sources
        .iter()
        .map(|s| {
            let mut hash = Hash::default();
            hash.bytes(s.text.as_bytes());
            Input {
                file: name(&s.path),
                hash: format!("{:032x}", hash.finish()),
            }
        })
        .collect();
    let mut further = Vec::new();
    for sea in seas {
        for system in &sea.spec.systems {
            if let SpectrumSpec::Measured { file } = &system.spectrum {
                further.push(sea.source.folder().join(file));
            }
        }
    }
    for law in laws {
        if let LawSpec::External(program) = &law.spec.law {
            // words that lead to a file beside the law: the program, its script
            let folder = law.source.folder();
            further.extend(program.command.iter().map(|word| folder.join(word)));
        }
    }
    for path in further {
        let file = name(&path);
        if let Some(hash) = hash_of_file(&path).filter(|_| out.iter().all(|i| i.file != file)) {
            out.push(Input { file, hash });
        }
    }
    out
}
