//! From forces at a frequency to the response of the closed loop there.

use num_complex::Complex64;

use crate::closed_loop::at_sea::DragModel;
use crate::closed_loop::dense;
use crate::closed_loop::evaluate::Evaluation;
use crate::linear::resolvent::RIGID;

/// The closed loop at one frequency.
pub(super) struct Paths {
    /// Velocity rows by the forcing of the other states.
    left: Vec<[Complex64; 6]>,
    /// Rigid states, then commands through the limits, over accelerations and commands asked; row by row.
    closed: Vec<Complex64>,
    channels: usize,
}

impl Paths {
    /// None where the loop has no response.
    pub(super) fn of(e: &Evaluation<'_>, omega_rad_s: f64) -> Option<Self> {
        let sea = e.sea;
        let open = sea.speed.open_paths(omega_rad_s)?;
        let (m, p) = (sea.speed.channels.len(), sea.speed.signals.len());
        let (q, columns) = (m + 6, RIGID + m);
        let drag = match sea.drag_model {
            DragModel::Gaussian => sea.drag_of(&e.gains.speeds),
            _ => sea.drag,
        };
        let mut law = vec![Complex64::ZERO; m * p];
        if m * p > 0 {
            e.law.fast.response(omega_rad_s, &mut law);
        }
        // unknown: commands and drag forces
        let mut a = vec![Complex64::ZERO; q * q];
        let mut b = vec![Complex64::ZERO; q * columns];
        for i in 0..m {
            let through = e.through(i, omega_rad_s);
            for (k, c) in law[i * p..][..p].iter().enumerate() {
                let f = through * c;
                for (j, y) in open.driven.iter().enumerate() {
                    a[i * q + j] -= f * y.signals[k];
                }
                for (j, y) in open.forced.iter().enumerate() {
                    b[i * columns + j] += f * y.signals[k];
                }
            }
            b[i * columns + RIGID + i] = through;
        }
        for i in 0..6 {
            for k in 0..6 {
                let d = drag[(i, k)];
                for (j, y) in open.driven.iter().enumerate() {
                    a[(m + i) * q + j] += y.rigid[6 + k] * d;
                }
                for (j, y) in open.forced.iter().enumerate() {
                    b[(m + i) * columns + j] -= y.rigid[6 + k] * d;
                }
            }
        }
        for i in 0..q {
            a[i * q + i] += 1.0;
        }
        if !dense::solve(&mut a, &mut b, q, columns) {
            return None;
        }
        let mut closed = vec![Complex64::ZERO; columns * columns];
        for r in 0..RIGID {
            for c in 0..columns {
                let by: Complex64 = (open.driven.iter().enumerate())
                    .map(|(v, y)| y.rigid[r] * b[v * columns + c])
                    .sum();
                let own = open.forced.get(c).map_or(Complex64::ZERO, |y| y.rigid[r]);
                closed[r * columns + c] = own + by;
            }
        }
        closed[RIGID * columns..].copy_from_slice(&b[..m * columns]);
        closed.iter().all(|v| v.is_finite()).then_some(Paths {
            left: open.left,
            closed,
            channels: m,
        })
    }

    /// Forcing of all states as one of the rigid ones.
    pub(super) fn onto_rigid(&self, rows: &[Complex64], out: &mut [Complex64]) {
        out.copy_from_slice(&rows[..RIGID]);
        for (v, left) in rows[RIGID..].iter().zip(&self.left) {
            if *v != Complex64::ZERO {
                for (o, l) in out[6..].iter_mut().zip(left) {
                    *o += l * v;
                }
            }
        }
    }

    /// Rigid states and commands.
    pub(super) fn response(&self, force: &[Complex64]) -> ([Complex64; RIGID], Vec<Complex64>) {
        let columns = RIGID + self.channels;
        let row = |r: usize| -> Complex64 {
            let row = &self.closed[r * columns..][..columns];
            row.iter().zip(force).map(|(t, f)| t * f).sum()
        };
        let rigid = std::array::from_fn(row);
        (rigid, (RIGID..columns).map(row).collect())
    }
}
