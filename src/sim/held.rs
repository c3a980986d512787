//! Commands on their way from the law to the servos.
//!
//! Instants count in half steps, so that a delay of half a step needs no shorter one. A command issued
//! at instant k acts from k + d on, d the transport delay, and is held until the next one arrives.
//!
//! # Checked by
//! `commands_arrive_in_order_after_their_delay`.

use std::collections::VecDeque;

/// One queue per surface.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    /// In force now, rad.
    pub(crate) command_rad: Vec<f64>,
    delay_halves: Vec<u64>,
    coming: Vec<VecDeque<(u64, f64)>>,
}

impl Held {
    /// Starts with `command_rad` in force; a command is issued every `every` half steps.
    pub(crate) fn new(command_rad: Vec<f64>, delay_halves: Vec<u64>, every: u64) -> Self {
        let room = |d: &u64| VecDeque::with_capacity((d / every.max(1) + 2) as usize);
        Held {
            coming: delay_halves.iter().map(room).collect(),
            command_rad,
            delay_halves,
        }
    }

    /// The same with room for commands that come up to `late` half steps later, so that none is made in a run.
    pub(crate) fn with_room(mut self, late: u64, every: u64) -> Self {
        let more = late.div_ceil(every.max(1)) as usize;
        self.coming
            .iter_mut()
            .for_each(|q| q.reserve(q.capacity() + more));
        self
    }

    /// A new command for every surface at instant `half`.
    pub(crate) fn issue(&mut self, half: u64, command_rad: &[f64]) {
        for ((queue, delay), value) in self
            .coming
            .iter_mut()
            .zip(&self.delay_halves)
            .zip(command_rad)
        {
            queue.push_back((half + delay, *value));
        }
    }

    /// True when commands may arrive in the middle of a step.
    pub(crate) fn in_the_middle(&self) -> bool {
        self.delay_halves.iter().any(|d| d % 2 == 1)
    }

    /// Puts in force what is due at instant `half`; true when anything changed.
    pub(crate) fn arrive(&mut self, half: u64) -> bool {
        let mut changed = false;
        for (queue, held) in self.coming.iter_mut().zip(&mut self.command_rad) {
            while queue.front().is_some_and(|c| c.0 <= half) {
                if let Some((_, value)) = queue.pop_front() {
                    *held = value;
                    changed = true;
                }
            }
        }
        changed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_arrive_in_order_after_their_delay() {
        let mut h = Held::new(vec![0.0, 0.0], vec![0, 3], 2);
        let mut seen = vec![];
        for step in 0..8_u64 {
            if step % 2 == 0 {
                h.issue(step, &[step as f64, step as f64]);
            }
            h.arrive(step);
            seen.push((h.command_rad[0], h.command_rad[1]));
        }
        let at = |i: usize| [0.0, 0.0, 2.0, 2.0, 4.0, 4.0, 6.0, 6.0][i];
        for (step, got) in seen.iter().enumerate() {
            assert!((got.0 - at(step)).abs() < f64::EPSILON);
            let late = step.checked_sub(3).map_or(0.0, at);
            // issued at even steps, three later
            assert!((got.1 - late).abs() < f64::EPSILON, "{step}: {got:?}");
        }
    }
}
