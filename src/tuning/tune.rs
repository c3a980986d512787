//! A tuning from start to winner and front: the stages in their order.
//!
//! ```text
//! all speeds -> each speed (when numbers change with speed) -> front
//! ```
//! A stage is told to stop when its share of the time has gone; then the next begins with what there
//! is. Stages are named with a hash of the controller they start from, so that a journal never serves
//! scores of another controller.
//!
//! # Checked by
//! `stages_find_the_best_of_each_speed`, `front_of_a_schedule_joins_its_speeds`,
//! `a_start_with_a_good_schedule_is_not_made_worse`.

use serde::Serialize;
use serde_json::Value;

use super::front::{FrontPlan, not_beaten, trace};
use super::layout::{Layout, Stage};
use super::score::Score;
use super::search::{Ended, Judged, Plan, Watch, search};
use super::store::Journal;
use crate::error::Result;
use crate::math::hash::Hash;
use crate::spec::tuning::{FrontSpec, SearchSpec};

/// Says how good a controller is at some of the speeds.
pub type JudgeLaw<'a> = &'a (dyn Fn(&Value, &[usize]) -> Score + Sync);

/// Who watches a tuning from outside.
#[derive(Clone, Copy)]
pub struct Clock<'a> {
    /// Share of the time that has gone, 0 to 1; 0 for ever without a limit.
    pub gone: &'a (dyn Fn() -> f64 + Sync),
    /// Told how many laws were judged.
    pub step: &'a (dyn Fn(usize) + Sync),
}

/// What to do.
#[derive(Clone, Copy, Debug)]
pub struct Job<'a> {
    /// Stages and controller.
    pub layout: &'a Layout,
    /// How long and from which seed.
    pub search: SearchSpec,
    /// The front, if any.
    pub front: Option<FrontSpec>,
}

/// What a stage did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StageReport {
    /// `all speeds` or `12 kn`.
    pub name: String,
    /// Laws judged.
    pub evaluations: usize,
    /// Why it ended.
    pub ended: Ended,
    /// Score of its start.
    pub start: Score,
    /// Score of its best.
    pub best: Score,
    /// Laws judged and best ride that met the limits by then, at every improvement.
    pub course: Vec<[f64; 2]>,
}

/// A controller with its score over all cases.
#[derive(Clone, Debug, PartialEq)]
pub struct Scored {
    /// The controller.
    pub document: Value,
    /// Its score.
    pub score: Score,
}

/// What a tuning found.
#[derive(Clone, Debug, PartialEq)]
pub struct Tuned {
    /// The controller to begin with.
    pub start: Scored,
    /// The best.
    pub winner: Scored,
    /// The front, least work first; empty when none was asked for or nothing met the limits.
    pub front: Vec<Scored>,
    /// Stages in their order.
    pub stages: Vec<StageReport>,
    /// Work and ride of every law judged over all cases, and whether it met the limits.
    pub cloud: Vec<(f64, f64, bool)>,
    /// Laws judged, the front's too.
    pub evaluations: usize,
    /// All stages came to their own end.
    pub is_whole: bool,
}

/// Laws that a job will judge at most.
pub fn count(job: &Job<'_>) -> usize {
    let each = job.layout.each.len();
    let s = job.search;
    let together = if job.layout.common.space.is_empty() {
        0
    } else {
        s.evaluations
    };
    together + each * s.evaluations_per_speed + front_count(job)
}

fn front_count(job: &Job<'_>) -> usize {
    let stages = job.layout.each.len().max(1);
    job.front.map_or(0, |f| f.points * f.evaluations * stages)
}

/// Tunes; see the head of this file.
///
/// # Errors
/// When the journal cannot be written.
pub fn tune(
    job: &Job<'_>,
    judge: JudgeLaw<'_>,
    journal: &mut Journal,
    clock: Clock<'_>,
) -> Result<Tuned> {
    let all = count(job).max(1) as f64;
    let mut run = Run {
        job,
        judge,
        clock,
        stages: Vec::new(),
        evaluations: 0,
        planned: 0,
        streams: 0,
        all,
        is_whole: true,
    };
    run.whole(journal)
}

struct Run<'a> {
    job: &'a Job<'a>,
    judge: JudgeLaw<'a>,
    clock: Clock<'a>,
    stages: Vec<StageReport>,
    /// Laws judged.
    evaluations: usize,
    /// Laws that the work begun so far may judge: shares of the time go by it.
    planned: usize,
    streams: u64,
    all: f64,
    is_whole: bool,
}

