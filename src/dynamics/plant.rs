//! Sum of all forces: the derivative of the state.
//!
//! # Equation
//! ```text
//! (M + A_inf + m_fins) nu' = F - mu - cross(nu, P),   P = (M + A_inf) nu + pi
//! x' , Euler' from nu ;  memory' = F_m memory + g (nu - U e_x)
//! F = restoring + weight + waves + viscous + surfaces + thrust - resistance + steady + springs + wind
//! ```
//!
//! # Symbols
//! nu body velocities of O; M rigid-body mass; A_inf added mass at infinite frequency; mu and pi the memory's force and
//! momentum; P total momentum. U nominal speed.
//!
//! # Valid when
//! Yaw stays within some 20 deg of the mean course (wave forces follow heading to first order) and speed within some
//! 20 % of the nominal one (memory and wave tables are those of U). With wave forces, which are of first order, the cross
//! terms of the water's momentum among sway, heave, roll and pitch are left out: they are the moving craft's share of the
//! second order without the wave's, and would swing a lightly damped roll by groups of waves. Turns, changes of speed and
//! calm-water plants keep them.
//!
//! # Source
//! Cummins (1962), Schiffstechnik 9; Ogilvie (1964), 5th Symp. Naval Hydrodynamics; Lamb (1932), Hydrodynamics, sections
//! 121 to 124 for the cross terms, which hold the speed terms of Salvesen, Tuck & Faltinsen (1970), SNAME Trans. 78, with
//! pointed ends.
//!
//! # Checked by
//! `tests/physics_limits.rs`, `tests/physics_balance.rs`, `tests/time_vs_frequency.rs`, `linear_model_equals_central_difference`.

use nalgebra::{Matrix6, Vector3, Vector6};
use num_complex::Complex64;

use super::actuator::Actuator;
use super::rigid_body::momentum_cross;
use super::state::StateLayout;
use super::steady::SteadyForces;
use super::surface_force::{self as lift, Inflow};
use crate::frames::{Wrench, body_to_earth, euler_rates, wrench_at};
use crate::geometry::restoring::Restoring;
use crate::hydro::downwash::DownwashLink;
use crate::hydro::memory::MemoryModel;
use crate::hydro::surface::Surface;
use crate::hydro::unsteady;
use crate::hydro::viscous::ViscousModel;
use crate::hydro::wave_force::WaveForceTable;

/// Most surfaces a craft may have: the inflow of each lives on the stack.
pub const MOST_SURFACES: usize = 24;

/// One real-valued signal of the waves that the plant needs at every instant. The simulator turns each into a complex
/// amplitude per wave component and hands over the sums.
#[derive(Clone, Debug, PartialEq)]
pub enum WaveChannel {
    /// First-order wave force (linear viscous part included) in a mode, N or N m.
    Force(usize),
    /// Its derivative with respect to heading mu, per rad, for a craft that yaws off its course.
    ForceSlope(usize),
    /// Orbital velocity at a point of the craft (from O), m/s, along a unit direction (body axes, y to
    /// starboard, z down).
    Orbital {
        /// Where, m from O.
        r_m: Vector3<f64>,
        /// Along what.
        along: Vector3<f64>,
    },
    /// Wave elevation above a point, up positive, m.
    Elevation {
        /// Forward of O, m.
        x_m: f64,
        /// To starboard, m.
        y_m: f64,
    },
}

/// What acts on the plant from outside at an instant.
#[derive(Clone, Copy, Debug)]
pub struct PlantInput<'a> {
    /// Channel sums, in the order of [`Plant::channels`].
    pub waves: &'a [f64],
    /// Commanded angle per surface, rad, held over the step.
    pub command_rad: &'a [f64],
    /// Surface angle at the start of the step, rad: the memory of the backlash.
    pub surface_hold_rad: &'a [f64],
    /// Rate limit per surface, rad/s: the servo's own, or less when a supply is short.
    pub rate_limit_rad_s: &'a [f64],
    /// Commanded thrust per propulsor, N.
    pub thrust_n: &'a [f64],
    /// Wind force and moment, body axes.
    pub wind: Wrench,
}

