//! The small linear model that laws are designed on, and its sampled form.
//!
//! # Equation
//! ```text
//! x' = A x + B delta + E d + G white      delta' = (u - delta) / tau          (servo, first order)
//! y  = C x + D delta + F d                u arrives `delay_s` late, held between samples
//! d  = waves                              ([`super::sea`])
//! ```
//! Sampled with the servo, the delay (whole samples as states, the rest exactly) and the wave
//! model in one matrix.
//!
//! # Symbols
//! x: motion about trim, SI, names of [`MOTION_STATES`](crate::control::lqr::MOTION_STATES); delta: surface
//! angles (rad); u: commands (rad); d: wave disturbances, accelerations (m/s2) spread over the craft as
//! their columns of E say; G white: what the model does not know.
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
//! `design::lqr::tests`: `sampled_model_follows_the_continuous_one`, `wave_model_has_its_variance`,
//! `ride_rows_are_those_of_the_motion`

use nalgebra::{DMatrix, Matrix3, Vector3};

use super::sea::WaveModel;
use crate::control::linear::LawSignal;
use crate::error::{Error, Result};
use crate::math::zoh;
use crate::spec::craft::SurfaceGroup;
use crate::units::G_M_S2;

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
    /// n x any: white acceleration that the observer allows for, in units of `wave_level_m_s2`.
    pub doubt: DMatrix<f64>,
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
    pub outputs: Vec<LawSignal>,
    /// Standard deviation of one sample of each output, in its unit: noise, and what the model leaves
    /// out (elevation in the height).
    pub output_noise: Vec<f64>,
    /// The k wave disturbances.
    pub waves: WaveModel,
    /// Standard deviation of the waves as vertical acceleration, m/s2, by which disturbances and doubt are
    /// multiplied; the file's number where none.
    pub wave_level_m_s2: Option<f64>,
    /// Points of the craft at which ride can be weighed.
    pub points: Vec<RidePoint>,
    /// Sample period, s.
    pub sample_period_s: f64,
    /// Time from a reading to the command at the servo, s.
    pub delay_s: f64,
}

/// A point of the craft at which ride can be weighed: rows for vertical velocity, vertical acceleration
/// (down) and lateral acceleration as felt (to starboard, gravity's share included).
#[derive(Clone, Debug, PartialEq)]
pub struct RidePoint {
    /// Name in the craft's file.
    pub name: String,
    /// 3 x n.
    pub c: DMatrix<f64>,
    /// 3 x m, per rad of surface angle.
    pub d: DMatrix<f64>,
    /// 3 x k, per wave disturbance.
    pub f: DMatrix<f64>,
}