impl Run<'_> {
    fn whole(&mut self, journal: &mut Journal) -> Result<Tuned> {
        let layout = self.job.layout;
        let every = &layout.common.speeds;
        let start = self.scored(layout.document.clone(), every);
        let mut document = layout.document.clone();
        let mut common = Vec::new();
        if !layout.common.space.is_empty() {
            let most = self.job.search.evaluations;
            let found = self.stage(&layout.common, &document, most, journal)?;
            document = layout.common.write(&document, &found.best.values);
            common = found.all;
        }
        let mut seen: Vec<(Stage, Vec<Judged>)> = Vec::new();
        let cloud = common.iter().filter(|j| j.score.is_judged());
        let cloud = cloud
            .map(|j| (j.score.work, j.score.ride, j.score.is_met()))
            .collect();
        if layout.each.is_empty() {
            seen.push((layout.common.clone(), common));
        }
        let base = document.clone();
        for stage in &layout.each {
            let found = self.stage(stage, &base, self.job.search.evaluations_per_speed, journal)?;
            document = stage.write(&document, &found.best.values);
            seen.push((stage.clone(), found.all));
        }
        let mut winner = self.scored(document.clone(), every);
        let front = self.front(&base, &document, seen, journal)?;
        // the search for the front goes on where the stages ended, and may find better; so may the start be, where
        // limits of all speeds together cost more than each speed gains
        for p in std::iter::once(&start).chain(&front) {
            if p.score.rank(&winner.score).is_lt() {
                winner = p.clone();
            }
        }
        Ok(Tuned {
            start,
            winner,
            front,
            stages: std::mem::take(&mut self.stages),
            cloud,
            evaluations: self.evaluations,
            is_whole: self.is_whole,
        })
    }

    fn scored(&self, document: Value, speeds: &[usize]) -> Scored {
        let score = (self.judge)(&document, speeds);
        Scored { document, score }
    }

    /// Time share at which work begun now with `evaluations` should end.
    fn ends(&self, evaluations: usize) -> f64 {
        (self.planned + evaluations) as f64 / self.all
    }

    fn stage(
        &mut self,
        stage: &Stage,
        document: &Value,
        evaluations: usize,
        journal: &mut Journal,
    ) -> Result<super::search::Found> {
        let end = self.ends(evaluations);
        let gone = self.clock.gone;
        let stop = move || gone() >= end;
        let watch = Watch {
            stop: &stop,
            step: self.clock.step,
        };
        let judge = self.judge;
        let plan = Plan {
            stage: named(stage, document),
            seed: self.job.search.seed,
            stream: self.streams,
            evaluations,
            start: stage.values(document),
            global: true,
        };
        self.streams += 1;
        let of = |values: &[f64]| judge(&stage.write(document, values), &stage.speeds);
        let found = search(&stage.space, &of, &plan, journal, watch)?;
        self.planned += evaluations;
        self.evaluations += found.evaluations;
        self.is_whole &= found.ended != Ended::Stopped;
        self.stages.push(StageReport {
            name: stage.name.clone(),
            evaluations: found.evaluations,
            ended: found.ended,
            start: found.start.score.clone(),
            best: found.best.score.clone(),
            course: course(&found.all),
        });
        Ok(found)
    }

    /// Traces the front of every stage and joins points of equal level.
    fn front(
        &mut self,
        base: &Value,
        winner: &Value,
        seen: Vec<(Stage, Vec<Judged>)>,
        journal: &mut Journal,
    ) -> Result<Vec<Scored>> {
        let Some(spec) = self.job.front else {
            return Ok(Vec::new());
        };
        let mut documents = vec![winner.clone(); spec.points];
        // a stage over all speeds began with the controller of the file
        let from = if self.job.layout.each.is_empty() {
            &self.job.layout.document
        } else {
            base
        };
        for (stage, mut judged) in seen {
            let end = self.ends(spec.points * spec.evaluations);
            let gone = self.clock.gone;
            let stop = move || gone() >= end;
            let watch = Watch {
                stop: &stop,
                step: self.clock.step,
            };
            let plan = FrontPlan {
                points: spec.points,
                evaluations: spec.evaluations,
                seed: self.job.search.seed,
                stream: self.streams,
            };
            self.streams += spec.points as u64 + 1;
            let judge = self.judge;
            let of = |values: &[f64]| judge(&stage.write(from, values), &stage.speeds);
            let name = named(&stage, from);
            let before = judged.len();
            let levels = trace(&stage.space, &of, &name, plan, &mut judged, journal, watch)?;
            self.planned += spec.points * spec.evaluations;
            self.evaluations += judged.len() - before;
            self.is_whole &= !stop();
            if levels.len() != spec.points {
                return Ok(Vec::new()); // nothing met the limits at this speed
            }
            for (document, level) in documents.iter_mut().zip(&levels) {
                *document = stage.write(document, &level.values);
            }
        }
        let every = &self.job.layout.common.speeds;
        let mut all: Vec<Scored> = documents
            .into_iter()
            .map(|d| self.scored(d, every))
            .collect();
        let rank = |s: &Scored| Judged {
            values: Vec::new(),
            score: s.score.clone(),
        };
        let kept = not_beaten(&all.iter().map(rank).collect::<Vec<_>>());
        all.sort_by(|a, b| a.score.work.total_cmp(&b.score.work));
        all.dedup_by(|a, b| a.document == b.document);
        all.retain(|s| kept.iter().any(|k| k.score == s.score));
        Ok(all)
    }
}