/// Restoring as linear matrix or as the exact one.
#[derive(Clone, Debug)]
pub enum RestoringModel {
    /// F = -C (z, phi, theta), weight included.
    Linear(Matrix6<f64>),
    /// Buoyancy by immersion, weight and free surfaces.
    Nonlinear(Restoring),
}

/// Everything about the craft in motion at one nominal speed.
#[derive(Clone, Debug)]
pub struct Plant {
    /// Nominal speed, m/s.
    pub speed_m_s: f64,
    /// Water density, kg/m3.
    pub rho_kg_m3: f64,
    /// Gravity, m/s2.
    pub g_m_s2: f64,
    /// Rigid-body mass matrix about O.
    pub mass: Matrix6<f64>,
    /// Memory; without pairs when memory is switched off.
    pub memory: MemoryModel,
    /// Restoring.
    pub restoring: RestoringModel,
    /// Viscous forces, with the linear matrix at the nominal speed.
    pub viscous: ViscousModel,
    /// Linear viscous matrix at the nominal speed, F = -L nu (u / U).
    pub viscous_linear: Matrix6<f64>,
    /// Quadratic drag on or off.
    pub quadratic_drag: bool,
    /// Surfaces and their servos.
    pub surfaces: Vec<Surface>,
    /// Servos, one per surface.
    pub actuators: Vec<Actuator>,
    /// Lag states used.
    pub unsteady_lag: bool,
    /// Depth-dependence of surfaces used, and orbital velocity at them.
    pub orbital_at_surfaces: bool,
    /// Downwash links; `delay_of` gives each one's delay line.
    pub links: Vec<DownwashLink>,
    /// Delay line of each link.
    pub delay_of: Vec<usize>,
    /// Delay lines: surface that feeds it, distance downstream (m).
    pub delays: Vec<(usize, f64)>,
    /// Propulsors.
    pub shafts: Vec<Shaft>,
    /// Resistance, sinkage force, trim moment.
    pub steady: SteadyForces,
    /// Springs and dampers that hold mean course and speed, on surge, sway and yaw.
    pub hold: Option<MeanHold>,
    /// Surge may accelerate.
    pub surge_free: bool,
    /// Wave forces by table.
    pub wave_force: Option<WaveForceTable>,
    pub(crate) momentum_mass: Matrix6<f64>,
    pub(crate) mass_inverse: Matrix6<f64>,
    pub(crate) layout: StateLayout,
    pub(crate) channels: Vec<WaveChannel>,
}

/// What a surface meets at an instant.
pub(super) struct Met {
    pub(super) angle_rad: f64,
    pub(super) flow: Inflow,
    /// Along its n.
    orbital_m_s: f64,
}

/// What a surface does at an instant.
struct Pull {
    /// Axial inflow times lift coefficient: what its wake carries.
    shed_m_s: f64,
    /// Along its n.
    lift_n: f64,
    wrench: Wrench,
    /// What a deflection gives at once, before the lags follow: of the two above per rad.
    shed_m_s_rad: f64,
    lift_n_rad: f64,
}

/// Offsets of the parts of the channel list.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ChannelOffsets {
    pub(crate) surfaces: usize,
    pub(crate) strips: usize,
}

impl ChannelOffsets {
    pub(crate) fn new(surfaces: usize) -> Self {
        ChannelOffsets {
            surfaces: 12,
            strips: 12 + 2 * surfaces,
        }
    }
}

