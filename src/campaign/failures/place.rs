//! One speed of a scenario in one sea: its rows, and how each is found.

use rayon::prelude::*;

use super::descent::{self, Descent, Known};
use super::journal::Journal;
use super::list::Trouble;
use super::looks::Looks;
use super::measure::RunMeasure;
use super::row::{Found, Row, Spot};
use super::settle::Track;
use super::severity;
use super::trial::{Runs, SlowRun, Verdict, fails_going_on};
use crate::campaign::in_order;
use crate::campaign::stage::{LawPlan, SpeedStage, Stage};
use crate::closed_loop::LoopCraft;
use crate::closed_loop::faulted::LinearFault;
use crate::closed_loop::schedule::surge::{surge, times_s};
use crate::control::linear::LinearLaw;
use crate::error::Result;
use crate::spec::failures::FailuresSpec;
use crate::spec::scenario::CourseSpec;
use crate::units::kn;

/// A speed of the scenario and the grid of speeds below it, whatever the sea.
pub(super) struct Ladder {
    /// Sound crafts from the speed down.
    crafts: Vec<LoopCraft>,
    /// Linear forms of every law at every one of them; none for a law that has none.
    laws: Vec<Option<Vec<LinearLaw>>>,
    /// What the linear loop said of faults already: many are one to it.
    known: Known,
}

impl Ladder {
    pub(super) fn new(stage: &Stage, speed: &SpeedStage, spec: &FailuresSpec) -> Result<Self> {
        let grid_kn = descent::grid_kn(speed.speed_kn, spec.least_speed_kn, spec.speed_step_kn);
        let course = &stage.scenario.course;
        let crafts = in_order(
            grid_kn
                .par_iter()
                .map(|u| LoopCraft::new(&stage.model, kn(*u), course)),
        )?;
        let laws = stage.laws.iter().map(|plan| forms(plan, &crafts)).collect();
        Ok(Ladder {
            crafts,
            laws,
            known: Known::default(),
        })
    }

    /// Shortest time from the speed down to another with the throttles back, in calm water, s.
    fn slowing_s(&self, to_kn: f64) -> f64 {
        let on_the_way = self
            .crafts
            .iter()
            .filter(|c| c.speed_m_s >= kn(to_kn) - 1e-6);
        let mut crafts: Vec<LoopCraft> = on_the_way.cloned().collect();
        crafts.reverse();
        times_s(&surge(&crafts))[1]
    }
}

/// One speed of the scenario in one sea.
pub(super) struct Place<'a> {
    pub(super) stage: &'a Stage,
    pub(super) speed: &'a SpeedStage,
    pub(super) spec: &'a FailuresSpec,
    pub(super) looks: &'a Looks,
    pub(super) journal: Option<&'a Journal>,
    pub(super) ladder: &'a Ladder,
}

/// A law (by index) in waves of a heading, deg.
type Going = (usize, f64);
/// What the sound craft did, with the tracks of its runs.
type Sound = (Found, Vec<Track>);

impl Place<'_> {
    /// All rows of this speed, judged: the sound craft first, which the others are held against.
    pub(super) fn rows(&self, troubles: &[Trouble], done: &(dyn Fn() + Sync)) -> Result<Vec<Row>> {
        let Some((nothing, broken)) = troubles.split_first() else {
            return Ok(Vec::new());
        };
        let headings = &self.stage.scenario.headings_deg;
        let level = self.looks.level();
        let goings: Vec<Going> = (0..self.stage.laws.len())
            .flat_map(|law| headings.iter().map(move |h| (law, *h)))
            .collect();
        let sound = in_order(goings.par_iter().map(|g| {
            let found = self.find(*g, nothing, None)?;
            done();
            Ok(found)
        }))?;
        let jobs: Vec<(usize, &Trouble)> = (0..goings.len())
            .flat_map(|g| broken.iter().map(move |t| (g, t)))
            .collect();
        let found = in_order(jobs.par_iter().map(|(g, trouble)| {
            let found = self.kept(goings[*g], trouble, &sound[*g])?;
            done();
            Ok(found)
        }))?;
        let mut found = found.into_iter();
        let mut out = Vec::new();
        for (g, (of_sound, _)) in goings.iter().zip(sound) {
            let all = std::iter::once(of_sound).chain(found.by_ref().take(broken.len()));
            let mut group: Vec<Row> = troubles
                .iter()
                .zip(all)
                .map(|(t, f)| Row::of(&t.name, &self.spot(*g), f, level))
                .collect();
            severity::settle(&mut group, &self.spec.limits, level);
            out.extend(group);
        }
        Ok(out)
    }

    fn spot(&self, (law, heading_deg): Going) -> Spot {
        Spot {
            law: self.stage.laws[law].spec.name.clone(),
            sea: self.stage.sea.name.clone(),
            speed_kn: self.speed.speed_kn,
            heading_deg,
        }
    }

    /// What the journal has, or else what is found now.
    fn kept(&self, going: Going, trouble: &Trouble, sound: &Sound) -> Result<Found> {
        let at = self.spot(going);
        let (u, h) = (at.speed_kn, at.heading_deg);
        let name = format!("{}, {u} kn, {h} deg, {}, {}", at.sea, at.law, trouble.name);
        if let Some(found) = self.journal.and_then(|j| j.found(&name)) {
            return Ok(found.clone());
        }
        let (found, _) = self.find(going, trouble, Some(sound))?;
        if let Some(journal) = self.journal {
            journal.put(&name, &found)?;
        }
        Ok(found)
    }

    /// Runs and searches one row, with more seeds while its class is open; the tracks of its runs, for the sound
    /// craft's, which has all seeds at once: whatever row needs them.
    fn find(
        &self,
        going: Going,
        trouble: &Trouble,
        sound: Option<&Sound>,
    ) -> Result<(Found, Vec<Track>)> {
        let fault = LinearFault::of(&trouble.faults, &self.stage.model.craft.spec);
        let mut search = Search::new(self, going, trouble, &fault)?;
        let all = [self.looks.seeds.len()];
        let looks = if sound.is_some() {
            &self.looks.after[..]
        } else {
            &all
        };
        for n in looks {
            search.more(&self.looks.seeds[..*n], sound.map(|s| &s.1[..]))?;
            let found = search.found()?;
            let open = |s: &Sound| self.is_open(going, &found, s);
            if Some(n) == looks.last() || !sound.is_some_and(open) {
                return Ok((found, search.tracks));
            }
        }
        Ok((search.found()?, search.tracks))
    }

    fn is_open(&self, going: Going, found: &Found, sound: &Sound) -> bool {
        let level = self.looks.level();
        let mut row = Row::of("", &self.spot(going), found.clone(), level);
        severity::judge_row(&mut row, &sound.0.runs, &self.spec.limits, level);
        !row.is_decided()
    }
}

