//! Modes around a law: off, manual, standby, engaged; orders, trips, fades.
//!
//! [`Supervised`] wraps any law. The law runs in every mode, so that its estimates are warm; the
//! mode decides what goes to the fins:
//!
//! | mode | fins |
//! |---|---|
//! | off | to neutral (zero deflection) at the calm rate, then locked there |
//! | manual | where they are, or where a human puts them |
//! | standby | to trim at the calm rate |
//! | engaged | the law's, faded in from the last command |
//!
//! # Equation
//! ```text
//! engaged   u = h + s (law - h),   s: 0 -> 1 in the fade's time,  h the command before
//!           law = trim + g (commands - trim),   g = 1; less while the speed signal is lost
//! locked    as off, in standby too: U <= U_lock or astern, until U > U_lock + margin
//! by hand   u = the human's angle, at once, in every mode
//! ```
//! While the law does not fully drive a fin it is shown its own last command with the measured angle,
//! so that its integrators follow what the fins do; before it takes over, [`Controller::engage`] is
//! called. A fin held by hand has crossed limits for the law, which works around it. A trip goes to
//! its mode and stays until a mode is ordered. A mode order takes back what is held by hand.
//!
//! # Bound
//! Between samples T apart a command moves at most by the law's own step plus
//! `(|law - h| + |trim|) T / fade`, or by the calm rate times T: no mode change makes a jump. Only a
//! human's hand does, and the servo's rate limit is behind it.
//!
//! # Valid when
//! The law's file has a `modes` block; without it there is no supervisor.
//!
//! # Source
//! Bumpless transfer by tracking: Astrom & Hagglund, Advanced PID Control, ISA 2006, section 3.5.
//! Speed lock and trips: common practice; no source.
//!
//! # Checked by
//! `engaged_from_the_start_is_the_law_itself`, `changes_of_mode_make_no_jump`, `hand_wins_at_once`,
//! `trips_latch_until_a_mode_is_ordered`, `locks_at_low_speed_with_hysteresis`,
//! `set_points_reach_the_law`, `lost_speed_makes_small_gains`

use super::linear::LinearLaw;
use super::signal::{FinCommand, Measurement, SetPoint, Setup, Trace};
use super::{Controller, ControllerInfo};
use crate::error::{Error, Result};
use crate::spec::controller::{ModeSpec, ModesSpec, TripMode};
use crate::spec::craft::SurfaceGroup;
use crate::units::{deg, kn};

pub mod speed;
pub mod trips;

use speed::{SpeedSignal, SpeedWatch};
use trips::{Cause, Trips};

/// Mode of a law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// Fins at neutral, locked.
    Off,
    /// Fins by hand.
    Manual,
    /// Fins at trim, the law shadows.
    Standby,
    /// The law drives.
    Engaged,
}

impl Mode {
    /// Number in the record: 0 off, 1 manual, 2 standby, 3 engaged.
    pub fn code(self) -> f64 {
        match self {
            Mode::Off => 0.0,
            Mode::Manual => 1.0,
            Mode::Standby => 2.0,
            Mode::Engaged => 3.0,
        }
    }

    /// The word.
    pub fn word(self) -> &'static str {
        match self {
            Mode::Off => "off",
            Mode::Manual => "manual",
            Mode::Standby => "standby",
            Mode::Engaged => "engaged",
        }
    }
}

impl From<ModeSpec> for Mode {
    fn from(m: ModeSpec) -> Self {
        match m {
            ModeSpec::Off => Mode::Off,
            ModeSpec::Manual => Mode::Manual,
            ModeSpec::Standby => Mode::Standby,
            ModeSpec::Engaged => Mode::Engaged,
        }
    }
}

/// What a human orders of a law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Order {
    /// Another mode.
    Mode(Mode),
    /// Another set-point, off trim.
    SetPoint(SetPoint),
    /// A fin by hand.
    Fin {
        /// Index among the surfaces.
        surface: usize,
        /// Angle, rad.
        angle_rad: f64,
    },
    /// A fin given back, all when none is named.
    Release(Option<usize>),
    /// The speed that was ordered of the shafts, m/s: what the speed signal is compared with.
    Speed(f64),
    /// What the craft weighs from now on, kg.
    Displacement(f64),
}