impl Plant {
    /// Works out the channel list, the layout and the inverse mass matrix from the parts. Call
    /// after any public part has been changed.
    #[must_use]
    pub fn finish(mut self) -> Self {
        self.layout = StateLayout::new(
            2 * self.memory.decay.len(),
            self.surfaces.len(),
            self.delays.len(),
            self.shafts.len(),
        );
        self.channels = (0..6).map(WaveChannel::Force).collect();
        self.channels.extend((0..6).map(WaveChannel::ForceSlope));
        for s in &self.surfaces {
            self.channels.push(WaveChannel::Orbital {
                r_m: s.r_m,
                along: s.n,
            });
            self.channels.push(WaveChannel::Elevation {
                x_m: s.r_m.x,
                y_m: s.r_m.y,
            });
        }
        for e in self.viscous.drag_elements() {
            self.channels.push(WaveChannel::Orbital {
                r_m: e.r_m,
                along: e.along,
            });
        }
        self.momentum_mass = self.mass + self.memory.a_inf;
        let mut total = self.momentum_mass;
        for s in &self.surfaces {
            let h = wrench_at(&s.r_m, &s.n);
            total += h * h.transpose() * s.added_mass_kg;
        }
        if !self.surge_free {
            for i in 0..6 {
                total[(0, i)] = 0.0;
                total[(i, 0)] = 0.0;
            }
            total[(0, 0)] = 1.0;
        }
        self.mass_inverse = total.try_inverse().unwrap_or_else(Matrix6::zeros);
        if !self.surge_free {
            self.mass_inverse[(0, 0)] = 0.0;
        }
        self
    }

    /// Order of the state vector.
    pub fn layout(&self) -> &StateLayout {
        &self.layout
    }

    /// Wave signals the plant needs.
    pub fn channels(&self) -> &[WaveChannel] {
        &self.channels
    }

    /// Total mass matrix of the equations of motion (rigid body, added mass, surfaces).
    pub fn mass_inverse(&self) -> &Matrix6<f64> {
        &self.mass_inverse
    }

    /// Surface angle behind the backlash, rad.
    pub fn surface_angle_rad(&self, i: usize, x: &[f64], hold_rad: f64) -> f64 {
        self.actuators[i].surface_angle(x[self.layout.angle(i)], hold_rad)
    }

    /// First-order wave force per unit amplitude for a wave of `omega_rad_s` that travels to
    /// `mu_rad`: table, linear viscous part, and the surfaces' own added mass.
    pub fn wave_force(&self, omega_rad_s: f64, mu_rad: f64) -> [Complex64; 6] {
        let Some(table) = &self.wave_force else {
            return [Complex64::ZERO; 6];
        };
        let mut f = table.at(mu_rad, omega_rad_s);
        let viscous = self.viscous.wave_force(omega_rad_s, mu_rad, self.speed_m_s);
        for (a, b) in f.iter_mut().zip(viscous) {
            *a += b;
        }
        if self.orbital_at_surfaces {
            let omega_e =
                crate::frames::encounter_rad_s(omega_rad_s, self.speed_m_s, mu_rad, self.g_m_s2);
            for s in &self.surfaces {
                let velocity = orbital(omega_rad_s, mu_rad, self.g_m_s2, &s.r_m, &s.n);
                let h = wrench_at(&s.r_m, &s.n);
                for (a, lever) in f.iter_mut().zip(h.iter()) {
                    *a += velocity * Complex64::new(0.0, omega_e) * (s.added_mass_kg * lever);
                }
            }
        }
        f
    }

    /// Complex amplitude of every channel for a wave of unit amplitude.
    pub fn channel_amplitudes(&self, omega_rad_s: f64, mu_rad: f64, out: &mut [Complex64]) {
        let force = self.wave_force(omega_rad_s, mu_rad);
        let step = 1e-4; // rad; the tables are smooth on the scale of degrees
        let (up, down) = (
            self.wave_force(omega_rad_s, mu_rad + step),
            self.wave_force(omega_rad_s, mu_rad - step),
        );
        for (channel, amplitude) in self.channels.iter().zip(out) {
            *amplitude = match channel {
                WaveChannel::Force(j) => force[*j],
                WaveChannel::ForceSlope(j) => (up[*j] - down[*j]) / (2.0 * step),
                WaveChannel::Orbital { r_m, along } => {
                    orbital(omega_rad_s, mu_rad, self.g_m_s2, r_m, along)
                }
                WaveChannel::Elevation { x_m, y_m } => {
                    elevation(omega_rad_s, mu_rad, self.g_m_s2, *x_m, *y_m)
                }
            };
        }
    }

