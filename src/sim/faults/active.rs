//! Faults under way: what of a run's faults acts now, and what it does to the loop's signals. Nothing here
//! allocates after [`Active::new`].

use super::readings::{self, Chain};
use super::schedule::{Edge, Schedule};
use super::{Breakage, Fault, Holder};
use crate::control::signal::{FinCommand, Measurement, Setup};
use crate::dynamics::actuator::Actuator;
use crate::math::rng::Stream;
use crate::sim::case::Case;
use crate::spec::craft::SurfaceGroup;
use crate::spec::fault::OutputsSpec;

/// What bends the path of a surface in a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bend {
    /// What holds it.
    pub(crate) holder: Holder,
    /// Where it was when that began, rad.
    pub(crate) from_rad: f64,
    /// When it began, s.
    pub(crate) since_s: f64,
    fault: usize,
    /// Step of its start and place in the list: the greatest wins.
    rank: (u64, usize),
}

/// Faults of a run under way.
pub(crate) struct Active<'a> {
    faults: &'a [Fault],
    schedule: &'a Schedule,
    next: usize,
    next_craft: usize,
    acts: Vec<bool>,
    /// Step at which each began.
    began: Vec<u64>,
    words: Vec<[String; 2]>,
    /// Per surface, what holds it.
    bends: Vec<Option<Bend>>,
    rate_frac: Vec<f64>,
    supply_frac: Vec<f64>,
    supply_rad_s: Vec<f64>,
    asked_n: Vec<f64>,
    thrust_frac: Vec<f64>,
    chains: Vec<Chain>,
    skips: Vec<Stream>,
    late_halves: u64,
    sample_s: f64,
    step_s: f64,
    g_m_s2: f64,
}

impl<'a> Active<'a> {
    /// Of a case; none when nothing of it acts within the run.
    pub(crate) fn new(case: &'a Case) -> Option<Self> {
        let schedule = case.schedule.as_ref()?;
        let p = &case.parts;
        let faults = &p.faults;
        let surfaces = p.setup.surfaces.len();
        Some(Active {
            faults,
            schedule,
            next: 0,
            next_craft: 0,
            acts: vec![false; faults.len()],
            began: vec![0; faults.len()],
            words: faults
                .iter()
                .map(|f| [f.words.clone(), format!("{}: over", f.words)])
                .collect(),
            bends: vec![None; surfaces],
            rate_frac: vec![1.0; surfaces],
            supply_frac: vec![1.0; p.supply_rad_s.len()],
            supply_rad_s: p.supply_rad_s.clone(),
            asked_n: p.thrust_n.clone(),
            thrust_frac: vec![1.0; p.thrust_n.len()],
            chains: readings::chains(faults, p.timing.sample_s()),
            skips: faults.iter().map(|f| f.stream(9)).collect(),
            late_halves: 0,
            sample_s: p.timing.sample_s(),
            step_s: p.timing.step_s,
            g_m_s2: p.craft.g_m_s2(),
        })
    }

    /// Greatest extra delay of commands that may come, half steps.
    pub(crate) fn most_late_halves(&self) -> u64 {
        self.faults.iter().map(|f| self.halves_late(f)).sum()
    }

    fn halves_late(&self, f: &Fault) -> u64 {
        match f.breakage {
            Breakage::Late(delay_s) => 2 * (delay_s / self.step_s).round() as u64,
            _ => 0,
        }
    }

    /// Most happenings it tells.
    pub(crate) fn most_happenings(&self) -> usize {
        self.schedule.edges.len()
    }

    /// The next start or end that is due at `step`, made to act; with its words.
    pub(crate) fn next_edge(&mut self, step: u64, t_s: f64) -> Option<(Edge, String)> {
        let edge = *self.schedule.edges.get(self.next)?;
        if edge.step > step {
            return None;
        }
        self.next += 1;
        self.acts[edge.fault] = edge.starts;
        self.began[edge.fault] = edge.step;
        for chain in &mut self.chains {
            chain.edge(edge.fault, edge.starts, t_s);
        }
        self.recount();
        let words = &mut self.words[edge.fault][usize::from(!edge.starts)];
        Some((edge, std::mem::take(words)))
    }

