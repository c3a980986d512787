//! The small linear model that laws are designed on, and its sampled form.
//!
//! # Equation
//! ```text
//! x' = A x + B delta + E d            delta' = (u - delta) / tau          (servo, first order)
//! y  = C x + D delta + F d            u arrives `delay_s` late, held between samples
//! d_j = 2 z w (r w + sqrt(1 - r^2) s) / (s^2 + 2 z w s + w^2) white noise   (waves, r^2 slow share)
//! ```
//! Sampled with the servo, the delay (whole samples as states, the rest exactly) and the wave
//! model in one matrix.
//!
//! # Symbols
//! x: motion about trim, SI, names of [`MOTION_STATES`](crate::control::lqr::MOTION_STATES); delta: surface
//! angles (rad); u: commands (rad); d: wave disturbances, each a unit vertical acceleration
//! (m/s2) spread over the craft as its column of E says; w, z: centre (rad/s) and damping of the waves.
//!
//! # Valid when
//! Small motions about trim, one speed, no memory of the radiated waves (added mass and damping
//! taken at the frequency of the motion that is to be damped).
//!
//! # Source
//! Franklin, Powell & Workman, Digital Control of Dynamic Systems, 3rd ed. 1998, sections 4.3 and
//! 9.4 (delay and disturbance states).
//!
//! # Checked by
//! `design::lqr::tests`: `sampled_model_follows_the_continuous_one`, `wave_model_has_its_variance`

use nalgebra::{DMatrix, Matrix3, Vector3};

use crate::control::lqr::LqrOutput;
use crate::error::{Error, Result};
use crate::math::zoh;
use crate::spec::craft::SurfaceGroup;

/// A surface as the design sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct DesignChannel {
    /// Channel name.
    pub name: String,
    /// Forward or aft: decides the just acceptable angle.
    pub group: SurfaceGroup,
    /// Servo as a first-order lag, s; 2 z / omega_n of a second-order servo.
    pub lag_s: f64,
}

/// Continuous design model at one speed. n states, m channels, p outputs, k disturbances.
#[derive(Clone, Debug, PartialEq)]
pub struct DesignModel {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// n x n.
    pub a: DMatrix<f64>,
    /// n x m, per rad of surface angle.
    pub b: DMatrix<f64>,
    /// n x k, per m/s2 of wave disturbance.
    pub e: DMatrix<f64>,
    /// p x n.
    pub c: DMatrix<f64>,
    /// p x m, per rad of surface angle.
    pub d: DMatrix<f64>,
    /// p x k.
    pub f: DMatrix<f64>,
    /// Names of the n states.
    pub states: Vec<String>,
    /// The m channels.
    pub channels: Vec<DesignChannel>,
    /// The p outputs.
    pub outputs: Vec<LqrOutput>,
    /// Standard deviation of one sample of each output, in its unit: noise, and what the model leaves
    /// out (elevation in the height).
    pub output_noise: Vec<f64>,
    /// Centre of the wave disturbances, rad/s (encounter).
    pub wave_rad_s: f64,
    /// Their damping ratio: 0.3 to 0.7, broad.
    pub wave_damping: f64,
    /// Share of their variance that is slow (low-pass, steady part included), 0 to 1; the rest is a
    /// band around the centre with no steady part.
    pub wave_slow_frac: f64,
    /// Sample period, s.
    pub sample_period_s: f64,
    /// Time from a reading to the command at the servo, s.
    pub delay_s: f64,
}

/// The sampled model: states of the motion, servos, waves, past commands, in this order.
#[derive(Clone, Debug, PartialEq)]
pub struct SampledModel {
    /// N x N.
    pub a: DMatrix<f64>,
    /// N x m.
    pub b: DMatrix<f64>,
    /// p x N.
    pub c: DMatrix<f64>,
    /// Covariance that the waves and the model's own doubt add per sample, N x N, for waves of 1 m/s2.
    pub wave_noise: DMatrix<f64>,
    /// Names of the N states.
    pub states: Vec<String>,
}

