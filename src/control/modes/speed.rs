//! The speed that a law may believe.
//!
//! # Equation
//! ```text
//! good      |u| <= u_max,  |u - u_g| <= s + a min(t_g, t_hold),  |u - u_e| <= f |u_e|
//! u_e'      = (u_ordered - u_e) / T
//! used      = u                              while good without a break
//!           -> u_g, u_assumed, u             at most a per second, after a break
//! ```
//!
//! # Symbols
//! u reading, u_g last good one, t_g time since; s scatter, a greatest acceleration; u_e speed that
//! the ordered one leads to, T time in which the craft follows, f allowed share.
//!
//! A log that went to a wrong reading and stays there is never believed by waiting: what the craft can
//! have come is counted for the hold time only. After a long gap in which the speed did change, a human
//! says so by ordering a mode or a speed ([`SpeedWatch::acknowledge`]).
//!
//! # Valid when
//! A reading that creeps, or that stands still while the craft keeps its ordered speed, cannot be told
//! from a right one; it then does no harm either until the craft leaves that speed by the share f.
//!
//! # Source
//! Range, rate and consistency checks with hold of the last good value: common practice; no source.
//!
//! # Checked by
//! `good_readings_pass_untouched`, `bad_readings_never_make_a_jump`, `a_signal_that_returns_is_believed_late`,
//! `a_human_can_vouch_for_a_reading`, `frozen_log_is_found_when_the_order_changes`

use crate::spec::controller::SpeedWatchSpec;
use crate::units::kn;

/// State of the signal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SpeedSignal {
    /// Believed.
    #[default]
    Good,
    /// Not believed; the last good one is kept.
    Held,
    /// Not believed for too long; a stated speed is assumed.
    Lost,
}

/// Follows the speed signal.
#[derive(Clone, Debug, Default)]
pub struct SpeedWatch {
    greatest_m_s: f64,
    greatest_m_s2: f64,
    scatter_m_s: f64,
    off_order: f64,
    follow_s: f64,
    hold_s: f64,
    return_s: f64,
    assumed_m_s: Option<f64>,
    lost_gain: f64,
    fade_s: f64,
    period_s: f64,
    state: SpeedSignal,
    ordered_m_s: f64,
    expected_m_s: f64,
    good_m_s: f64,
    since_good_s: f64,
    good_for_s: f64,
    /// The next reading in range may lie anywhere.
    vouched: bool,
    /// The reading itself is used.
    follows: bool,
    used_m_s: f64,
    gain: f64,
}

impl SpeedWatch {
    /// From the file; `fade_s` is the time in which the share of the law's command changes.
    pub fn new(spec: &SpeedWatchSpec, fade_s: f64) -> Self {
        SpeedWatch {
            greatest_m_s: kn(spec.greatest_kn),
            greatest_m_s2: spec.greatest_m_s2,
            scatter_m_s: kn(spec.scatter_kn),
            off_order: spec.off_order_frac,
            follow_s: spec.follow_s,
            hold_s: spec.hold_s,
            return_s: spec.return_s,
            assumed_m_s: spec.assumed_kn.map(kn),
            lost_gain: spec.lost_gain_frac,
            fade_s,
            ..SpeedWatch::default()
        }
    }

    /// Starts at the ordered speed, the signal good.
    pub fn reset(&mut self, speed_m_s: f64, period_s: f64) {
        self.period_s = period_s;
        self.state = SpeedSignal::Good;
        self.ordered_m_s = speed_m_s;
        self.expected_m_s = speed_m_s;
        self.good_m_s = speed_m_s;
        self.used_m_s = speed_m_s;
        self.since_good_s = 0.0;
        self.good_for_s = 0.0;
        self.follows = true;
        self.vouched = false;
        self.gain = 1.0;
    }

    /// A human vouches for the next reading, wherever it lies in the range.
    pub fn acknowledge(&mut self) {
        self.vouched = self.state == SpeedSignal::Lost;
    }

    /// Another speed is ordered.
    pub fn order(&mut self, speed_m_s: f64) {
        self.ordered_m_s = speed_m_s;
        self.acknowledge();
    }

    /// One sample; the speed to use.
    pub fn step(&mut self, reading_m_s: f64, valid: bool) -> f64 {
        let dt = self.period_s;
        self.expected_m_s += (self.ordered_m_s - self.expected_m_s) * (dt / self.follow_s).min(1.0);
        self.since_good_s += dt;
        if valid && self.plausible(reading_m_s) {
            self.good_m_s = reading_m_s;
            self.vouched = false;
            self.since_good_s = 0.0;
            self.good_for_s += dt;
        } else {
            self.good_for_s = 0.0;
        }
        self.state = match self.state {
            SpeedSignal::Lost if self.good_for_s < self.return_s - 0.5 * dt => SpeedSignal::Lost,
            _ if self.since_good_s <= 0.0 => SpeedSignal::Good,
            _ if self.since_good_s > self.hold_s + 0.5 * dt => SpeedSignal::Lost,
            _ => SpeedSignal::Held,
        };
        self.use_speed();
        let most = dt / self.fade_s;
        let share = if self.state == SpeedSignal::Lost {
            self.lost_gain
        } else {
            1.0
        };
        self.gain += (share - self.gain).clamp(-most, most);
        self.used_m_s
    }

    fn plausible(&self, u: f64) -> bool {
        let off = (u - self.expected_m_s).abs();
        let allowed = (self.off_order * self.expected_m_s.abs()).max(self.scatter_m_s);
        let since_s = self.since_good_s.min(self.hold_s);
        let reach = self.scatter_m_s + self.greatest_m_s2 * since_s;
        u.is_finite()
            && u.abs() <= self.greatest_m_s
            && (self.vouched || (u - self.good_m_s).abs() <= reach)
            && (self.off_order >= 1.0 || off <= allowed)
    }

