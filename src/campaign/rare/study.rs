//! A rare-event file made ready, and one run of it.
//!
//! # Equation
//! ```text
//! searched   sea(grid of the repetition, normals of the run), all else random from the key of the run
//! plain      grid, normals and key from streams of the run's own number
//! ```
//! Frequencies and directions of waves and gusts are drawn once a repetition, amplitudes and phases are the
//! normals, two each; noise and bias of sensors and starts of faults go with the key. So the mean over
//! repetitions is over all that is random in a plain run.
//!
//! # Valid when
//! What goes with the key does not decide the event by itself: a step either keeps it or draws it anew, so an event
//! that hangs on, say, one bias of a sensor, is found slowly. The scatter of the repetitions then shows it.
//!
//! # Checked by
//! tests/rare.rs

use std::path::Path;

use rayon::prelude::*;

use super::event::Event;
use super::journal::{Journal, Place};
use super::subset::{self, Estimate, Plan, Sample, Spot};
use crate::campaign::stage::{SpeedStage, Stage};
use crate::error::Result;
use crate::math::rng::{Purpose, generator};
use crate::math::stats::LEVEL;
use crate::sea::realisation::Realisation;
use crate::sea::realisation::by_normals::{WaveGrid, wave_grid};
use crate::sim::bake;
use crate::sim::run::{Run, run};
use crate::spec::load::Loaded;
use crate::spec::rare::RareSpec;
use crate::spec::validate::{Bundle, RareBundle, rare_scenario};
use crate::units::{deg, kn};

/// Numbers of plain runs begin here, behind those of repetitions.
const PLAIN: u64 = 1 << 32;

/// A rare-event file made ready.
pub struct Study {
    /// The file.
    pub spec: RareSpec,
    /// Its events.
    pub events: Vec<Event>,
    /// Craft, trim, law and fault.
    pub stage: Stage,
}

/// What a study found of its events.
pub struct Found {
    /// One an event.
    pub estimates: Vec<Estimate>,
    /// Responses of plain runs, a list an event; empty without any.
    pub plain: Vec<Vec<f64>>,
}

impl Study {
    /// Makes a file ready: tables, trim, gains; everything that can fail for all runs fails here.
    ///
    /// # Errors
    /// Anything wrong with the craft or the law, at its key.
    pub fn new(bundle: &RareBundle, cache: Option<&Path>) -> Result<Self> {
        let spec = &bundle.rare.spec;
        let stage = Stage::new(
            &Bundle {
                scenario: Loaded {
                    spec: rare_scenario(spec),
                    source: bundle.rare.source.clone(),
                },
                craft: bundle.craft.clone(),
                sea: bundle.sea.clone(),
                controllers: vec![bundle.law.clone()],
                fault: bundle.fault.clone(),
            },
            cache,
        )?;
        let limits = bake::limits(&stage.model);
        let trim = &stage.speeds[0].trim;
        let events = spec.events.iter().map(|e| Event::new(e, trim, limits));
        Ok(Study {
            events: events.collect(),
            spec: spec.clone(),
            stage,
        })
    }

    fn speed(&self) -> &SpeedStage {
        &self.stage.speeds[0]
    }

    /// Simulated time of one run, s.
    pub fn run_s(&self) -> f64 {
        self.stage.whole_s()
    }

    fn plan(&self, event: usize) -> Plan {
        let s = &self.spec.search;
        Plan {
            runs_per_level: s.runs_per_level,
            one_in: s.one_in,
            levels: s.levels,
            repetitions: s.repetitions,
            seed: self.spec.seed,
            stream: event as u16,
        }
    }

    /// Runs at most: every level of every repetition of every event, and the plain runs.
    pub fn most_runs(&self) -> usize {
        self.events.len() * self.plan(0).most_runs() + self.spec.plain_runs
    }