/// A fin of the law.
#[derive(Clone, Copy, Debug)]
struct Channel {
    surface: usize,
    trim_rad: f64,
    hand_rad: Option<f64>,
    /// Command before the law takes over, rad.
    hold_rad: f64,
    /// How far the law has taken over, 0 to 1.
    share: f64,
    /// The law takes it over at the next sample.
    fresh: bool,
}

/// A law with modes.
pub struct Supervised {
    inner: Box<dyn Controller>,
    spec: ModesSpec,
    name: String,
    mode: Mode,
    locked: bool,
    cause: Option<Cause>,
    /// Call [`Controller::engage`] before the next sample.
    takes_over: bool,
    speed: SpeedWatch,
    trips: Trips,
    channels: Vec<Channel>,
    names: Vec<String>,
    period_s: f64,
    shadow: Option<FinCommand>,
    seen: Option<Box<Measurement>>,
    set_point: SetPoint,
    notice: Option<String>,
}

impl Supervised {
    /// `inner` with the modes of its file.
    pub fn new(inner: Box<dyn Controller>, spec: &ModesSpec) -> Self {
        Supervised {
            name: inner.info().name,
            inner,
            mode: spec.start.into(),
            locked: false,
            cause: None,
            takes_over: false,
            speed: SpeedWatch::new(&spec.speed, spec.fade_s),
            trips: Trips::new(&spec.trips),
            spec: spec.clone(),
            channels: Vec::new(),
            names: Vec::new(),
            period_s: 0.0,
            shadow: None,
            seen: None,
            set_point: SetPoint::default(),
            notice: None,
        }
    }

    /// The mode of the moment.
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// Why the law let go, until a mode is ordered.
    pub fn tripped(&self) -> Option<Cause> {
        self.cause
    }

    fn drives(&self) -> bool {
        self.mode == Mode::Engaged && !self.locked
    }

    fn lock(&mut self, speed_m_s: f64) {
        let low = kn(self.spec.lock_below_kn);
        let was = self.locked;
        if speed_m_s <= low {
            self.locked = speed_m_s < 0.0 || low > 0.0;
        } else if speed_m_s > low + kn(self.spec.lock_margin_kn) {
            self.locked = false;
        }
        if was && !self.locked {
            self.take_over();
        }
        if was != self.locked && self.mode == Mode::Engaged {
            let word = if self.locked {
                "fins locked: slow or astern"
            } else {
                "fins unlocked"
            };
            self.notice = Some(word.into());
        }
    }

    fn watch(&mut self, y: &Measurement, sent_rad: &[f64]) {
        let found = self.trips.step(y, sent_rad, self.speed.state());
        let Some(cause) = found.filter(|_| self.mode == Mode::Engaged) else {
            return;
        };
        self.mode = match self.spec.trips.to {
            TripMode::Standby => Mode::Standby,
            TripMode::Off => Mode::Off,
        };
        self.cause = Some(cause);
        let why = cause.words(&self.names);
        self.notice = Some(format!("trip to {}: {why}", self.mode.word()));
    }

    /// What the law is shown: limits, and its own last command where it does not drive.
    fn show(&mut self, u: &FinCommand, shadow: &mut FinCommand) {
        let drives = self.drives();
        for i in 0..u.fin_rad.len() {
            shadow.min_rad[i] = u.min_rad[i];
            shadow.max_rad[i] = u.max_rad[i];
        }
        let mut own = self.channels.iter_mut().peekable();
        for i in 0..u.fin_rad.len() {
            let Some(c) = own.next_if(|c| c.surface == i) else {
                shadow.fin_rad[i] = u.fin_rad[i];
                continue;
            };
            let fresh = std::mem::take(&mut c.fresh);
            if fresh {
                (c.hold_rad, c.share) = (u.fin_rad[i], 0.0);
            }
            if let Some(hand) = c.hand_rad {
                let hand = hand.max(u.min_rad[i]).min(u.max_rad[i]);
                (shadow.min_rad[i], shadow.max_rad[i]) = (hand, hand);
            }
            let whole = drives && c.share >= 1.0 && c.hand_rad.is_none();
            if whole || fresh {
                shadow.fin_rad[i] = u.fin_rad[i];
            }
        }
    }

