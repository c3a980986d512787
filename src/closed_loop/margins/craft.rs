//! The loops of a craft with its law: at the fins, at the modes, at the sensors, at both.
//!
//! # Equation
//! ```text
//! fins     L = -C G            one channel a surface
//! modes    L' = P^-1 L P       P = [B^+, null B]: demands of heave, pitch, roll, and what moves none
//! sensors  L = -G C            one channel a signal
//! both     L = -[0 C; G 0]
//! ```
//!
//! # Symbols
//! G sampled craft from commanded angles to signals, hold, servos, sensors, delays and course keeper
//! inside; C law; B influences of the surfaces in heave, pitch and roll.
//!
//! # Valid when
//! Small motions about level trim, inside all limits.
//!
//! # Source
//! Skogestad & Postlethwaite, Multivariable Feedback Control, 2nd ed. 2005, section 4.9.
//!
//! # Checked by
//! `loops_of_a_craft_agree_where_they_must`, `delay_margin_of_a_craft_is_exact_at_whole_samples`

use nalgebra::DMatrix;
use num_complex::Complex64;
use serde::Serialize;

use super::analyse::{Group, LoopMargins, from_sweep, swept};
use super::disk::{self, Disk};
use super::loops::{NEUTRAL_1_S, OpenLoop, poles};
use super::state_space::{Response, StateSpace};
use super::sweep::Sweep;
use super::winding;
use crate::closed_loop::craft::LoopCraft;
use crate::closed_loop::poles::{check, closed, motion};
use crate::control::linear::{LawSignal, LinearLaw};
use crate::control::signal::Setup;
use crate::error::{Error, Result};
use crate::frames::Dof;
use crate::spec::craft::SurfaceGroup;

/// What carries a pole that is no motion of the craft.
pub const UNNAMED: &str = "fins, filters, law";
/// Lowest frequency looked at, rad/s.
pub const LOW_RAD_S: f64 = 1e-4;
/// Poles faster than this are no motions of the craft, 1/s.
pub const FASTEST_1_S: f64 = 3.0;
/// Share of a mode's influence that must be its own, not that of modes before it.
const OWN_FRAC: f64 = 1e-3;

/// Craft and law, broken open.
pub struct CraftLoop {
    /// Surfaces that the law moves, by name.
    pub fins: Vec<String>,
    /// Signals that the law uses, by name.
    pub signals: Vec<String>,
    /// Pairs and other groups of fins.
    pub groups: Vec<Group>,
    /// Poles of the closed loop, 1/s.
    pub closed_poles: Vec<Complex64>,
    /// Poles of craft and of law, 1/s.
    pub open_poles: Vec<Complex64>,
    /// Sample period, s.
    pub period_s: f64,
    craft: Response,
    law: Response,
    modes: Modes,
    /// Closed state matrix: the kept states of the craft come first.
    a: DMatrix<f64>,
    /// Layout index of those.
    kept: Vec<usize>,
}

/// Directions in the space of fin angles.
struct Modes {
    names: Vec<String>,
    p: DMatrix<Complex64>,
    inverse: DMatrix<Complex64>,
}

/// Margins of a craft with its law at one speed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CraftMargins {
    /// At the fins; pairs as groups.
    pub fins: LoopMargins,
    /// At the demands of heave, pitch and roll.
    pub modes: LoopMargins,
    /// At the signals.
    pub sensors: LoopMargins,
    /// Every fin and every signal perturbed at once.
    pub both: Disk,
}

impl CraftLoop {
    /// Breaks the loop of `craft` and `law` open.
    ///
    /// # Errors
    /// A law that does not fit the craft, or that moves nothing; poles that are not found.
    pub fn new(craft: &LoopCraft, law: &LinearLaw) -> Result<Self> {
        check(craft, law)?;
        let law = used(law);
        if law.channels.is_empty() || law.signals.is_empty() {
            return Err(Error::with_hint(
                "the law moves no surface by any signal: there is no loop",
                "choose a law with feedback",
            ));
        }
        let sampled = craft.sampled(&law.channels, &law.signals)?;
        let period_s = sampled.period_s;
        let a = closed(&sampled, &law);
        let model = |a: &DMatrix<f64>, b: &DMatrix<f64>, c: &DMatrix<f64>, d: &DMatrix<f64>| {
            let (a, b, c, d) = (a.clone(), b.clone(), c.clone(), d.clone());
            StateSpace {
                a,
                b,
                c,
                d,
                period_s: Some(period_s),
            }
            .response()
        };
        let mut open_poles = poles(&sampled.a, Some(period_s))?;
        open_poles.extend(poles(&law.a, Some(period_s))?);
        Ok(CraftLoop {
            fins: names(&law.channels, &craft.setup),
            signals: law
                .signals
                .iter()
                .map(|s| signal_name(*s, &craft.setup))
                .collect(),
            groups: groups(&law.channels, &craft.setup),
            closed_poles: poles(&a, Some(period_s))?,
            open_poles,
            period_s,
            craft: model(&sampled.a, &sampled.b, &sampled.c, &sampled.d),
            law: model(&law.a, &law.b, &law.c, &law.d),
            modes: Modes::new(&law.channels, &craft.setup)?,
            a,
            kept: craft.kept.clone(),
        })
    }

