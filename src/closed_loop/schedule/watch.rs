//! What a run of the schedule is watched for: motions and commands, sample by sample.

use std::ops::{ControlFlow, Range};

use crate::dynamics::state::StateLayout;
use crate::sim::observer::{Observer, View};

/// Motions and commands at each sample.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// Time, s.
    pub t_s: Vec<f64>,
    /// Speed along the keel, m/s.
    pub speed_m_s: Vec<f64>,
    /// Depth of O, m, down positive.
    pub heave_m: Vec<f64>,
    /// Roll, rad.
    pub roll_rad: Vec<f64>,
    /// Pitch, rad.
    pub pitch_rad: Vec<f64>,
    /// Yaw rate, rad/s.
    pub yaw_rate_rad_s: Vec<f64>,
    /// Sway velocity, m/s.
    pub sway_m_s: Vec<f64>,
    /// Commands, one row a surface, rad.
    pub command_rad: Vec<Vec<f64>>,
}

/// What happened in a span of time.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Window {
    /// Begin, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Greatest pitch off the reference either way, rad.
    pub pitch_peak_rad: f64,
    /// RMS of pitch about its mean, rad.
    pub pitch_rms_rad: f64,
    /// Greatest roll either way, rad.
    pub roll_peak_rad: f64,
    /// Least and greatest depth of O about the reference, m.
    pub heave_m: [f64; 2],
    /// Greatest change of one fin's command from a sample to the next, rad.
    pub jump_rad: f64,
}

impl Course {
    /// Samples between two times.
    pub fn span(&self, from_s: f64, to_s: f64) -> Range<usize> {
        let at = |t: f64| self.t_s.partition_point(|x| *x < t - 1e-9);
        at(from_s)..at(to_s).max(at(from_s))
    }

    /// Judges a span; `fins` are the surfaces whose jumps count, references those of trim.
    pub fn window(
        &self,
        from_s: f64,
        to_s: f64,
        fins: &[usize],
        heave_m: f64,
        pitch_rad: f64,
    ) -> Window {
        let span = self.span(from_s, to_s);
        let pitch = &self.pitch_rad[span.clone()];
        let count = pitch.len().max(1) as f64;
        let mean = pitch.iter().sum::<f64>() / count;
        let square = pitch.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / count;
        let most = |v: &[f64], about: f64| v.iter().map(|x| (x - about).abs()).fold(0.0, f64::max);
        let heave = self.heave_m[span.clone()].iter().map(|z| z - heave_m);
        let low = heave.clone().fold(f64::INFINITY, f64::min);
        let high = heave.fold(f64::NEG_INFINITY, f64::max);
        let jump = fins
            .iter()
            .flat_map(|i| self.command_rad[*i][span.clone()].windows(2))
            .map(|w| (w[1] - w[0]).abs())
            .fold(0.0, f64::max);
        Window {
            from_s,
            to_s,
            pitch_peak_rad: most(pitch, pitch_rad),
            pitch_rms_rad: square.sqrt(),
            roll_peak_rad: most(&self.roll_rad[span], 0.0),
            heave_m: [low, high],
            jump_rad: jump,
        }
    }

    /// First time after `from_s` at which the speed has passed `speed_m_s`, upwards or downwards.
    pub fn passes(&self, from_s: f64, speed_m_s: f64, is_up: bool) -> Option<f64> {
        let begin = self.span(from_s, from_s).start;
        (begin..self.t_s.len())
            .find(|i| (self.speed_m_s[*i] >= speed_m_s) == is_up)
            .map(|i| self.t_s[i])
    }
}

/// Fills a [`Course`].
pub(super) struct Watch {
    pub(super) course: Course,
    every: u64,
}

impl Watch {
    pub(super) fn new(every: u64, surfaces: usize) -> Self {
        Watch {
            course: Course {
                command_rad: vec![Vec::new(); surfaces],
                ..Course::default()
            },
            every,
        }
    }
}

impl Observer for Watch {
    fn every_n(&self) -> u64 {
        self.every
    }

    fn see(&mut self, view: &View) -> ControlFlow<()> {
        let (c, x, nu) = (&mut self.course, view.state, StateLayout::NU.start);
        c.t_s.push(view.truth.t_s);
        c.speed_m_s.push(x[nu]);
        c.heave_m.push(x[2]);
        c.roll_rad.push(x[3]);
        c.pitch_rad.push(x[4]);
        c.yaw_rate_rad_s.push(x[nu + 5]);
        c.sway_m_s.push(x[nu + 1]);
        for (row, u) in c.command_rad.iter_mut().zip(view.command_rad) {
            row.push(*u);
        }
        ControlFlow::Continue(())
    }
}
