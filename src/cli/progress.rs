//! How far a long job is: a bar on a terminal, a plain line about once a minute elsewhere. The one place beside the
//! time-outs of user programs that looks at the wall clock.
//!
//! # Checked by
//! `a_line_a_minute_and_none_before`, `left_is_told_by_the_rate_of_this_start`

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::shell::{Shell, to_stderr};

/// Time between plain lines; shorter jobs have none.
const EVERY: Duration = Duration::from_mins(1);

/// Shows how far a long job is.
#[derive(Clone, Debug)]
pub struct Progress {
    bar: ProgressBar,
    lines: Option<Arc<Mutex<Lines>>>,
}

impl Progress {
    /// A bar of `total` steps, e.g. `Progress::new(shell, 16, "cases")`.
    pub fn new(shell: &Shell, total: usize, what: &'static str) -> Self {
        let target = if shell.shows_progress() {
            ProgressDrawTarget::stderr()
        } else {
            ProgressDrawTarget::hidden()
        };
        let bar = ProgressBar::with_draw_target(Some(total as u64), target);
        let style = ProgressStyle::with_template("{pos}/{len} {msg} [{bar:40}] {eta} left");
        bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
        bar.set_message(what);
        let lines = || Arc::new(Mutex::new(Lines::new(total, what, Instant::now())));
        let lines = shell.logs_progress().then(lines);
        Progress { bar, lines }
    }

    /// A bar that also tells the rate; [`Progress::more`] gives it its length.
    pub fn rated(shell: &Shell, what: &'static str) -> Self {
        let p = Progress::new(shell, 0, what);
        let style = "{pos}/{len} {msg} [{bar:40}] {per_sec}, {eta} left";
        if let Ok(style) = ProgressStyle::with_template(style) {
            p.bar.set_style(style);
        }
        p
    }

    /// So many more steps, of which some are done already and say nothing of the rate.
    pub fn more(&self, count: usize, done: usize) {
        self.bar.inc_length(count as u64);
        self.bar.set_position(self.bar.position() + done as u64);
        self.bar.reset_eta();
        self.in_lines(|l| l.more(count, done));
    }

    /// One step is done; may be called from any thread.
    pub fn step(&self) {
        self.steps(1);
    }

    /// So many steps are done at once.
    pub fn steps(&self, count: usize) {
        self.bar.inc(count as u64);
        self.in_lines(|l| {
            if let Some(line) = l.steps(count, Instant::now()) {
                to_stderr(&line);
            }
        });
    }

    fn in_lines(&self, f: impl FnOnce(&mut Lines)) {
        if let Some(lines) = &self.lines {
            f(&mut lines.lock().unwrap_or_else(PoisonError::into_inner));
        }
    }

    /// Removes the bar.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

/// Plain lines and when the last was due.
#[derive(Debug)]
struct Lines {
    what: &'static str,
    total: usize,
    /// All that is done, of earlier starts too.
    done: usize,
    /// Of this start.
    fresh: usize,
    begun: Instant,
    last: Instant,
}

impl Lines {
    fn new(total: usize, what: &'static str, now: Instant) -> Self {
        Lines {
            what,
            total,
            done: 0,
            fresh: 0,
            begun: now,
            last: now,
        }
    }

    fn more(&mut self, count: usize, done: usize) {
        self.total += count;
        self.done += done;
    }

    /// Counts steps; the line that is due.
    fn steps(&mut self, count: usize, now: Instant) -> Option<String> {
        self.done += count;
        self.fresh += count;
        if now.saturating_duration_since(self.last) < EVERY {
            return None;
        }
        self.last = now;
        let spent_s = now.saturating_duration_since(self.begun).as_secs_f64();
        let per_s = self.fresh as f64 / spent_s;
        let left_s = self.total.saturating_sub(self.done) as f64 / per_s;
        Some(format!(
            "{} of {} {}, {} a minute, {} left",
            self.done,
            self.total,
            self.what,
            super::table::significant(60.0 * per_s, 3),
            time(left_s)
        ))
    }
}

/// A time to come in two words at most: `40 s`, `12 min`, `3 h 5 min`.
fn time(s: f64) -> String {
    let minutes = (s / 60.0).ceil();
    if s < 60.0 {
        format!("{:.0} s", s.max(0.0).ceil())
    } else if minutes < 60.0 {
        format!("{minutes:.0} min")
    } else {
        format!(
            "{:.0} h {:.0} min",
            (minutes / 60.0).floor(),
            minutes % 60.0
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_a_minute_and_none_before() {
        let begun = Instant::now();
        let at = |s: u64| begun + Duration::from_secs(s);
        let mut l = Lines::new(1000, "cases", begun);
        let told: Vec<u64> = (1..=200).filter(|s| l.steps(1, at(*s)).is_some()).collect();
        assert_eq!(told, [60, 120, 180]);
        let mut short = Lines::new(59, "cases", begun);
        assert!((1..=59).all(|s| short.steps(1, at(s)).is_none()));
    }

    #[test]
    fn left_is_told_by_the_rate_of_this_start() {
        let begun = Instant::now();
        let mut l = Lines::new(0, "runs", begun);
        l.more(1000, 400);
        let line = l.steps(120, begun + EVERY).unwrap();
        assert_eq!(line, "520 of 1000 runs, 120 a minute, 4 min left");
        assert_eq!(
            (time(12.2), time(3600.0), time(11_100.0)),
            ("13 s".into(), "1 h 0 min".into(), "3 h 5 min".into())
        );
    }
}