    /// The derivative of the state. No allocation.
    pub fn derivative(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        let l = &self.layout;
        let nu = Vector6::from_column_slice(&x[StateLayout::NU]);
        let (phi, theta, psi) = (x[3], x[4], x[5]);
        let earth = body_to_earth(phi, theta, psi);
        let v = earth * Vector3::new(nu[0], nu[1], nu[2]);
        dx[0] = v.x - self.speed_m_s;
        dx[1] = v.y;
        dx[2] = v.z;
        let rates = euler_rates(&earth, &Vector3::new(nu[3], nu[4], nu[5]));
        dx[3..6].copy_from_slice(rates.as_slice());

        let (rate_force, momentum) = self.memory_step(x, &nu, dx);
        let mut f = -momentum_cross(&nu, &momentum) - rate_force;
        if self.wave_force.is_some() {
            f += self.second_order_cross(&nu, x);
        }
        let down = earth.row(2).transpose();
        f += self.restoring_along(x[2], phi, theta, &down);
        f += self.steady_wrench(x, &nu);
        f += Self::wave_wrench(psi, input.waves);
        f += self.viscous_wrench(&nu, input.waves);
        f += self.surface_wrench(x, &nu, &down, input, dx);
        f += self.thrust_wrench(x);
        self.thrust_rates(x, input, dx);
        f += input.wind;
        let acceleration = self.mass_inverse * f;
        dx[StateLayout::NU].copy_from_slice(acceleration.as_slice());
        debug_assert_eq!(dx.len(), l.len());
    }

    /// Cross terms of the water's momentum with sway, heave, roll and pitch alone, to be given back in waves:
    /// of the forces of second order in the waves they are the part of the moving craft only, without those
    /// of the wave that moves it, and would swing a lightly damped roll at the difference frequencies.
    fn second_order_cross(&self, nu: &Vector6<f64>, x: &[f64]) -> Wrench {
        let fast = Vector6::new(0.0, nu[1], nu[2], nu[3], nu[4], 0.0);
        let memory = self.memory.momentum(&x[self.layout.memory.clone()]);
        momentum_cross(&fast, &(self.memory.a_inf * fast + memory))
    }

    /// Memory derivative into `dx`; returns its force and the whole momentum.
    fn memory_step(&self, x: &[f64], nu: &Vector6<f64>, dx: &mut [f64]) -> (Wrench, Vector6<f64>) {
        let mut momentum = self.momentum_mass * nu;
        let mut force = Wrench::zeros();
        let m = self.layout.memory.clone();
        if !m.is_empty() {
            let mut disturbed = *nu;
            disturbed[0] -= self.speed_m_s;
            let states = &x[m.clone()];
            self.memory.derivative(&disturbed, states, &mut dx[m]);
            force = self.memory.force(states);
            momentum += self.memory.momentum(states);
        }
        (force, momentum)
    }

    pub(crate) fn restoring_wrench(&self, z_m: f64, phi: f64, theta: f64) -> Wrench {
        match &self.restoring {
            RestoringModel::Linear(c) => -c * Vector6::new(0.0, 0.0, z_m, phi, theta, 0.0),
            RestoringModel::Nonlinear(r) => r.net(z_m, phi, theta),
        }
    }

    /// The same when earth's vertical in body axes is known.
    fn restoring_along(&self, z_m: f64, phi: f64, theta: f64, down: &Vector3<f64>) -> Wrench {
        match &self.restoring {
            RestoringModel::Linear(_) => self.restoring_wrench(z_m, phi, theta),
            RestoringModel::Nonlinear(r) => r.net_along(z_m, phi, theta, down),
        }
    }

    /// Resistance, sinkage force, trim moment, and the springs that hold the mean.
    pub(crate) fn steady_wrench(&self, x: &[f64], nu: &Vector6<f64>) -> Wrench {
        let mut f = self.steady.wrench(nu[0]);
        if let Some(hold) = &self.hold {
            let off = Vector6::new(x[0], x[1], 0.0, 0.0, 0.0, x[5]);
            let ahead = nu[0] - self.speed_m_s;
            let aside = nu[1] + self.speed_m_s * x[5];
            let rate = Vector6::new(ahead, aside, 0.0, 0.0, 0.0, nu[5]);
            // surge, sway and yaw only
            for i in [0, 1, 5] {
                f -= hold.spring.column(i) * off[i] + hold.damper.column(i) * rate[i];
            }
        }
        f
    }

