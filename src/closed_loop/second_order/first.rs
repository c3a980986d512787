//! The response of first order, states and waves together.

use num_complex::Complex64;

use super::shifts_phase;
use crate::closed_loop::at_speed::AtSpeed;
use crate::closed_loop::evaluate::Evaluation;
use crate::closed_loop::reading::Quantity;
use crate::dynamics::sensor;
use crate::error::{Error, Result};
use crate::linear::resolvent::RIGID;

/// First-order responses per unit amplitude, wave by wave.
pub(super) struct FirstOrder {
    /// Encounter frequency, signed, rad/s, and weight, m2.
    pub(super) omega: Vec<f64>,
    pub(super) weight: Vec<f64>,
    /// States, then wave channels.
    pub(super) z: Vec<Vec<Complex64>>,
    /// Forcing of the states by the wave alone.
    pub(super) forcing: Vec<Vec<Complex64>>,
    /// Commands before limits, rad.
    pub(super) asked: Vec<Vec<Complex64>>,
    /// Speed as measured, m/s.
    pub(super) speed: Vec<Complex64>,
    /// Root of the share of power that stays at the wave's own frequency.
    pub(super) line: Vec<f64>,
    /// Root of the share of the phase's first sidebands that holds what all of them have together.
    beside: Vec<f64>,
    /// RMS of every state and channel.
    pub(super) rms: Vec<f64>,
    pub(super) states: usize,
    /// Wave number times the direction, 1/m.
    k: Vec<[f64; 2]>,
    pull: [Vec<f64>; 2],
}

impl FirstOrder {
    pub(super) fn of(e: &Evaluation<'_>) -> Result<Self> {
        let speed = &e.sea.speed;
        let n = speed.craft.plant.layout().len();
        let g = speed.craft.plant.g_m_s2;
        let mut out = FirstOrder {
            omega: e.sea.transfers.iter().map(|t| t.omega).collect(),
            weight: e.sea.transfers.iter().map(|t| t.weight).collect(),
            z: Vec::new(),
            forcing: Vec::new(),
            asked: Vec::new(),
            speed: Vec::new(),
            line: Vec::new(),
            beside: Vec::new(),
            rms: Vec::new(),
            states: n,
            k: Vec::new(),
            pull: Default::default(),
        };
        for (i, w) in e.sea.waves.iter().enumerate() {
            let whole = states(e, i).ok_or_else(|| {
                Error::new(format!(
                    "the craft's states have no response at {:.3} rad/s",
                    out.omega[i]
                ))
            })?;
            let number = w.omega_rad_s * w.omega_rad_s / g;
            out.k
                .push([number * w.mu_rad.cos(), number * w.mu_rad.sin()]);
            out.z.push(whole.z);
            out.forcing.push(whole.forcing);
            let m = speed.channels.len();
            let asked = (0..m).map(|j| e.command(i, j) / e.through(j, out.omega[i]));
            out.asked.push(asked.collect());
            let reading =
                sensor::response(&speed.craft.sensors, Quantity::Speed.kind(), out.omega[i]);
            out.speed.push(out.z[i][6] * reading);
        }
        let c = out.spread();
        for k in &out.k {
            let square =
                k[0] * k[0] * c[0][0] + 2.0 * k[0] * k[1] * c[0][1] + k[1] * k[1] * c[1][1];
            out.line.push((-0.5 * square).exp());
            let lost = -(-square).exp_m1();
            let beside = if square > 1e-9 { lost / square } else { 1.0 };
            out.beside.push(beside.sqrt());
        }
        out.pull = out.pull();
        let inputs = out.z.first().map_or(0, Vec::len);
        out.rms = (0..inputs)
            .map(|a| {
                let square = out.z.iter().zip(&out.weight);
                square.map(|(z, w)| w * z[a].norm_sqr()).sum::<f64>().sqrt()
            })
            .collect();
        Ok(out)
    }

    /// k d: phase that the motion in wave `j` takes from wave `i`, rad per unit amplitude.
    pub(super) fn along(&self, i: usize, j: usize) -> Complex64 {
        if shifts_phase(self.omega[j]) {
            self.displaced(i, &self.z[j])
        } else {
            Complex64::ZERO
        }
    }