    fn use_speed(&mut self) {
        let target = match self.state {
            SpeedSignal::Good | SpeedSignal::Held => self.good_m_s,
            SpeedSignal::Lost => self.assumed_m_s.unwrap_or(self.ordered_m_s),
        };
        let most = self.greatest_m_s2 * self.period_s;
        if self.state != SpeedSignal::Good {
            self.follows = false;
        } else if (target - self.used_m_s).abs() <= most {
            self.follows = true;
        }
        if self.follows {
            self.used_m_s = target;
        } else {
            self.used_m_s += (target - self.used_m_s).clamp(-most, most);
        }
    }

    /// State of the signal.
    pub fn state(&self) -> SpeedSignal {
        self.state
    }

    /// True when the reading itself is used.
    pub fn follows(&self) -> bool {
        self.follows
    }

    /// The speed used, m/s.
    pub fn used_m_s(&self) -> f64 {
        self.used_m_s
    }

    /// Share of the law's command to use, 0 to 1.
    pub fn gain(&self) -> f64 {
        self.gain
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DT: f64 = 0.1;
    const U: f64 = 8.0;

    fn watch() -> SpeedWatch {
        let spec = SpeedWatchSpec {
            assumed_kn: Some(20.0),
            off_order_frac: 0.5,
            ..SpeedWatchSpec::default()
        };
        let mut w = SpeedWatch::new(&spec, 5.0);
        w.reset(U, DT);
        w
    }

    /// Noise of a log, 0.05 m/s.
    fn noise(k: i32) -> f64 {
        0.05 * (f64::from(k) * 1.7).sin()
    }

    #[test]
    fn good_readings_pass_untouched() {
        let mut w = watch();
        for k in 0..3000 {
            let u = U + 0.4 * (0.05 * f64::from(k)).sin() + noise(k);
            assert!((w.step(u, true) - u).abs() <= 0.0 && w.follows());
            assert!((w.gain() - 1.0).abs() <= 0.0);
        }
    }

    #[test]
    fn bad_readings_never_make_a_jump() {
        // frozen is another test; here: lost, spike to 40 kn, zero, not a number, a step within range
        for (reading, valid) in [
            (U, false),
            (kn(40.0), true),
            (0.0, true),
            (f64::NAN, true),
            (kn(28.0), true),
            (-U, true),
        ] {
            let mut w = watch();
            let mut before = U;
            for k in 0..600 {
                let now = if k < 50 {
                    w.step(U, true)
                } else {
                    w.step(reading, valid)
                };
                assert!(
                    (now - before).abs() <= 0.5 * DT + 1e-12,
                    "{reading} {k}: {before} {now}"
                );
                before = now;
                if (50..100).contains(&k) {
                    assert!((now - U).abs() < 1e-12, "held for 5 s");
                }
            }
            assert_eq!(w.state(), SpeedSignal::Lost, "{reading}");
            assert!((w.used_m_s() - kn(20.0)).abs() < 1e-12 && (w.gain() - 0.7).abs() < 1e-12);
        }
    }

    #[test]
    fn single_spikes_leave_no_trace() {
        let mut w = watch();
        for k in 0..200 {
            let spike = k % 20 == 7;
            let u = w.step(if spike { kn(40.0) } else { U }, true);
            assert!((u - U).abs() < 1e-12 && w.state() != SpeedSignal::Lost);
        }
    }

    #[test]
    fn a_signal_that_returns_is_believed_late() {
        let mut w = watch();
        for _ in 0..600 {
            w.step(0.0, false);
        }
        for k in 0..600 {
            w.step(U + noise(k), true);
            // 10 s of good readings, the first sample counted
            assert_eq!(w.state() == SpeedSignal::Good, k >= 99, "{k}");
        }
        assert!(w.follows() && (w.gain() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_human_can_vouch_for_a_reading() {
        let mut w = SpeedWatch::new(&SpeedWatchSpec::default(), 5.0);
        w.reset(U, DT);
        w.acknowledge();
        for _ in 0..3000 {
            w.step(0.5 * U, true);
        }
        assert_eq!(
            w.state(),
            SpeedSignal::Lost,
            "nobody vouched while it was good"
        );
        w.acknowledge();
        let mut before = w.used_m_s();
        for _ in 0..200 {
            let now = w.step(0.5 * U, true);
            assert!((now - before).abs() <= 0.5 * DT + 1e-12);
            before = now;
        }
        assert!(w.state() == SpeedSignal::Good && w.follows());
        assert!((w.used_m_s() - 0.5 * U).abs() < 1e-12);
    }

    #[test]
    fn frozen_log_is_found_when_the_order_changes() {
        let mut w = watch();
        for _ in 0..600 {
            w.step(U, true);
        }
        assert_eq!(
            w.state(),
            SpeedSignal::Good,
            "harmless at the ordered speed"
        );
        w.order(0.4 * U);
        let mut lost_s = None;
        for k in 0..3000 {
            w.step(U, true);
            if w.state() == SpeedSignal::Lost && lost_s.is_none() {
                lost_s = Some(f64::from(k) * DT);
            }
        }
        // expected 0.4 + 0.6 exp(-t/60) of U falls below 1/1.5 of it at t = 48.6 s, then 5 s hold
        let at = lost_s.unwrap();
        assert!((at - 53.6).abs() < 0.5, "{at}");
    }
}