    fn wave_wrench(psi: f64, waves: &[f64]) -> Wrench {
        Wrench::from_fn(|i, _| waves[i] - psi * waves[6 + i])
    }

    fn viscous_wrench(&self, nu: &Vector6<f64>, waves: &[f64]) -> Wrench {
        let mut f = Wrench::zeros();
        if self.speed_m_s > 0.0 {
            let mut across = *nu;
            across[0] = 0.0;
            f -= self.viscous_linear * across * (nu[0] / self.speed_m_s);
        }
        if self.quadratic_drag {
            let orbital = &waves[ChannelOffsets::new(self.surfaces.len()).strips..];
            f += self.viscous.drag_wrench(nu, orbital);
        }
        f
    }

    /// Depth of surface `i` below the local water level, m.
    pub(crate) fn surface_depth_m(
        &self,
        i: usize,
        z_m: f64,
        down: &Vector3<f64>,
        level_m: f64,
    ) -> f64 {
        z_m + down.dot(&self.surfaces[i].r_m) + level_m
    }

    fn surface_wrench(
        &self,
        x: &[f64],
        nu: &Vector6<f64>,
        down: &Vector3<f64>,
        input: &PlantInput,
        dx: &mut [f64],
    ) -> Wrench {
        let l = &self.layout;
        let mut shed = [0.0; MOST_SURFACES]; // U C_L of each surface, m/s
        let mut f = Wrench::zeros();
        for (i, shed) in shed[..self.surfaces.len()].iter_mut().enumerate() {
            let met = self.meet(i, x, nu, down, input);
            self.lag_rates(i, x, &met, dx);
            let pull = self.surface_pull(i, x, &met);
            *shed = pull.shed_m_s;
            f += pull.wrench;
        }
        self.servo_rates(x, input, dx);
        for (j, (from, distance_m)) in self.delays.iter().enumerate() {
            let d = l.delay(j);
            let rate = nu[0].max(lift::LEAST_INFLOW_M_S) / distance_m;
            lift::delay_derivative(&x[d..d + 4], shed[*from], rate, &mut dx[d..d + 4]);
        }
        f
    }

    /// What surface `i` meets: its deflection, the inflow and the water's orbital velocity along its n.
    pub(super) fn meet(
        &self,
        i: usize,
        x: &[f64],
        nu: &Vector6<f64>,
        down: &Vector3<f64>,
        input: &PlantInput,
    ) -> Met {
        let angle_rad = self.surface_angle_rad(i, x, input.surface_hold_rad[i]);
        let off = ChannelOffsets::new(self.surfaces.len()).surfaces + 2 * i;
        let depth = self.surface_depth_m(i, x[2], down, input.waves[off + 1]);
        Met {
            angle_rad,
            flow: lift::inflow(&self.surfaces[i], nu, angle_rad, depth),
            orbital_m_s: if self.orbital_at_surfaces {
                input.waves[off]
            } else {
                0.0
            },
        }
    }

    /// What surface `i` does in that inflow, its lags and delay lines standing in `x`.
    fn surface_pull(&self, i: usize, x: &[f64], met: &Met) -> Pull {
        let s = &self.surfaces[i];
        let flow = &met.flow;
        let total = self.lagged_inflow(i, x, met) + self.downwash(i, x, flow);
        let near = s.depth_factor(flow.depth_m);
        let (cl, cd) = lift::coefficients(s, flow, total, met.angle_rad, near);
        let force = lift::force(s, flow, cl, cd, self.rho_kg_m3);
        let at_once = if self.unsteady_lag {
            unsteady::AT_ONCE
        } else {
            1.0
        };
        let shed_m_s_rad = at_once * near * s.slope_deflection * flow.axial_m_s;
        Pull {
            shed_m_s: cl * flow.axial_m_s,
            lift_n: force.dot(&s.n),
            wrench: wrench_at(&s.r_m, &force),
            shed_m_s_rad,
            lift_n_rad: 0.5 * self.rho_kg_m3 * flow.axial_m_s * s.area_m2 * shed_m_s_rad,
        }
    }

