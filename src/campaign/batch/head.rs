//! The first line of a store: what its rows were made from, and by which program.
//!
//! Two stores go together, and a store goes on, only when their heads say so: same inputs to the byte,
//! same binary, same instruction set.
//!
//! # Checked by
//! `what_differs_is_named`

use serde::{Deserialize, Serialize};

use super::grid::{Grid, Shard};
use crate::error::{Error, Problem, Result};
use crate::math::lanes::Path as Lanes;
use crate::spec::scenario::Integrator;

/// Name and version of the store's own format.
pub const FORMAT: &str = "ridewright.campaign_store/1";

/// Which program, on which kind of processor.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Target {
    /// Version of the program.
    pub version: String,
    /// Hash of the program file.
    pub binary: String,
    /// Processor family.
    pub processor: String,
    /// Widest instructions used.
    pub instructions: String,
}

impl Target {
    /// This program, whose file has the hash `binary`, on this machine with its kind of `processor`.
    pub fn here(binary: impl Into<String>, processor: impl Into<String>) -> Self {
        Target {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            binary: binary.into(),
            processor: processor.into(),
            instructions: format!("{:?}", Lanes::best()).to_lowercase(),
        }
    }
}

/// A file that rows depend on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Its name, relative to the campaign file.
    pub file: String,
    /// Hash of its contents.
    pub hash: String,
}

/// The first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Always [`FORMAT`].
    pub format: String,
    /// Name of the campaign.
    pub campaign: String,
    /// Its seed.
    pub seed: u64,
    /// Files read, the campaign first.
    pub inputs: Vec<Input>,
    /// The program.
    pub target: Target,
    /// Which part this is.
    pub shard: Shard,
    /// What the runs were asked to go by; a row whose run went by another says so among its warnings.
    #[serde(default)]
    pub integrator: Integrator,
    /// Length of a judged record, s; 0 where an older store does not say.
    #[serde(default)]
    pub record_s: f64,
    /// The grid.
    pub grid: Grid,
    /// Names of what is uncertain, in the order of `drawn` in rows.
    pub uncertain: Vec<String>,
    /// Names of the numbers of rows.
    pub columns: Vec<String>,
    /// Columns that tables tell of.
    pub report: Vec<String>,
}

/// Why results of one binary and set of files and those of another do not go together.
pub(in crate::campaign) fn disagreements(
    (inputs, target): (&[Input], &Target),
    (new_inputs, new_target): (&[Input], &Target),
) -> Vec<Problem> {
    let mut problems = Vec::new();
    let mut tell = |message: String, hint: &str| {
        problems.push(Problem::at("", message).hint(hint));
    };
    for i in new_inputs {
        match inputs.iter().find(|o| o.file == i.file) {
            Some(o) if o.hash == i.hash => {}
            Some(_) => tell(
                format!("was written from other inputs: {} has changed", i.file),
                AGAIN,
            ),
            None => tell(
                format!("was written from other inputs: {} is new", i.file),
                AGAIN,
            ),
        }
    }
    for o in inputs {
        if new_inputs.iter().all(|i| i.file != o.file) {
            tell(
                format!("was written from other inputs: {} is gone", o.file),
                AGAIN,
            );
        }
    }
    let (a, b) = (target, new_target);
    let mixed = "rows of one campaign come from one binary on one instruction set, or the last \
                 digits may differ; give another folder with --out";
    for (what, old, new) in [
        ("version", &a.version, &b.version),
        ("processor", &a.processor, &b.processor),
        ("instruction set", &a.instructions, &b.instructions),
        ("build of the program", &a.binary, &b.binary),
    ] {
        if old != new {
            tell(
                format!("was written by another {what}: {old} instead of {new}"),
                mixed,
            );
            break;
        }
    }
    problems
}

/// What to do about a store of other inputs.
const AGAIN: &str = "give another folder with --out, or put the file back as it was";

impl Head {
    /// Why rows under `self` and rows under `new` do not go together; nothing when they do. Shards may
    /// differ.
    ///
    /// # Errors
    /// Each reason by name.
    pub fn must_agree(&self, new: &Head) -> Result<()> {
        let old = (&self.inputs[..], &self.target);
        let mut problems = disagreements(old, (&new.inputs, &new.target));
        let same = self.grid == new.grid
            && self.integrator == new.integrator
            && self.columns == new.columns
            && self.seed == new.seed
            && self.uncertain == new.uncertain;
        if problems.is_empty() && !same {
            let told = "was written for another campaign";
            problems.push(Problem::at("", told).hint(AGAIN));
        }
        if problems.is_empty() {
            Ok(())
        } else {
            Err(Error::from(problems))
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::grid::tests::grid;
    use super::*;
    use crate::spec::campaign::DrawsSpec;

    pub(in super::super) fn head(count: usize) -> Head {
        Head {
            format: FORMAT.into(),
            campaign: "test".into(),
            seed: 1,
            inputs: vec![Input {
                file: "campaign.json".into(),
                hash: "a".into(),
            }],
            target: Target::here("b", "p"),
            shard: Shard::WHOLE,
            integrator: Integrator::PredictorCorrector,
            record_s: 600.0,
            grid: grid(DrawsSpec::Fixed { count }),
            uncertain: vec![],
            columns: vec!["heave.rms_m".into(), "bridge.vertical_max_m_s2".into()],
            report: vec!["heave.rms_m".into()],
        }
    }

    #[test]
    fn what_differs_is_named() {
        let old = head(3);
        assert!(old.must_agree(&old).is_ok());
        let mut new = old.clone();
        new.shard = Shard { number: 2, of: 3 };
        assert!(old.must_agree(&new).is_ok(), "shards may differ");
        new.inputs[0].hash = "b".into();
        new.inputs.push(Input {
            file: "sea.json".into(),
            hash: "c".into(),
        });
        let told = old.must_agree(&new).unwrap_err().to_string();
        assert!(told.contains("campaign.json has changed"), "{told}");
        assert!(told.contains("sea.json is new"), "{told}");
        let mut new = old.clone();
        new.target.instructions = "other".into();
        let told = old.must_agree(&new).unwrap_err().to_string();
        assert!(told.contains("another instruction set"), "{told}");
        let mut new = old.clone();
        new.target.binary = "c".into();
        let told = old.must_agree(&new).unwrap_err().to_string();
        assert!(told.contains("another build"), "{told}");
        let mut new = old.clone();
        new.seed = 2;
        assert!(old.must_agree(&new).is_err());
    }
}