    /// The craft that is under way from `step` on, when it becomes another one there.
    pub(crate) fn next_craft(&mut self, step: u64) -> Option<&'a dyn crate::sim::craft::Craft> {
        let (at, craft) = self.schedule.crafts.get(self.next_craft)?;
        if *at > step {
            return None;
        }
        self.next_craft += 1;
        Some(&**craft)
    }

    /// Shares that multiply and add.
    fn recount(&mut self) {
        self.rate_frac.fill(1.0);
        self.supply_frac.fill(1.0);
        self.thrust_frac.fill(1.0);
        self.late_halves = 0;
        for (f, _) in self.faults.iter().zip(&self.acts).filter(|a| *a.1) {
            match f.breakage {
                Breakage::Slow(i, frac) => self.rate_frac[i] *= frac,
                Breakage::Supply(Some(s), frac) => self.supply_frac[s] *= frac,
                Breakage::Supply(None, frac) => {
                    self.supply_frac.iter_mut().for_each(|s| *s *= frac);
                }
                Breakage::Shaft(i, frac) => self.thrust_frac[i] *= frac,
                Breakage::Late(_) => self.late_halves += self.halves_late(f),
                _ => {}
            }
        }
    }

    /// Flow that is left for servos without a supply of the craft's list.
    fn own_supply_frac(&self) -> f64 {
        let all = |f: &Fault| match f.breakage {
            Breakage::Supply(None, frac) => frac,
            _ => 1.0,
        };
        let acting = self.faults.iter().zip(&self.acts).filter(|a| *a.1);
        acting.map(|a| all(a.0)).product()
    }

    /// What holds surface `i` from now on, `angle_rad` being where it is; true when that is new.
    pub(crate) fn hold(&mut self, i: usize, angle_rad: f64, t_s: f64) -> bool {
        let mut best: Option<Bend> = None;
        for (k, f) in self.faults.iter().enumerate() {
            let rank = (self.began[k], k);
            if let Breakage::Held(surface, holder) = f.breakage
                && self.acts[k]
                && surface == i
                && best.is_none_or(|b| rank >= b.rank)
            {
                best = Some(Bend {
                    holder,
                    from_rad: angle_rad,
                    since_s: t_s,
                    fault: k,
                    rank,
                });
            }
        }
        let before = self.bends[i].map(|b| (b.fault, b.rank));
        if before == best.map(|b| (b.fault, b.rank)) {
            return false;
        }
        self.bends[i] = best;
        best.is_some()
    }

    /// What holds each surface.
    pub(crate) fn bends(&self) -> &[Option<Bend>] {
        &self.bends
    }

    /// True when any surface is held.
    pub(crate) fn bends_any(&self) -> bool {
        self.bends.iter().any(Option::is_some)
    }

    /// What each supply feeds now, rad/s.
    pub(crate) fn supply_rad_s(&mut self, healthy: &[f64]) -> &[f64] {
        for ((now, h), frac) in self.supply_rad_s.iter_mut().zip(healthy).zip(&self.supply_frac) {
            *now = h * frac;
        }
        &self.supply_rad_s
    }

    /// Demand of a held surface on its supply, rad/s; none when its servo follows commands.
    pub(crate) fn demand_rad_s(&self, i: usize, a: &Actuator, angle_rad: f64) -> Option<f64> {
        let bend = self.bends[i]?;
        Some(match bend.holder {
            Holder::Jam | Holder::Water => 0.0,
            Holder::Run(to) if (to - angle_rad).abs() < f64::EPSILON => 0.0,
            Holder::Run(_) => a.max_rate_rad_s,
            Holder::Swing(amplitude, omega) => (amplitude * omega).min(a.max_rate_rad_s),
        })
    }

    /// Narrows limits that were shared out for slow servos and lost supplies.
    pub(crate) fn limit_rates(&self, actuators: &[Actuator], limits: &mut [f64]) {
        let own = self.own_supply_frac();
        for ((limit, a), frac) in limits.iter_mut().zip(actuators).zip(&self.rate_frac) {
            *limit = limit.min(a.max_rate_rad_s * frac);
            let left = a.supply.map_or(own, |s| self.supply_frac[s]);
            if a.supply.is_none() {
                *limit *= left;
            } else if left <= 0.0 {
                *limit = 0.0;
            }
        }
    }

    /// What the law reads in place of what the sensors read.
    pub(crate) fn sense(&mut self, t_s: f64, y: &mut Measurement) {
        for chain in &mut self.chains {
            chain.lift_flag(y);
        }
        for chain in &mut self.chains {
            chain.pass(t_s, self.sample_s, self.g_m_s2, y);
        }
    }

    /// Cuts the thrust asked: `asked` when it is asked anew, the last one otherwise.
    pub(crate) fn cut_thrust(&mut self, is_new: bool, thrust_n: &mut [f64]) {
        let each = thrust_n.iter_mut().zip(&mut self.asked_n).zip(&self.thrust_frac);
        for ((t, asked), frac) in each {
            if is_new {
                *asked = *t;
            }
            *t = *asked * frac;
        }
    }

    /// True when the law is asked at this sample; a stopped one may send fins to neutral.
    pub(crate) fn law_runs(&mut self, setup: &Setup, u: &mut FinCommand) -> bool {
        let mut runs = true;
        for ((f, acts), random) in self.faults.iter().zip(&self.acts).zip(&mut self.skips) {
            if !acts {
                continue;
            }
            match f.breakage {
                Breakage::Skips(lost_frac) => runs &= random.uniform() >= lost_frac,
                Breakage::Stopped(outputs) => {
                    runs = false;
                    if outputs == OutputsSpec::Neutral {
                        let fins = setup.surfaces.iter().zip(&mut u.fin_rad);
                        fins.filter(|(s, _)| s.group != SurfaceGroup::Rudder)
                            .for_each(|(_, angle)| *angle = 0.0);
                    }
                }
                _ => {}
            }
        }
        runs
    }

    /// Extra delay of commands, half steps.
    pub(crate) fn late_halves(&self) -> u64 {
        self.late_halves
    }
}