    /// Derivatives of the lag states of surface `i`.
    fn lag_rates(&self, i: usize, x: &[f64], met: &Met, dx: &mut [f64]) {
        let k = self.layout.lag(i);
        if !self.unsteady_lag {
            dx[k..k + 4].fill(0.0);
            return;
        }
        let semichord = 0.5 * self.surfaces[i].mac_m;
        let (motion, gust) = ([x[k], x[k + 1]], [x[k + 2], x[k + 3]]);
        let u = met.flow.axial_m_s;
        let rates = unsteady::wagner_rates(met.flow.normal_m_s, motion, u, semichord);
        dx[k..k + 2].copy_from_slice(&rates);
        let rates = unsteady::kussner_rates(met.orbital_m_s, gust, u, semichord);
        dx[k + 2..k + 4].copy_from_slice(&rates);
    }

    /// Normal inflow behind the lags, m/s.
    pub(super) fn lagged_inflow(&self, i: usize, x: &[f64], met: &Met) -> f64 {
        let normal_m_s = met.flow.normal_m_s;
        if !self.unsteady_lag {
            return normal_m_s + met.orbital_m_s;
        }
        let k = self.layout.lag(i);
        let (motion, gust) = ([x[k], x[k + 1]], [x[k + 2], x[k + 3]]);
        unsteady::wagner_angle_rad(normal_m_s, motion) + unsteady::kussner_angle_rad(gust)
    }

    /// Lift of every surface along its n, N.
    pub fn lift_n(&self, x: &[f64], input: &PlantInput, out: &mut [f64]) {
        let nu = Vector6::from_column_slice(&x[StateLayout::NU]);
        let down = body_to_earth(x[3], x[4], x[5]).row(2).transpose();
        for (i, lift_n) in out.iter_mut().enumerate() {
            let met = self.meet(i, x, &nu, &down, input);
            *lift_n = self.surface_pull(i, x, &met).lift_n;
        }
    }

    /// Rows of the derivative that answer to commands: servos and thrust.
    pub fn command_rows(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        self.servo_rates(x, input, dx);
        self.thrust_rates(x, input, dx);
    }

    fn servo_rates(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        for (i, servo) in self.actuators.iter().enumerate() {
            let (a, r) = (self.layout.angle(i), self.layout.rate(i));
            dx[a] = x[r];
            dx[r] = servo.acceleration(input.command_rad[i], x[a], x[r], input.rate_limit_rad_s[i]);
        }
    }

    /// Normal inflow lost (negative) to the downwash of surfaces upstream, m/s.
    pub(super) fn downwash(&self, i: usize, x: &[f64], flow: &Inflow) -> f64 {
        if flow.axial_m_s <= 0.0 {
            return 0.0;
        }
        let mut lost = 0.0;
        for (link, line) in self.links.iter().zip(&self.delay_of) {
            if link.to == i {
                let d = self.layout.delay(*line);
                lost += link.angle_per_lift_coefficient * lift::delay_output(&x[d..d + 4]);
            }
        }
        -lost
    }

    fn thrust_rates(&self, x: &[f64], input: &PlantInput, dx: &mut [f64]) {
        for (i, shaft) in self.shafts.iter().enumerate() {
            let k = self.layout.thrust.start + i;
            dx[k] = (input.thrust_n[i] - x[k]) / shaft.time_constant_s;
        }
    }

    fn thrust_wrench(&self, x: &[f64]) -> Wrench {
        let thrust = &x[self.layout.thrust.clone()];
        self.shafts
            .iter()
            .zip(thrust)
            .fold(Wrench::zeros(), |f, (shaft, t)| {
                f + wrench_at(&shaft.r_m, &(Vector3::x() * *t))
            })
    }
}

pub mod march;
mod parts;
mod water;
pub use parts::{MeanHold, Shaft};
pub use water::{elevation, orbital};
#[cfg(test)]
mod tests;