/// `12 kn, from 3f2a...`: the journal's name of a stage.
fn named(stage: &Stage, document: &Value) -> String {
    let mut hash = Hash::default();
    // only what the stage leaves alone makes another stage of it
    let blank = stage.write(document, &vec![0.0; stage.paths.len()]);
    hash.bytes(blank.to_string().as_bytes());
    format!("{}, from {:08x}", stage.name, hash.finish() as u32)
}

/// Laws judged and best ride that met the limits by then.
fn course(all: &[Judged]) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    for (i, j) in all.iter().enumerate() {
        let best = out.last().map_or(f64::MAX, |p| p[1]);
        if j.score.is_met() && j.score.ride < best {
            if best < f64::MAX {
                out.push([i as f64 + 1.0, best]); // a step, not a slope
            }
            out.push([i as f64 + 1.0, j.score.ride]);
        }
    }
    if let Some(last) = out.last().copied() {
        out.push([all.len() as f64, last[1]]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::controller::ControllerSpec;
    use crate::spec::load::parse;
    use crate::spec::tuning::TuningSpec;
    use crate::tuning::layout::Layout;

    const PID: &str = r#"{"format": "ridewright.controller/1", "name": "p", "law": {"pid": {
        "reference_speed_kn": 16,
        "heave": {"rate_deg_s_per_m": 1.0}, "pitch": {"rate_deg_s_per_deg": 1.0}, "roll": {}}}}"#;

    fn layout(per_speed: bool) -> Layout {
        layout_of(PID, per_speed)
    }

    fn layout_of(law: &str, per_speed: bool) -> Layout {
        let tuning = format!(
            r#"{{"format": "ridewright.tuning/1", "name": "x", "craft": "c", "controller": "l",
            "cases": [{{"sea": "a", "speeds_kn": [10, 16], "headings_deg": [180]}}],
            "objective": {{"terms": [{{"of": {{"heave": {{"acceptable_m": 0.2}}}}}}]}},
            "free": [
                {{"key": "law.pid.heave.rate_deg_s_per_m", "low": 0, "high": 9, "per_speed": {per_speed}}},
                {{"key": "law.pid.filter_rad_s", "low": 2, "high": 50, "scale": "log"}}
            ]}}"#
        );
        let tuning = parse::<TuningSpec>("t.json", &tuning).unwrap().spec;
        let law = parse::<ControllerSpec>("l.json", law).unwrap().spec;
        Layout::new(&tuning, &law).unwrap()
    }

    /// Best gain 2 at 10 kn and 5 at 16 kn, best corner 12 rad/s; work is the gain.
    fn judge(document: &Value, speeds: &[usize]) -> Score {
        let number = |p: &str| crate::spec::key_path::number(document, p).unwrap();
        let corner = number("law.pid.filter_rad_s");
        let one = |k: usize| {
            let row = format!("law.pid.schedule[{k}].heave.rate_deg_s_per_m");
            let gain = crate::spec::key_path::number(document, &row)
                .unwrap_or_else(|| number("law.pid.heave.rate_deg_s_per_m"));
            let ride = 1.0 + (gain - [2.0, 5.0][k]).powi(2) + (corner / 12.0).ln().powi(2);
            (ride, gain)
        };
        let n = speeds.len() as f64;
        let sums = speeds
            .iter()
            .map(|k| one(*k))
            .fold((0.0, 0.0), |s, v| (s.0 + v.0 / n, s.1 + v.1 / n));
        Score::new(sums.0, sums.1, 0.0, vec![])
    }

    fn run(layout: &Layout, front: bool) -> Tuned {
        let job = Job {
            layout,
            search: SearchSpec {
                seed: 3,
                evaluations: 300,
                evaluations_per_speed: 120,
            },
            front: front.then_some(FrontSpec {
                points: 4,
                evaluations: 60,
            }),
        };
        let clock = Clock {
            gone: &|| 0.0,
            step: &|_| {},
        };
        tune(&job, &judge, &mut Journal::in_memory(), clock).unwrap()
    }

    #[test]
    fn stages_find_the_best_of_each_speed() {
        let plain = run(&layout(false), false);
        // one gain for both: 3.5, ride 1 + 1.5^2
        assert!(
            (plain.winner.score.ride - 3.25).abs() < 1e-3,
            "{:?}",
            plain.winner
        );
        let scheduled = run(&layout(true), false);
        let number = |p| crate::spec::key_path::number(&scheduled.winner.document, p).unwrap();
        // steps of a file of 0.001 and a pattern search down to 2e-4 of the range of 9
        assert!((number("law.pid.schedule[0].heave.rate_deg_s_per_m") - 2.0).abs() < 0.01);
        assert!((number("law.pid.schedule[1].heave.rate_deg_s_per_m") - 5.0).abs() < 0.01);
        assert!((number("law.pid.filter_rad_s") - 12.0).abs() < 0.5);
        assert!(scheduled.winner.score.ride < 1.01);
        assert_eq!(scheduled.stages.len(), 3);
        let spec: ControllerSpec = serde_json::from_value(scheduled.winner.document).unwrap();
        assert!(crate::spec::load::problems_of(&spec).is_empty());
    }

    #[test]
    fn a_start_with_a_good_schedule_is_not_made_worse() {
        let row = |speed_kn: f64, rate: f64| {
            format!(
                r#"{{"speed_kn": {speed_kn}, "heave": {{"rate_deg_s_per_m": {rate}}}, "pitch": {{}}, "roll": {{}}}}"#
            )
        };
        let rows = format!(
            r#""schedule": [{}, {}], "heave""#,
            row(10.0, 2.1),
            row(16.0, 4.9)
        );
        let layout = layout_of(&PID.replacen(r#""heave""#, &rows, 1), true);
        assert_eq!(layout.common.space.len(), 1, "the corner alone is moved");
        assert_eq!(layout.free.len(), 2);
        let tuned = run(&layout, false);
        let off = (8.0_f64 / 12.0).ln().powi(2);
        assert!((tuned.start.score.ride - 1.01 - off).abs() < 1e-9);
        // one value for both speeds cannot do better than 3.25
        assert!(tuned.winner.score.ride < 1.001, "{:?}", tuned.winner);
        assert!(
            tuned.stages.iter().all(|s| s.best.ride < 1.5),
            "no stage undoes it"
        );
    }

    #[test]
    fn front_of_a_schedule_joins_its_speeds() {
        let tuned = run(&layout(true), true);
        assert!(tuned.front.len() >= 3, "{:?}", tuned.front.len());
        for pair in tuned.front.windows(2) {
            assert!(pair[0].score.work < pair[1].score.work);
            assert!(pair[0].score.ride > pair[1].score.ride);
        }
        let top = tuned.front.last().unwrap();
        assert!((top.score.ride - tuned.winner.score.ride).abs() < 1e-3);
        // no gain, no work
        assert!(
            tuned.front[0].score.work < 0.2,
            "{:?}",
            tuned.front[0].score
        );
    }

    #[test]
    fn stages_write_where_they_should() {
        let l = layout(true);
        assert_eq!(l.each.len(), 2);
        assert_eq!(l.common.values(&l.document), [1.0, 8.0]);
        let d = l.each[1].write(&l.document, &[7.0]);
        let number = |p| crate::spec::key_path::number(&d, p).unwrap();
        assert!((number("law.pid.schedule[1].heave.rate_deg_s_per_m") - 7.0).abs() < 1e-15);
        assert!((number("law.pid.schedule[0].heave.rate_deg_s_per_m") - 1.0).abs() < 1e-15);
        let d = l.common.write(&l.document, &[4.0, 20.0]);
        for p in [
            "law.pid.heave.rate_deg_s_per_m",
            "law.pid.schedule[0].heave.rate_deg_s_per_m",
            "law.pid.schedule[1].heave.rate_deg_s_per_m",
        ] {
            assert!((crate::spec::key_path::number(&d, p).unwrap() - 4.0).abs() < 1e-15);
        }
    }
}