/// Heave, roll, pitch with all forces, in seakeeping axes: `M eta'' + D eta' + C eta = fins delta`.
#[derive(Clone, Debug, PartialEq)]
pub struct ModalPlant {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Mass with added mass, rows and columns heave, roll, pitch (kg, kg m, kg m2).
    pub mass: Matrix3<f64>,
    /// Damping, fins at rest included.
    pub damping: Matrix3<f64>,
    /// Stiffness, speed terms and fins at rest included.
    pub stiffness: Matrix3<f64>,
    /// 3 x m: force per rad of each surface, heave (N, down), roll, pitch (N m).
    pub fins: DMatrix<f64>,
    /// Motion unit from O, m.
    pub motion_unit_m: Vector3<f64>,
    /// Levers that turn a wave acceleration into roll and pitch acceleration (a / lever), m: about the
    /// radii of gyration.
    pub roll_lever_m: f64,
    /// See `roll_lever_m`.
    pub pitch_lever_m: f64,
}

impl ModalPlant {
    /// Design model with the standard outputs: p, q, roll, pitch, vertical acceleration, height.
    ///
    /// `elevation_m`: standard deviation of the mean elevation at the height sensors. It is no white
    /// noise but lasts for about [`ELEVATION_TIME_S`], so one sample counts for less:
    /// sigma sqrt(2 time / T).
    ///
    /// # Errors
    /// A mass matrix that cannot be inverted.
    pub fn model(
        &self,
        channels: Vec<DesignChannel>,
        sample_period_s: f64,
        delay_s: f64,
        elevation_m: f64,
    ) -> Result<DesignModel> {
        let inv = self
            .mass
            .try_inverse()
            .ok_or_else(|| Error::new("the mass matrix of the design model cannot be inverted"))?;
        let m = channels.len();
        let stiff = -inv * self.stiffness;
        let damp = -inv * self.damping;
        let fins = DMatrix::from_iterator(3, 3, inv.iter().copied()) * &self.fins;
        let mut a = DMatrix::zeros(6, 6);
        a.view_mut((0, 3), (3, 3)).fill_with_identity();
        a.view_mut((3, 0), (3, 3)).copy_from(&stiff);
        a.view_mut((3, 3), (3, 3)).copy_from(&damp);
        let mut b = DMatrix::zeros(6, m);
        b.view_mut((3, 0), (3, m)).copy_from(&fins);
        let mut e = DMatrix::zeros(6, 3);
        e[(3, 0)] = 1.0;
        e[(4, 1)] = 1.0 / self.roll_lever_m;
        e[(5, 2)] = 1.0 / self.pitch_lever_m;
        let [c, d, f] = standard_outputs(&a, &b, &e, &self.motion_unit_m);
        let white = elevation_m * (2.0 * ELEVATION_TIME_S / sample_period_s).sqrt();
        Ok(DesignModel {
            speed_m_s: self.speed_m_s,
            a,
            b,
            e,
            c,
            d,
            f,
            states: STANDARD_STATES.map(String::from).to_vec(),
            channels,
            outputs: STANDARD_OUTPUTS.to_vec(),
            // sensor noise of a good unit, tripled for what the model does not know
            output_noise: vec![0.001, 0.001, 0.002, 0.002, 0.06, white.max(0.03)],
            wave_rad_s: 1.0,
            wave_damping: 0.5,
            wave_slow_frac: 0.0,
            sample_period_s,
            delay_s,
        })
    }
}

/// The first six states of every design model of a craft: heave, roll, pitch and their rates.
pub const STANDARD_STATES: [&str; 6] = [
    "heave_m",
    "roll_rad",
    "pitch_rad",
    "heave_rate_m_s",
    "p_rad_s",
    "q_rad_s",
];

/// The outputs of every design model of a craft.
pub const STANDARD_OUTPUTS: [LqrOutput; 6] = [
    LqrOutput::RollRate,
    LqrOutput::PitchRate,
    LqrOutput::Roll,
    LqrOutput::Pitch,
    LqrOutput::VerticalAcceleration,
    LqrOutput::HeightHeave,
];