/// Rows of a [`RidePoint`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RideRow {
    /// Vertical velocity, m/s.
    VerticalVelocity,
    /// Vertical acceleration, m/s2.
    VerticalAcceleration,
    /// Lateral acceleration as felt, m/s2.
    LateralAcceleration,
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
    /// Covariance that the waves and the model's own doubt add per sample, N x N, at level one.
    pub wave_noise: DMatrix<f64>,
    /// Ride at the points of [`DesignModel::points`], 3 x N each.
    pub ride: Vec<DMatrix<f64>>,
    /// First of the m states that hold the command of the sample before.
    pub last_command: usize,
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
        let doubt = &e * DOUBT;
        let white = elevation_m * (2.0 * ELEVATION_TIME_S / sample_period_s).sqrt();
        Ok(DesignModel {
            speed_m_s: self.speed_m_s,
            a,
            b,
            e,
            doubt,
            c,
            d,
            f,
            states: STANDARD_STATES.map(String::from).to_vec(),
            channels,
            outputs: STANDARD_OUTPUTS.to_vec(),
            // sensor noise of a good unit, tripled for what the model does not know
            output_noise: vec![0.001, 0.001, 0.002, 0.002, 0.06, white.max(0.03)],
            waves: WaveModel::broad(3, 1.0, 0.5, 0.0),
            wave_level_m_s2: None,
            points: Vec::new(),
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
pub const STANDARD_OUTPUTS: [LawSignal; 6] = [
    LawSignal::RollRate,
    LawSignal::PitchRate,
    LawSignal::Roll,
    LawSignal::Pitch,
    LawSignal::VerticalAcceleration,
    LawSignal::HeightHeave,
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

/// The states of the lateral plane that follow [`STANDARD_STATES`]: body velocity along y, yaw rate.
pub const LATERAL_STATES: [&str; 2] = ["v_m_s", "r_rad_s"];

/// Rows of a [`RidePoint`] at `r_m` for a model whose states begin with [`STANDARD_STATES`] and
/// [`LATERAL_STATES`].
pub(crate) fn ride_point(
    name: &str,
    r_m: &Vector3<f64>,
    speed_m_s: f64,
    [a, b, e]: [&DMatrix<f64>; 3],
) -> RidePoint {
    // z'' + y p' - x q';   v' + U r + x r' - z p' - g phi
    let rows = |m: &DMatrix<f64>| {
        let mut out = DMatrix::zeros(3, m.ncols());
        out.set_row(1, &(m.row(3) + m.row(4) * r_m.y - m.row(5) * r_m.x));
        out.set_row(2, &(m.row(6) + m.row(7) * r_m.x - m.row(4) * r_m.z));
        out
    };
    let mut c = rows(a);
    (c[(0, 3)], c[(0, 4)], c[(0, 5)]) = (1.0, r_m.y, -r_m.x);
    c[(2, 7)] += speed_m_s;
    c[(2, 1)] -= G_M_S2;
    RidePoint {
        name: name.to_owned(),
        c,
        d: rows(b),
        f: rows(e),
    }
}

/// Correlation time of the elevation at the height sensors, s (a quarter of a 6 s wave).
pub const ELEVATION_TIME_S: f64 = 1.5;
/// Part of the wave disturbance that the observer allows for as unmodelled white acceleration.
pub(crate) const DOUBT: f64 = 0.1;

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
            && self.doubt.nrows() == n
            && self.waves.c.nrows() == k
            && self.output_noise.len() == p;
        if !fits || n == 0 || m == 0 || p == 0 {
            return Err(Error::new(
                "matrices of the design model do not belong together",
            ));
        }
        let w = &self.waves;
        let all = [
            &self.a,
            &self.b,
            &self.e,
            &self.c,
            &self.d,
            &self.f,
            &self.doubt,
            &w.a,
            &w.c,
        ];
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
        let m = self.channels.len();
        let [a, b, w] = self.continuous();
        let nc = a.nrows();
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
        // the command before is always there: its change has a price
        let past = (whole + usize::from(rest_s > 0.0)).max(1);
        let total = nc + past * m;
        let mut out = SampledModel {
            a: DMatrix::zeros(total, total),
            b: DMatrix::zeros(total, m),
            c: self.rows([&self.c, &self.d, &self.f], total),
            wave_noise: DMatrix::zeros(total, total),
            ride: self
                .points
                .iter()
                .map(|r| self.rows([&r.c, &r.d, &r.f], total))
                .collect(),
            last_command: nc,
            states: self.state_names(past),
        };
        out.a.view_mut((0, 0), (nc, nc)).copy_from(&s.ad);
        let noise = zoh::noise(&a, &w, self.sample_period_s);
        out.wave_noise.view_mut((0, 0), (nc, nc)).copy_from(&noise);
        if whole == 0 {
            out.b.view_mut((0, 0), (nc, m)).copy_from(&s.bd);
        } else {
            out.a
                .view_mut((0, nc + (whole - 1) * m), (nc, m))
                .copy_from(&s.bd);
        }
        if rest_s > 0.0 {
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

    /// Motion, servos and waves in one: state matrix, commands to states, intensity of the noise.
    fn continuous(&self) -> [DMatrix<f64>; 3] {
        let (n, m, k) = (self.states.len(), self.channels.len(), self.waves.a.nrows());
        let nc = n + m + k;
        let mut a = DMatrix::zeros(nc, nc);
        let mut b = DMatrix::zeros(nc, m);
        let mut w = DMatrix::zeros(nc, nc);
        a.view_mut((0, 0), (n, n)).copy_from(&self.a);
        a.view_mut((0, n), (n, m)).copy_from(&self.b);
        a.view_mut((0, n + m), (n, k))
            .copy_from(&(&self.e * &self.waves.c));
        a.view_mut((n + m, n + m), (k, k)).copy_from(&self.waves.a);
        for (j, ch) in self.channels.iter().enumerate() {
            a[(n + j, n + j)] = -1.0 / ch.lag_s;
            b[(n + j, j)] = 1.0 / ch.lag_s;
        }
        w.view_mut((0, 0), (n, n))
            .copy_from(&(&self.doubt * self.doubt.transpose()));
        w.view_mut((n + m, n + m), (k, k))
            .copy_from(&self.waves.noise);
        [a, b, w]
    }

    /// Rows over motion, surface angles and disturbances as rows over the `total` sampled states.
    fn rows(&self, [c, d, f]: [&DMatrix<f64>; 3], total: usize) -> DMatrix<f64> {
        let (n, m) = (self.states.len(), self.channels.len());
        let waves = f * &self.waves.c;
        let mut out = DMatrix::zeros(c.nrows(), total);
        out.columns_mut(0, n).copy_from(c);
        out.columns_mut(n, m).copy_from(d);
        out.columns_mut(n + m, waves.ncols()).copy_from(&waves);
        out
    }

    fn state_names(&self, past: usize) -> Vec<String> {
        let mut names = self.states.clone();
        names.extend(
            self.channels
                .iter()
                .map(|c| format!("servo_{}_rad", c.name)),
        );
        names.extend(self.waves.states.iter().cloned());
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