/// The search of one row.
struct Search<'a> {
    place: &'a Place<'a>,
    descent: Descent<'a>,
    runs: Runs<'a>,
    /// Nobody slowing down.
    going_on: Vec<RunMeasure>,
    tracks: Vec<Track>,
    /// Slowing down, for every speed of the grid.
    slowing: Vec<Vec<SlowRun>>,
}

impl<'a> Search<'a> {
    fn new(
        place: &'a Place<'a>,
        (law, heading_deg): Going,
        trouble: &'a Trouble,
        fault: &'a LinearFault,
    ) -> Result<Self> {
        let crafts = &place.ladder.crafts;
        let mut descent = Descent {
            stage: place.stage,
            heading_deg,
            crafts,
            laws: place.ladder.laws[law].as_deref(),
            fault,
            limits: &place.spec.limits,
            here: None,
            known: Some((&place.ladder.known, law)),
        };
        descent.here = descent.linear(0)?;
        Ok(Search {
            place,
            descent,
            runs: Runs {
                stage: place.stage,
                speed: place.speed,
                spec: place.spec,
                plan: &place.stage.laws[law],
                heading_deg,
                faults: &trouble.faults,
            },
            going_on: Vec::new(),
            tracks: Vec::new(),
            slowing: vec![Vec::new(); crafts.len()],
        })
    }

    /// Runs what of `seeds` is not there yet; `sound` has the tracks of the sound craft, seed by seed.
    fn more(&mut self, seeds: &[u64], sound: Option<&[Track]>) -> Result<()> {
        for (k, seed) in seeds.iter().enumerate().skip(self.going_on.len()) {
            let (measure, track) = self.runs.going_on(*seed, sound.and_then(|s| s.get(k)))?;
            self.going_on.push(measure);
            self.tracks.push(track);
        }
        Ok(())
    }

    /// The speed to come down to, by the seeds that are there, and all else of the row.
    fn found(&mut self) -> Result<Found> {
        let place = self.place;
        let reached = self.going_on.iter().filter(|r| !r.ended_before_fault());
        let seeds: Vec<u64> = reached.map(|r| r.seed).collect();
        let mut linear_only = place.not_simulated(&seeds).map(str::to_owned);
        let (runs, slowing, going_on) = (&self.runs, &mut self.slowing, &self.going_on);
        let crafts = &place.ladder.crafts;
        let mut last = None;
        let mut come_down = self.descent.search(&mut |k| {
            last = None;
            if k == 0 {
                return Ok(fails_going_on(going_on, &place.spec.limits));
            }
            if linear_only.is_some() {
                return Ok(None);
            }
            last = Some(k);
            Ok(
                match runs.slowing(&crafts[..=k], &seeds, &mut slowing[k])? {
                    Verdict::Holds => None,
                    Verdict::Fails(why) => Some(why),
                    Verdict::TooShort(why) => {
                        linear_only = Some(why);
                        None
                    }
                },
            )
        })?;
        let slow = last.filter(|_| come_down.speed_kn.is_some());
        come_down.linear_only = linear_only;
        let down = come_down.speed_kn.filter(|_| come_down.fails.is_some());
        let left_out = &self.descent.fault.left_out;
        Ok(Found {
            linear: self.descent.here.clone(),
            linear_leaves_out: left_out.iter().map(|w| (*w).to_owned()).collect(),
            slowed_in_calm_s: down.map(|v| place.spec.reaction_s + place.ladder.slowing_s(v)),
            come_down,
            runs: self.going_on.clone(),
            slow_runs: slow.map_or_else(Vec::new, |k| self.slowing[k].clone()),
        })
    }
}

impl Place<'_> {
    /// Why lower speeds cannot be tried by simulation.
    fn not_simulated(&self, seeds: &[u64]) -> Option<&'static str> {
        if seeds.is_empty() {
            Some("every run ended before the fault")
        } else if matches!(self.stage.scenario.course, CourseSpec::MeanHeld { .. }) {
            Some("springs hold the mean speed in this scenario")
        } else if self.speed.plant.shafts.is_empty() || !self.speed.plant.surge_free {
            Some("this craft has no shafts, or no surge, to slow down by")
        } else {
            None
        }
    }
}

fn forms(plan: &LawPlan, crafts: &[LoopCraft]) -> Option<Vec<LinearLaw>> {
    // an outside program is not started for a question it cannot answer
    if plan.make().ok()?.info().kind == "external" {
        return None;
    }
    let of = |craft: &LoopCraft| {
        let mut law = plan.make()?;
        law.reset(&craft.setup)?;
        law.linear()
    };
    crafts.iter().map(|c| of(c).ok()).collect()
}