    /// Broken at the fins.
    pub fn at_fins(&self) -> OpenLoop<'_> {
        self.open(
            self.fins.clone(),
            Box::new(|s| Some(-(self.law.at(s)? * self.craft.at(s)?))),
        )
    }

    /// Broken at the demands of heave, pitch and roll.
    pub fn at_modes(&self) -> OpenLoop<'_> {
        let m = &self.modes;
        self.open(
            m.names.clone(),
            Box::new(move |s| Some(-(&m.inverse * self.law.at(s)? * self.craft.at(s)? * &m.p))),
        )
    }

    /// Broken at the signals.
    pub fn at_sensors(&self) -> OpenLoop<'_> {
        self.open(
            self.signals.clone(),
            Box::new(|s| Some(-(self.craft.at(s)? * self.law.at(s)?))),
        )
    }

    /// Broken at fins and signals at once.
    pub fn at_both(&self) -> OpenLoop<'_> {
        let names = self.fins.iter().chain(&self.signals).cloned().collect();
        let (m, p) = (self.fins.len(), self.signals.len());
        self.open(
            names,
            Box::new(move |s| {
                let mut l = DMatrix::zeros(m + p, m + p);
                l.view_mut((0, m), (m, p)).copy_from(&-self.law.at(s)?);
                l.view_mut((m, 0), (p, m)).copy_from(&-self.craft.at(s)?);
                Some(l)
            }),
        )
    }

    fn open<'a>(&self, channels: Vec<String>, gain: Box<super::loops::Gain<'a>>) -> OpenLoop<'a> {
        let unstable = |p: &&Complex64| p.re > NEUTRAL_1_S;
        OpenLoop {
            channels,
            gain,
            open_unstable: self.open_poles.iter().filter(unstable).count(),
            open_poles: self.open_poles.clone(),
            closed_poles: self.closed_poles.clone(),
            low_rad_s: LOW_RAD_S,
            high_rad_s: std::f64::consts::PI / self.period_s,
            period_s: Some(self.period_s),
        }
    }

    /// Refuses an unstable loop, naming its worst pole and the motion that takes most part in it.
    ///
    /// # Errors
    /// When a pole of the closed loop grows.
    pub fn require_stable(&self) -> Result<()> {
        self.at_fins().require_stable().map_err(|mut e| {
            let worst = self
                .closed_poles
                .iter()
                .max_by(|a, b| a.re.total_cmp(&b.re));
            if let (Some(p), Some(first)) = (worst, e.problems.first_mut()) {
                first.message = format!("{} ({})", first.message, self.motion_words(*p));
            }
            e
        })
    }

    /// The rigid-body motion that takes most part in a pole of the closed loop; none where states of
    /// fins, filters or law carry it.
    pub fn motion(&self, pole: Complex64) -> Option<Dof> {
        motion(&self.a, &self.kept, (pole * self.period_s).exp())
    }

    /// Poles of the closed loop that are slow enough for the craft's motions, upper half plane.
    pub fn slow_poles(&self) -> Vec<Complex64> {
        let slow = |p: &&Complex64| p.im > -1e-9 && p.norm() < FASTEST_1_S;
        self.closed_poles.iter().filter(slow).copied().collect()
    }

    /// `pitch`, or `fins, filters, law`.
    pub fn motion_words(&self, pole: Complex64) -> &'static str {
        self.motion(pole).map_or(UNNAMED, Dof::name)
    }

    /// All margins.
    ///
    /// # Errors
    /// When the closed loop is unstable, naming the pole.
    pub fn margins(&self) -> Result<CraftMargins> {
        self.require_stable()?;
        let (mut fins, modes) = self.fins_and_modes()?;
        fins.nyquist_unstable = winding::unstable(&self.at_fins());
        let sensors = self.at_sensors();
        let both = self.at_both();
        let grid = swept(&both)?;
        Ok(CraftMargins {
            fins,
            modes,
            sensors: from_sweep(&sensors, &swept(&sensors)?, &[]),
            both: disk::of_all(&both, &grid),
        })
    }

    /// Margins at fins and demands alone, from one grid.
    ///
    /// # Errors
    /// When the closed loop is unstable.
    pub fn fins_and_modes(&self) -> Result<(LoopMargins, LoopMargins)> {
        let (fins, modes) = (self.at_fins(), self.at_modes());
        let grid = swept(&fins)?;
        let turned = Sweep {
            omega_rad_s: grid.omega_rad_s.clone(),
            s: grid
                .s
                .iter()
                .map(|s| &self.modes.inverse * s * &self.modes.p)
                .collect(),
            largest_step: grid.largest_step,
        };
        Ok((
            from_sweep(&fins, &grid, &self.groups),
            from_sweep(&modes, &turned, &[]),
        ))
    }
}