/// C, D and F of [`STANDARD_OUTPUTS`] for a model whose first states are [`STANDARD_STATES`].
pub(crate) fn standard_outputs(
    a: &DMatrix<f64>,
    b: &DMatrix<f64>,
    e: &DMatrix<f64>,
    motion_unit_m: &Vector3<f64>,
) -> [DMatrix<f64>; 3] {
    // vertical acceleration at r: z'' + y p' - x q'
    let at = |m: &DMatrix<f64>| m.row(3) + m.row(4) * motion_unit_m.y - m.row(5) * motion_unit_m.x;
    let mut out = [a, b, e].map(|m| {
        let mut rows = DMatrix::zeros(6, m.ncols());
        rows.set_row(4, &at(m));
        rows
    });
    for (i, j) in [(0, 4), (1, 5), (2, 1), (3, 2), (5, 0)] {
        out[0][(i, j)] = 1.0;
    }
    out
}

/// Correlation time of the elevation at the height sensors, s (a quarter of a 6 s wave).
pub const ELEVATION_TIME_S: f64 = 1.5;
/// Part of the wave disturbance that the observer allows for as unmodelled white acceleration.
const DOUBT: f64 = 0.1;

impl DesignModel {
    /// Shapes and numbers.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub fn check(&self) -> Result<()> {
        let (n, m) = (self.states.len(), self.channels.len());
        let (p, k) = (self.outputs.len(), self.e.ncols());
        let fits = self.a.shape() == (n, n)
            && self.b.shape() == (n, m)
            && self.e.nrows() == n
            && self.c.shape() == (p, n)
            && self.d.shape() == (p, m)
            && self.f.shape() == (p, k)
            && self.output_noise.len() == p;
        if !fits || n == 0 || m == 0 || p == 0 {
            return Err(Error::new(
                "matrices of the design model do not belong together",
            ));
        }
        let all = [&self.a, &self.b, &self.e, &self.c, &self.d, &self.f];
        if all.iter().any(|x| x.iter().any(|v| !v.is_finite())) {
            return Err(Error::new(
                "the design model has a number that is not finite",
            ));
        }
        let positive = |what: &str, v: f64| {
            if v > 0.0 && v.is_finite() {
                Ok(())
            } else {
                Err(Error::new(format!(
                    "{what} of the design model is {v}, must be positive"
                )))
            }
        };
        positive("sample period", self.sample_period_s)?;
        positive("wave frequency", self.wave_rad_s)?;
        positive("wave damping", self.wave_damping)?;
        if !(0.0..=1.0).contains(&self.wave_slow_frac) {
            return Err(Error::new(format!(
                "slow share of the waves of the design model is {}, must lie between 0 and 1",
                self.wave_slow_frac
            )));
        }
        for c in &self.channels {
            positive("servo lag", c.lag_s)?;
        }
        for v in &self.output_noise {
            positive("output noise", *v)?;
        }
        if !(self.delay_s >= 0.0 && self.delay_s < 100.0 * self.sample_period_s) {
            return Err(Error::new(format!(
                "delay of the design model is {} s, must lie between 0 and 100 samples",
                self.delay_s
            )));
        }
        Ok(())
    }

    /// Sampled model with servos, waves and delay.
    ///
    /// # Errors
    /// As [`DesignModel::check`].
    pub fn sampled(&self) -> Result<SampledModel> {
        self.check()?;
        let (n, m) = (self.states.len(), self.channels.len());
        let (p, k) = (self.outputs.len(), self.e.ncols());
        let nc = n + m + 2 * k;
        let mut a = DMatrix::zeros(nc, nc);
        let mut b = DMatrix::zeros(nc, m);
        let mut w = DMatrix::zeros(nc, nc);
        a.view_mut((0, 0), (n, n)).copy_from(&self.a);
        a.view_mut((0, n), (n, m)).copy_from(&self.b);
        for (j, ch) in self.channels.iter().enumerate() {
            a[(n + j, n + j)] = -1.0 / ch.lag_s;
            b[(n + j, j)] = 1.0 / ch.lag_s;
        }
        let mut c = DMatrix::zeros(p, nc);
        c.view_mut((0, 0), (p, n)).copy_from(&self.c);
        c.view_mut((0, n), (p, m)).copy_from(&self.d);
        let (om, ze) = (self.wave_rad_s, self.wave_damping);
        for j in 0..k {
            // s1' = s2, s2' = -w^2 s1 - 2 z w s2 + white;  d = 2 z w (r w s1 + sqrt(1-r^2) s2);
            // w s1 and s2 have equal variance and no covariance; unit variance needs intensity 1/(z w)
            let s = n + m + 2 * j;
            a[(s, s + 1)] = 1.0;
            a[(s + 1, s)] = -om * om;
            a[(s + 1, s + 1)] = -2.0 * ze * om;
            w[(s + 1, s + 1)] = 1.0 / (ze * om);
            let slow = 2.0 * ze * om * om * self.wave_slow_frac.sqrt();
            let band = 2.0 * ze * om * (1.0 - self.wave_slow_frac).sqrt();
            for i in 0..n {
                a[(i, s)] = self.e[(i, j)] * slow;
                a[(i, s + 1)] = self.e[(i, j)] * band;
            }
            for i in 0..p {
                c[(i, s)] = self.f[(i, j)] * slow;
                c[(i, s + 1)] = self.f[(i, j)] * band;
            }
        }
        let ee = &self.e * self.e.transpose() * (DOUBT * DOUBT);
        w.view_mut((0, 0), (n, n)).copy_from(&ee);
        let late = self.delay_s / self.sample_period_s;
        let whole = (late + 1e-9).floor();
        let rest = (late - whole).max(0.0);
        let rest_s = if rest < 1e-6 {
            0.0
        } else {
            rest * self.sample_period_s
        };
        let (s, before) = zoh::discretise_late(&a, &b, self.sample_period_s, rest_s);
        let whole = whole as usize;
        let past = whole + usize::from(rest_s > 0.0);
        let total = nc + past * m;
        let mut out = SampledModel {
            a: DMatrix::zeros(total, total),
            b: DMatrix::zeros(total, m),
            c: DMatrix::zeros(p, total),
            wave_noise: DMatrix::zeros(total, total),
            states: self.state_names(k, past),
        };
        out.a.view_mut((0, 0), (nc, nc)).copy_from(&s.ad);
        out.c.view_mut((0, 0), (p, nc)).copy_from(&c);
        let noise = zoh::noise(&a, &w, self.sample_period_s);
        out.wave_noise.view_mut((0, 0), (nc, nc)).copy_from(&noise);
        if whole == 0 {
            out.b.view_mut((0, 0), (nc, m)).copy_from(&s.bd);
        } else {
            out.a
                .view_mut((0, nc + (whole - 1) * m), (nc, m))
                .copy_from(&s.bd);
        }
        if past > whole {
            out.a
                .view_mut((0, nc + whole * m), (nc, m))
                .copy_from(&before);
        }
        for i in 0..past {
            let row = nc + i * m;
            if i == 0 {
                out.b.view_mut((row, 0), (m, m)).fill_with_identity();
            } else {
                out.a.view_mut((row, row - m), (m, m)).fill_with_identity();
            }
        }
        Ok(out)
    }

    fn state_names(&self, disturbances: usize, past: usize) -> Vec<String> {
        let mut names = self.states.clone();
        names.extend(
            self.channels
                .iter()
                .map(|c| format!("servo_{}_rad", c.name)),
        );
        for j in 0..disturbances {
            names.push(format!("wave_{}_slow", j + 1));
            names.push(format!("wave_{}", j + 1));
        }
        for i in 0..past {
            names.extend(
                self.channels
                    .iter()
                    .map(|c| format!("past_{}_{}_rad", i + 1, c.name)),
            );
        }
        names
    }
}