    /// Waves of number `number`, short of amplitudes and phases.
    ///
    /// # Errors
    /// A sea that cannot be drawn.
    fn grid(&self, number: u64) -> Result<WaveGrid> {
        wave_grid(
            &self.stage.sea,
            &self.stage.sea_folder,
            deg(self.spec.heading_deg),
            kn(self.spec.speed_kn),
            self.run_s(),
            &mut generator(self.spec.seed, number, Purpose::Waves, 0),
        )
    }

    /// One run in a sea, all else random from `key`.
    fn simulate(&self, sea: &Realisation, key: u64) -> Result<Run> {
        let events = self.stage.fault.as_ref().map_or(&[][..], |f| &f.events);
        let case = self
            .stage
            .case_in(self.speed(), sea, (self.spec.seed, key), events)?;
        let mut law = self.stage.laws[0].make()?;
        Ok(run(&case, law.as_mut()))
    }

    fn simulate_sample(&self, grid: &WaveGrid, at: &Sample) -> Result<Run> {
        self.simulate(&grid.sea(&at.normals), at.key)
    }

    /// Searches for every event and makes the plain runs; `done` is called after each run, that was there
    /// already or not, from many threads.
    ///
    /// # Errors
    /// A run that cannot be set up or that its law ended; a journal that cannot be written.
    pub fn work(&self, journal: &Journal, done: &(dyn Fn() + Sync)) -> Result<Found> {
        let grids = (0..=self.spec.search.repetitions as u64)
            .map(|k| self.grid(k))
            .collect::<Result<Vec<_>>>()?;
        let normals = grids[0].normals();
        let mut estimates = Vec::with_capacity(self.events.len());
        for (k, event) in self.events.iter().enumerate() {
            let response = |spot: Spot, at: &Sample| {
                let found = journal.responses(Place::searched(k, spot), || {
                    let run = self.simulate_sample(&grids[spot.repetition], at)?;
                    Ok(vec![event.response(&run)?])
                })?;
                done();
                Ok(found[0])
            };
            let found =
                subset::estimate(&self.plan(k), normals, event.threshold(), LEVEL, response)?;
            estimates.push(found);
        }
        Ok(Found {
            estimates,
            plain: self.plain(journal, done)?,
        })
    }

    /// Responses of the plain runs, a list an event.
    fn plain(&self, journal: &Journal, done: &(dyn Fn() + Sync)) -> Result<Vec<Vec<f64>>> {
        let runs = (0..self.spec.plain_runs)
            .into_par_iter()
            .with_max_len(1)
            .map(|k| {
                let found = journal.responses(Place::plain(k), || {
                    let run = self.plain_run(k)?;
                    self.events.iter().map(|e| e.response(&run)).collect()
                })?;
                done();
                Ok(found)
            })
            .collect::<Result<Vec<_>>>()?;
        let of = |event: usize| runs.iter().map(|r| r[event]).collect();
        Ok((0..self.events.len()).map(of).collect())
    }

    /// Plain run number `k`: drawn as any other simulation's sea, not by the search's normals.
    fn plain_run(&self, k: usize) -> Result<Run> {
        let key = PLAIN + k as u64;
        let stage = &self.stage;
        let sea = stage.sea_keyed(self.speed(), self.spec.heading_deg, (self.spec.seed, key))?;
        self.simulate(&sea, key)
    }

    /// The run that went furthest in the search for an event, once more, with its time history.
    ///
    /// # Errors
    /// As [`Study::work`].
    pub fn furthest(&self, event: usize, found: &Found) -> Result<Option<Run>> {
        let estimate = &found.estimates[event];
        let all = std::iter::once(&estimate.pilot).chain(&estimate.repetitions);
        let of =
            |(k, r): (usize, &subset::Repetition)| (k, r.furthest_response(), r.furthest.clone());
        let most = all.enumerate().map(of).max_by(|a, b| a.1.total_cmp(&b.1));
        let Some((k, _, at)) = most else {
            return Ok(None);
        };
        self.simulate_sample(&self.grid(k as u64)?, &at).map(Some)
    }
}