    /// What goes to the fins.
    fn send(&mut self, shadow: &FinCommand, u: &mut FinCommand) {
        let (drives, gain) = (self.drives(), self.speed.gain());
        let calm = deg(self.spec.calm_deg_s) * self.period_s;
        let more = self.period_s / self.spec.fade_s;
        let neutral = self.mode == Mode::Off || (self.locked && self.mode != Mode::Manual);
        for c in &mut self.channels {
            let i = c.surface;
            let now = u.fin_rad[i];
            let toward = |goal: f64| now + (goal - now).clamp(-calm, calm);
            let angle = if let Some(hand) = c.hand_rad {
                hand
            } else if drives {
                let law = if gain >= 1.0 {
                    shadow.fin_rad[i]
                } else {
                    c.trim_rad + gain * (shadow.fin_rad[i] - c.trim_rad)
                };
                if c.share >= 1.0 {
                    law
                } else {
                    c.share = (c.share + more).min(1.0);
                    c.hold_rad + c.share * (law - c.hold_rad)
                }
            } else if neutral {
                toward(0.0)
            } else if self.mode == Mode::Standby {
                toward(c.trim_rad)
            } else {
                now
            };
            u.fin_rad[i] = angle.max(u.min_rad[i]).min(u.max_rad[i]);
        }
    }

    /// All fins go over to the law, from the command they have.
    fn take_over(&mut self) {
        self.takes_over = true;
        self.channels.iter_mut().for_each(|c| c.fresh = true);
    }

    fn order_mode(&mut self, to: Mode) {
        if to == Mode::Engaged && (self.mode != Mode::Engaged || self.held_by_hand()) {
            self.take_over();
        }
        self.mode = to;
        self.cause = None;
        self.trips.forget();
        self.speed.acknowledge();
        if to != Mode::Manual {
            self.channels.iter_mut().for_each(|c| c.hand_rad = None);
        }
    }

    fn held_by_hand(&self) -> bool {
        self.channels.iter().any(|c| c.hand_rad.is_some())
    }

    fn order_fin(&mut self, surface: usize, angle_rad: Option<f64>) -> Result<()> {
        let name = self.names.get(surface).cloned().unwrap_or_default();
        let Some(c) = self.channels.iter_mut().find(|c| c.surface == surface) else {
            return Err(Error::with_hint(
                format!("`{}` does not drive `{name}`", self.name),
                "order a fin that the law drives; rudders answer to the helm",
            ));
        };
        c.fresh |= c.hand_rad.is_some() && angle_rad.is_none();
        c.hand_rad = angle_rad;
        Ok(())
    }
}

impl Controller for Supervised {
    fn info(&self) -> ControllerInfo {
        self.inner.info()
    }

    fn reset(&mut self, setup: &Setup) -> Result<()> {
        self.inner.reset(setup)?;
        let info = self.inner.info();
        self.name.clone_from(&info.name);
        self.names = setup.surfaces.iter().map(|s| s.name.clone()).collect();
        let mine = |name: &String| info.channels.is_empty() || info.channels.contains(name);
        let fins = setup.surfaces.iter().enumerate();
        self.channels = fins
            .filter(|(_, s)| s.group != SurfaceGroup::Rudder && mine(&s.name))
            .map(|(surface, s)| Channel {
                surface,
                trim_rad: s.trim_rad,
                hand_rad: None,
                hold_rad: s.trim_rad,
                share: 1.0,
                fresh: false,
            })
            .collect();
        let own: Vec<usize> = self.channels.iter().map(|c| c.surface).collect();
        self.period_s = setup.sample_period_s;
        self.mode = self.spec.start.into();
        self.cause = None;
        self.takes_over = false;
        self.speed.reset(setup.nominal_speed_m_s, self.period_s);
        self.trips.reset(setup, &own, info.signals);
        self.locked = false;
        self.lock(setup.nominal_speed_m_s);
        self.notice = None;
        self.shadow = Some(FinCommand::at_trim(setup));
        self.seen = Some(Box::new(Measurement::at_trim(setup)));
        self.set_point = SetPoint::default();
        Ok(())
    }