/// The law without channels that it never moves and signals that it never uses.
fn used(law: &LinearLaw) -> LinearLaw {
    let rows: Vec<usize> = (0..law.channels.len())
        .filter(|i| law.c.row(*i).amax() > 0.0 || law.d.row(*i).amax() > 0.0)
        .collect();
    let columns: Vec<usize> = (0..law.signals.len())
        .filter(|j| law.b.column(*j).amax() > 0.0 || law.d.column(*j).amax() > 0.0)
        .collect();
    LinearLaw {
        sample_period_s: law.sample_period_s,
        channels: rows.iter().map(|i| law.channels[*i]).collect(),
        signals: columns.iter().map(|j| law.signals[*j]).collect(),
        a: law.a.clone(),
        b: law.b.select_columns(&columns),
        c: law.c.select_rows(&rows),
        d: law.d.select_rows(&rows).select_columns(&columns),
        speed_power: law.speed_power,
    }
}

fn names(channels: &[usize], setup: &Setup) -> Vec<String> {
    channels
        .iter()
        .map(|c| setup.surfaces[*c].name.clone())
        .collect()
}

/// What a signal is called on tables.
pub fn signal_name(signal: LawSignal, setup: &Setup) -> String {
    match signal {
        LawSignal::RollRate => "roll rate".to_owned(),
        LawSignal::PitchRate => "pitch rate".to_owned(),
        LawSignal::Roll => "roll".to_owned(),
        LawSignal::Pitch => "pitch".to_owned(),
        LawSignal::VerticalAcceleration => "vertical acceleration".to_owned(),
        LawSignal::HeightHeave => "heave by heights".to_owned(),
        LawSignal::Height(i) => format!("height {}", i + 1),
        LawSignal::Surface(i) => setup.surfaces.get(i).map_or_else(
            || format!("surface {i}"),
            |s| format!("angle of {}", s.name),
        ),
    }
}

/// Forward and aft pairs, where they are more than one fin and fewer than all.
fn groups(channels: &[usize], setup: &Setup) -> Vec<Group> {
    [
        (SurfaceGroup::Forward, "forward pair"),
        (SurfaceGroup::Aft, "aft pair"),
    ]
    .into_iter()
    .filter_map(|(group, name)| {
        let of: Vec<usize> = (0..channels.len())
            .filter(|i| setup.surfaces[channels[*i]].group == group)
            .collect();
        (of.len() > 1 && of.len() < channels.len()).then(|| Group {
            name: name.to_owned(),
            channels: of,
        })
    })
    .collect()
}

impl Modes {
    fn new(channels: &[usize], setup: &Setup) -> Result<Self> {
        let n = channels.len();
        let row = |f: &dyn Fn(usize) -> f64| {
            let v = nalgebra::DVector::from_iterator(n, channels.iter().map(|c| f(*c)));
            let size = v.norm();
            if size > 0.0 { v / size } else { v }
        };
        let influence = |c: usize| setup.surfaces[c].influence;
        let wanted = [
            ("heave demand", row(&|c| influence(c).heave_n)),
            ("pitch demand", row(&|c| influence(c).pitch_nm)),
            ("roll demand", row(&|c| influence(c).roll_nm)),
        ];
        // rows that the rows before them do not hold, made square to them
        let mut square: Vec<nalgebra::DVector<f64>> = Vec::new();
        let mut rows = Vec::new();
        let mut names = Vec::new();
        let add = |v: nalgebra::DVector<f64>, square: &mut Vec<nalgebra::DVector<f64>>| {
            let mut rest = v;
            for s in square.iter() {
                rest -= s * s.dot(&rest);
            }
            let own = rest.norm();
            let is_own = own > OWN_FRAC;
            if is_own {
                square.push(rest / own);
            }
            is_own
        };
        for (name, v) in wanted {
            if square.len() < n && add(v.clone(), &mut square) {
                rows.push(v);
                names.push(name.to_owned());
            }
        }
        // what is left moves none of them
        let moving = rows.len();
        for i in 0..n {
            let unit = nalgebra::DVector::from_fn(n, |k, _| f64::from(u8::from(k == i)));
            if square.len() < n && add(unit, &mut square) {
                rows.extend(square.last().cloned());
                let k = rows.len() - moving;
                names.push(if n - moving > 1 {
                    format!("neither, {k}")
                } else {
                    "neither".to_owned()
                });
            }
        }
        let inverse = DMatrix::from_fn(n, n, |i, j| rows[i][j]);
        let p = inverse
            .clone()
            .try_inverse()
            .ok_or_else(|| Error::new("the fins' influences have no modes"))?;
        Ok(Modes {
            names,
            p: p.map(Complex64::from),
            inverse: inverse.map(Complex64::from),
        })
    }
}