    /// The same of any motion.
    pub(super) fn displaced(&self, i: usize, z: &[Complex64]) -> Complex64 {
        z[0] * self.k[i][0] + z[1] * self.k[i][1]
    }

    /// Adds to the forcing at wave `i` what the squared displacement takes from the others there, -1/2 (k d)^2 with
    /// d in part by the wave whose force it is; its own square is in the share that is kept.
    pub(super) fn add_cubic_phase(&self, i: usize, rows: &mut [Complex64]) {
        if !shifts_phase(self.omega[i]) {
            return;
        }
        for (axis, pull) in self.pull.iter().enumerate() {
            for (r, p) in rows.iter_mut().zip(pull) {
                *r -= self.z[i][axis] * *p;
            }
        }
    }

    /// Sum over waves of w k Re[W conj(k d)], along x and along y: force per displacement.
    fn pull(&self) -> [Vec<f64>; 2] {
        let mut out = [vec![0.0; self.states], vec![0.0; self.states]];
        for j in 0..self.omega.len() {
            let own = self.along(j, j).conj() * self.weight[j];
            for (pull, k) in out.iter_mut().zip(self.k[j]) {
                for (p, w) in pull.iter_mut().zip(&self.forcing[j]) {
                    *p += k * (w * own).re;
                }
            }
        }
        out
    }

    /// Factor of the phase on the forcing of wave `i`: all the power that its own frequency loses.
    pub(super) fn shift(&self, i: usize) -> Complex64 {
        Complex64::new(0.0, -self.beside[i])
    }

    /// Covariance of the displacement that shifts phases, m2.
    fn spread(&self) -> [[f64; 2]; 2] {
        let mut out = [[0.0; 2]; 2];
        for ((z, w), omega) in self.z.iter().zip(&self.weight).zip(&self.omega) {
            if shifts_phase(*omega) {
                for (i, row) in out.iter_mut().enumerate() {
                    for (j, v) in row.iter_mut().enumerate() {
                        *v += w * (z[i] * z[j].conj()).re;
                    }
                }
            }
        }
        out
    }
}

/// All states, and what drives them.
pub(super) struct Whole {
    pub(super) z: Vec<Complex64>,
    pub(super) forcing: Vec<Complex64>,
}

/// All states and channels in wave `i`.
fn states(e: &Evaluation<'_>, i: usize) -> Option<Whole> {
    let speed: &AtSpeed = &e.sea.speed;
    let w = &e.sea.waves[i];
    let mut channels = vec![Complex64::ZERO; speed.craft.plant.channels().len()];
    (speed.craft.plant).channel_amplitudes(w.omega_rad_s, w.mu_rad, &mut channels);
    let forcing = speed.wave_forcing(&channels);
    let m = speed.channels.len();
    let u = &e.commands[i * m..][..m];
    let mut whole = complete(speed, e.sea.transfers[i].omega, &e.rigid[i], u, forcing)?;
    whole.z.extend(channels);
    Some(whole)
}

/// All states where the rigid ones and the commands are known, and something else drives them all.
pub(super) fn complete(
    speed: &AtSpeed,
    omega: f64,
    rigid: &[Complex64; RIGID],
    u: &[Complex64],
    forcing: Vec<Complex64>,
) -> Option<Whole> {
    let craft = &speed.craft;
    let mut right = forcing.clone();
    let mut command = |surface: usize, asked: Complex64| {
        let angle = craft.command_hold(surface, omega) * asked;
        let column = craft.linear.b_command.column(surface);
        for (t, c) in right.iter_mut().zip(column.iter()) {
            *t += angle * *c;
        }
    };
    for (surface, u) in speed.channels.iter().zip(u) {
        command(*surface, *u);
    }
    if let Some(helm) = &speed.keeper.helm {
        let asked = speed.helm(omega, rigid);
        for r in &helm.rudders {
            command(*r, asked);
        }
    }
    let mut z = rigid.to_vec();
    z.extend(speed.others(omega, rigid, &right[RIGID..])?);
    Some(Whole { z, forcing })
}