    fn update(&mut self, t_s: f64, y: &Measurement, u: &mut FinCommand) -> Result<()> {
        let (Some(mut shadow), Some(mut seen)) = (self.shadow.take(), self.seen.take()) else {
            return Err(super::not_reset(&self.name));
        };
        let used = self.speed.step(y.speed_m_s, y.valid.speed);
        self.watch(y, &u.fin_rad);
        self.lock(used);
        let shown = if self.speed.follows() {
            y
        } else {
            seen.copy_from(y);
            seen.speed_m_s = used;
            seen.valid.speed = true;
            &*seen
        };
        self.show(u, &mut shadow);
        let done = self.step(t_s, shown, &mut shadow);
        if done.is_ok() {
            let mut next = 0;
            for (i, angle) in u.fin_rad.iter_mut().enumerate() {
                if self.channels.get(next).is_some_and(|c| c.surface == i) {
                    next += 1;
                } else if self.mode == Mode::Engaged {
                    *angle = shadow.fin_rad[i];
                }
            }
            self.send(&shadow, u);
        }
        (self.shadow, self.seen) = (Some(shadow), Some(seen));
        done
    }

    fn engage(&mut self, y: &Measurement, u: &FinCommand) -> Result<()> {
        self.inner.engage(y, u)
    }

    fn set_point(&mut self, s: SetPoint) -> Result<()> {
        self.inner.set_point(s)?;
        self.set_point = s;
        Ok(())
    }

    fn set_displacement(&mut self, displacement_kg: f64) -> Result<()> {
        self.inner.set_displacement(displacement_kg)
    }

    fn order(&mut self, order: &Order) -> Result<()> {
        match *order {
            Order::Mode(to) => self.order_mode(to),
            Order::SetPoint(s) => self.set_point(s)?,
            Order::Fin { surface, angle_rad } => self.order_fin(surface, Some(angle_rad))?,
            Order::Release(None) => {
                for c in &mut self.channels {
                    c.fresh |= c.hand_rad.take().is_some();
                }
            }
            Order::Release(Some(surface)) => self.order_fin(surface, None)?,
            Order::Speed(u) => self.speed.order(u),
            Order::Displacement(kg) => self.inner.set_displacement(kg)?,
        }
        Ok(())
    }

    fn notice(&mut self) -> Option<String> {
        self.notice.take().or_else(|| self.inner.notice())
    }

    /// That of the law inside, engaged; none at a speed at which the fins are locked.
    fn linear(&self) -> Result<LinearLaw> {
        let law = self.inner.linear()?;
        Ok(if self.locked {
            LinearLaw::none(law.sample_period_s)
        } else {
            law
        })
    }

    fn trace(&self, out: &mut Trace) {
        let share = self.channels.iter().map(|c| c.share).fold(1.0, f64::min);
        let by_hand = self
            .channels
            .iter()
            .filter(|c| c.hand_rad.is_some())
            .count();
        out.push("mode", self.mode.code());
        out.push("trip", self.cause.map_or(0.0, Cause::code));
        out.push("locked", f64::from(u8::from(self.locked)));
        out.push("engaged_share", if self.drives() { share } else { 0.0 });
        out.push("fins_by_hand", by_hand as f64);
        out.push("speed_used_m_s", self.speed.used_m_s());
        out.push(
            "speed_signal",
            match self.speed.state() {
                SpeedSignal::Good => 0.0,
                SpeedSignal::Held => 1.0,
                SpeedSignal::Lost => 2.0,
            },
        );
        out.push("command_share", self.speed.gain());
        out.push("set_heave_m", self.set_point.heave_m);
        out.push("set_pitch_rad", self.set_point.pitch_rad);
        out.push("set_roll_rad", self.set_point.roll_rad);
        self.inner.trace(out);
    }
}

impl Supervised {
    /// The law's own part of a sample.
    fn step(&mut self, t_s: f64, y: &Measurement, shadow: &mut FinCommand) -> Result<()> {
        if self.takes_over {
            self.inner.engage(y, shadow)?;
            self.takes_over = false;
        }
        self.inner.update(t_s, y, shadow)?;
        if let Some(i) = shadow.fin_rad.iter().position(|v| !v.is_finite()) {
            return Err(Error::new(format!(
                "`{}` asked {} rad of `{}` at t = {t_s:.2} s, must be a finite angle",
                self.name, shadow.fin_rad[i], self.names[i]
            )));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests;
