//! What was found when the gains of a law were solved, in numbers to print and keep.

use num_complex::Complex64;
use serde::Serialize;

use super::stage::LawPlan;
use crate::design::lqr::LqrPointReport;
use crate::units::to_kn;

/// The design of one law.
#[derive(Clone, Debug, Serialize)]
pub struct LawDesign {
    /// Law.
    pub law: String,
    /// Design speeds, ascending.
    pub points: Vec<DesignPoint>,
}

/// The design at one speed.
#[derive(Clone, Debug, Serialize)]
pub struct DesignPoint {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Residual of the regulator's Riccati equation, relative.
    pub regulator_residual: f64,
    /// Residual of the observer's Riccati equation, relative.
    pub observer_residual: f64,
    /// Closed-loop poles, 1/s: real and imaginary part, least stable first.
    pub closed_poles_1_s: Vec<[f64; 2]>,
    /// Poles of the observer's error, likewise.
    pub observer_poles_1_s: Vec<[f64; 2]>,
    /// The craft's own modes: how far the surfaces move them and the sensors see them.
    pub modes: Vec<DesignMode>,
}

/// One mode of the craft with surfaces at trim.
#[derive(Clone, Debug, Serialize)]
pub struct DesignMode {
    /// States that take most part in it.
    pub states: String,
    /// Distance to the nearest model in which no surface moves it, fraction; 0 is lost.
    pub reached_frac: f64,
    /// Distance to the nearest model in which no sensor sees it, fraction.
    pub seen_frac: f64,
}

impl DesignMode {
    fn is_motion(&self) -> bool {
        ["heave", "pitch", "roll"]
            .iter()
            .any(|m| self.states.contains(m))
    }
}

impl DesignPoint {
    /// Least damping ratio of the closed loop's oscillations; 1 when there are none.
    pub fn least_damping(&self) -> f64 {
        let ratio = |[re, im]: &[f64; 2]| -re / re.hypot(*im);
        self.closed_poles_1_s.iter().map(ratio).fold(1.0, f64::min)
    }

    /// Slowest decay of the closed loop, 1/s; negative for an unstable one.
    pub fn slowest_1_s(&self) -> f64 {
        let decay = |p: &[f64; 2]| -p[0];
        self.closed_poles_1_s
            .iter()
            .map(decay)
            .fold(f64::INFINITY, f64::min)
    }

    /// Reach of the surfaces over the modes of heave, pitch and roll, the least; lags decay by
    /// themselves and do not count.
    pub fn least_reached(&self) -> f64 {
        let motions = self.modes.iter().filter(|m| m.is_motion());
        motions.map(|m| m.reached_frac).fold(1.0, f64::min)
    }

    /// The same of the sensors.
    pub fn least_seen(&self) -> f64 {
        let motions = self.modes.iter().filter(|m| m.is_motion());
        motions.map(|m| m.seen_frac).fold(1.0, f64::min)
    }

    fn new(p: &LqrPointReport) -> Self {
        let pairs = |poles: &[Complex64]| poles.iter().map(|z| [z.re, z.im]).collect();
        DesignPoint {
            speed_kn: to_kn(p.speed_m_s),
            regulator_residual: p.regulator_residual,
            observer_residual: p.observer_residual,
            closed_poles_1_s: pairs(&p.closed_poles),
            observer_poles_1_s: pairs(&p.observer_poles),
            modes: p
                .modes
                .iter()
                .map(|m| DesignMode {
                    states: m.states.clone(),
                    reached_frac: m.reached_frac,
                    seen_frac: m.seen_frac,
                })
                .collect(),
        }
    }
}

/// The designs of those laws whose gains were solved.
pub fn designs(laws: &[LawPlan]) -> Vec<LawDesign> {
    laws.iter()
        .filter_map(|plan| {
            Some(LawDesign {
                law: plan.spec.name.clone(),
                points: plan
                    .report
                    .as_ref()?
                    .points
                    .iter()
                    .map(DesignPoint::new)
                    .collect(),
            })
        })
        .collect()
}
