//! A progress bar, on a terminal only. The one place beside the time-outs of user programs that
//! looks at the wall clock.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::shell::Shell;

/// Shows how far a long job is.
#[derive(Clone, Debug)]
pub struct Progress {
    bar: ProgressBar,
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
        Progress { bar }
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
    }

    /// One step is done; may be called from any thread.
    pub fn step(&self) {
        self.bar.inc(1);
    }

    /// So many steps are done at once.
    pub fn steps(&self, count: usize) {
        self.bar.inc(count as u64);
    }

    /// Removes the bar.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}
