//! The linear model, assembled analytically.
//!
//! # Equation
//! ```text
//! dx' = A dx + B_c command + B_t thrust + B_w waves      about an equilibrium x0
//! ```
//!
//! # Symbols
//! x in the order of [`crate::dynamics::state`]; waves in the order of the plant's channels;
//! command in surface angles (rad), thrust in N.
//!
//! # Valid when
//! Motions are small about the equilibrium, servos within their limits; dead band and backlash
//! count as zero. Quadratic drag enters by its slope at the equilibrium, or by the equivalent
//! matrix handed over. Restoring and lift curves enter by the slope of their own tables.
//!
//! # Source
//! Linearisation of [`crate::dynamics::plant`]; no other source is needed.
//!
//! # Checked by
//! `linear_model_equals_central_difference` (tests/linear_model.rs).

use nalgebra::{DMatrix, DVector, Matrix6, Vector3, Vector6};

use crate::dynamics::plant::{ChannelOffsets, Plant};
use crate::dynamics::rigid_body::{momentum_cross_by_momentum, momentum_cross_by_velocity};
use crate::dynamics::state::{DELAY_ORDER, StateLayout};
use crate::dynamics::surface_force as lift;
use crate::frames::{body_to_earth, skew, wrench_at};
use crate::hydro::unsteady;

/// A linear model about an equilibrium.
#[derive(Clone, Debug)]
pub struct LinearModel {
    /// Nominal speed, m/s.
    pub speed_m_s: f64,
    /// Equilibrium.
    pub x0: Vec<f64>,
    /// Layout of the state.
    pub layout: StateLayout,
    /// State matrix, n by n.
    pub a: DMatrix<f64>,
    /// Waves to states, n by channels.
    pub b_waves: DMatrix<f64>,
    /// Surface commands (rad) to states.
    pub b_command: DMatrix<f64>,
    /// Thrust commands (N) to states.
    pub b_thrust: DMatrix<f64>,
}

/// Where each kind of independent variable sits in a gradient row.
struct Columns {
    states: usize,
    waves: usize,
    command: usize,
    thrust: usize,
    all: usize,
}

/// Gradient of a scalar with respect to states, waves, commands and thrust.
type Gradient = DVector<f64>;

/// Builds the linear model of `plant` about `x0`. `drag` is an equivalent linear matrix of the
/// quadratic drag (F = -drag nu); without it the slope at the equilibrium is used.
pub fn assemble(plant: &Plant, x0: &[f64], drag: Option<&Matrix6<f64>>) -> LinearModel {
    Assembly::new(plant, x0).run(drag)
}

struct Assembly<'a> {
    plant: &'a Plant,
    x0: &'a [f64],
    nu: Vector6<f64>,
    columns: Columns,
    /// Rows: derivative of each state.
    rows: DMatrix<f64>,
    /// Rows: force in each mode.
    force: DMatrix<f64>,
}

impl<'a> Assembly<'a> {
    fn new(plant: &'a Plant, x0: &'a [f64]) -> Self {
        let n = plant.layout().len();
        let waves = n;
        let command = waves + plant.channels().len();
        let thrust = command + plant.surfaces.len();
        let all = thrust + plant.shafts.len();
        Assembly {
            plant,
            x0,
            nu: Vector6::from_column_slice(&x0[StateLayout::NU]),
            columns: Columns {
                states: n,
                waves,
                command,
                thrust,
                all,
            },
            rows: DMatrix::zeros(n, all),
            force: DMatrix::zeros(6, all),
        }
    }

    fn run(mut self, drag: Option<&Matrix6<f64>>) -> LinearModel {
        self.kinematics();
        self.memory_and_momentum();
        self.restoring_and_steady();
        self.waves();
        self.viscous(drag);
        self.surfaces();
        self.thrust();
        let acceleration = self.plant.mass_inverse() * &self.force;
        self.rows
            .rows_mut(StateLayout::NU.start, 6)
            .copy_from(&acceleration);
        let c = &self.columns;
        let part = |from: usize, to: usize| self.rows.columns(from, to - from).into_owned();
        LinearModel {
            speed_m_s: self.plant.speed_m_s,
            x0: self.x0.to_vec(),
            layout: self.plant.layout().clone(),
            a: part(0, c.states),
            b_waves: part(c.waves, c.command),
            b_command: part(c.command, c.thrust),
            b_thrust: part(c.thrust, c.all),
        }
    }

    fn zero(&self) -> Gradient {
        DVector::zeros(self.columns.all)
    }

    fn kinematics(&mut self) {
        let (phi, theta, psi) = (self.x0[3], self.x0[4], self.x0[5]);
        let r = body_to_earth(phi, theta, psi);
        let v = Vector3::new(self.nu[0], self.nu[1], self.nu[2]);
        let pitch_axis = Vector3::new(-psi.sin(), psi.cos(), 0.0);
        let by_angle = [
            r * Vector3::x().cross(&v),
            skew(&pitch_axis) * r * v,
            skew(&Vector3::z()) * r * v,
        ];
        for (i, column) in by_angle.iter().enumerate() {
            self.rows.view_mut((0, 3 + i), (3, 1)).copy_from(column);
        }
        self.rows.view_mut((0, 6), (3, 3)).copy_from(&r);
        // body rates vanish at the equilibrium, so only the rates themselves enter
        let (sf, cf) = phi.sin_cos();
        let (t, c) = (theta.tan(), theta.cos());
        let rates = [[1.0, sf * t, cf * t], [0.0, cf, -sf], [0.0, sf / c, cf / c]];
        for (i, row) in rates.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                self.rows[(3 + i, 9 + j)] = *value;
            }
        }
    }

    fn memory_and_momentum(&mut self) {
        let plant = self.plant;
        let m = plant.layout().memory.clone();
        let by_momentum = momentum_cross_by_momentum(&self.nu);
        let mut momentum = plant.momentum_mass * self.nu;
        if !m.is_empty() {
            momentum += plant.memory.momentum(&self.x0[m.clone()]);
            for k in 0..m.len() / 2 {
                let (s, w) = (plant.memory.decay[k], plant.memory.frequency[k]);
                let i = m.start + 2 * k;
                self.rows[(i, i)] = -s;
                self.rows[(i, i + 1)] = -w;
                self.rows[(i + 1, i)] = w;
                self.rows[(i + 1, i + 1)] = -s;
            }
            self.rows
                .view_mut((m.start, 6), (m.len(), 6))
                .copy_from(&plant.memory.g);
            let output = &plant.memory.c + by_momentum * &plant.memory.d;
            let mut columns = self.force.view_mut((0, m.start), (6, m.len()));
            columns -= output;
        }
        let cross = momentum_cross_by_velocity(&momentum) + by_momentum * plant.momentum_mass;
        let mut nu = self.force.view_mut((0, 6), (6, 6));
        nu -= cross;
    }

    fn restoring_and_steady(&mut self) {
        // slope of the immersion tables over a few of their cells
        let steps = [(2, 0.02), (3, 0.002), (4, 0.002)];
        let at = |d: [f64; 3]| {
            self.plant
                .restoring_wrench(self.x0[2] + d[0], self.x0[3] + d[1], self.x0[4] + d[2])
        };
        let mut slopes = Vec::new();
        for (column, h) in steps {
            let mut d = [0.0; 3];
            d[column - 2] = h;
            let up = at(d);
            d[column - 2] = -h;
            slopes.push((column, (up - at(d)) / (2.0 * h)));
        }
        for (column, slope) in slopes {
            let mut c = self.force.column_mut(column);
            c += slope;
        }
        let slope = self.plant.steady.slope(self.nu[0]);
        let mut c = self.force.column_mut(6);
        c += slope;
        if let Some(hold) = &self.plant.hold {
            for j in [0, 1, 5] {
                let mut position = self.force.column_mut(j);
                position -= hold.spring.column(j);
                let mut velocity = self.force.column_mut(6 + j);
                velocity -= hold.damper.column(j);
            }
            let mut heading = self.force.column_mut(5);
            heading -= hold.damper.column(1) * self.plant.speed_m_s;
        }
    }

    fn waves(&mut self) {
        let w = self.columns.waves;
        for j in 0..6 {
            self.force[(j, w + j)] += 1.0;
        }
    }

    fn viscous(&mut self, drag: Option<&Matrix6<f64>>) {
        let plant = self.plant;
        if plant.speed_m_s > 0.0 {
            let mut across = self.nu;
            across[0] = 0.0;
            let scale = self.nu[0] / plant.speed_m_s;
            for j in 1..6 {
                let mut c = self.force.column_mut(6 + j);
                c -= plant.viscous_linear.column(j) * scale;
            }
            let mut c = self.force.column_mut(6);
            c -= plant.viscous_linear * across / plant.speed_m_s;
        }
        if !plant.quadratic_drag {
            return;
        }
        let slope = drag.map_or_else(|| self.drag_slope(), |d| -d);
        let mut nu = self.force.view_mut((0, 6), (6, 6));
        nu += slope;
    }

    /// Slope of the quadratic drag at the equilibrium (zero at rest across the flow).
    fn drag_slope(&self) -> Matrix6<f64> {
        let calm = vec![0.0; self.plant.viscous.drag_elements().len()];
        let at = |nu: &Vector6<f64>| self.plant.viscous.drag_wrench(nu, &calm);
        let h = 1e-6; // the drag is quadratic: only rounding limits the step
        let mut d = Matrix6::zeros();
        for j in 0..6 {
            let mut up = self.nu;
            let mut down = self.nu;
            up[j] += h;
            down[j] -= h;
            d.set_column(j, &((at(&up) - at(&down)) / (2.0 * h)));
        }
        d
    }

    fn surfaces(&mut self) {
        let plant = self.plant;
        let mut shed = Vec::new();
        for i in 0..plant.surfaces.len() {
            shed.push(self.surface(i));
            self.servo(i);
        }
        let (a, b, _) = lift::delay_matrices();
        for (j, (from, distance_m)) in plant.delays.iter().enumerate() {
            let d = plant.layout().delay(j);
            let rate = self.nu[0].max(lift::LEAST_INFLOW_M_S) / distance_m;
            for r in 0..DELAY_ORDER {
                for (c, value) in a[r].iter().enumerate() {
                    self.rows[(d + r, d + c)] += rate * value;
                }
                let mut row = self.rows.row_mut(d + r);
                row += shed[*from].transpose() * (rate * b[r]);
            }
        }
    }

    fn servo(&mut self, i: usize) {
        let l = self.plant.layout();
        let (a, r) = (l.angle(i), l.rate(i));
        let servo = &self.plant.actuators[i];
        let (wn, zeta) = (servo.natural_frequency_rad_s, servo.damping_ratio);
        self.rows[(a, r)] = 1.0;
        self.rows[(r, a)] = -wn * wn;
        self.rows[(r, r)] = -2.0 * zeta * wn;
        self.rows[(r, self.columns.command + i)] = wn * wn;
    }

    /// Adds surface `i` to forces and lag rows; returns the gradient of its shed U C_L.
    fn surface(&mut self, i: usize) -> Gradient {
        let plant = self.plant;
        let (s, l) = (&plant.surfaces[i], plant.layout());
        let wave = self.columns.waves + ChannelOffsets::new(plant.surfaces.len()).surfaces + 2 * i;
        let (phi, theta) = (self.x0[3], self.x0[4]);
        let down = body_to_earth(phi, theta, 0.0).row(2).transpose();
        let angle = self.x0[l.angle(i)];
        let depth = plant.surface_depth_m(i, self.x0[2], &down, 0.0);
        let flow = lift::inflow(s, &self.nu, angle, depth);
        let u = flow.axial_m_s;
        if u <= 0.0 {
            return self.zero();
        }
        let kappa = lift::kappa(s);
        let h = wrench_at(&s.r_m, &s.n);

        let mut d_axial = self.zero();
        d_axial[6] = 1.0;
        d_axial[10] = s.r_m.z;
        d_axial[11] = -s.r_m.y;
        let mut d_normal = &d_axial * (s.incidence_rad + kappa * angle);
        for j in 0..6 {
            d_normal[6 + j] -= h[j];
        }
        d_normal[l.angle(i)] += kappa * u;
        let mut d_depth = self.zero();
        d_depth[2] = 1.0;
        let (sf, cf) = phi.sin_cos();
        let (st, ct) = theta.sin_cos();
        d_depth[3] = ct * (cf * s.r_m.y - sf * s.r_m.z);
        d_depth[4] = -ct * s.r_m.x - st * (sf * s.r_m.y + cf * s.r_m.z);
        d_depth[wave + 1] = 1.0;

        let (total, d_total) = self.lagged(i, &flow, &d_normal, wave);
        let d_alpha = {
            let mut g = &d_total / u - &d_axial * (total / (u * u));
            g[l.angle(i)] -= kappa;
            g
        };
        let alpha = total / u - kappa * angle;
        let (cl, d_cl, cd, d_cd) =
            self.coefficient_slopes(i, alpha, angle, depth, &d_alpha, &d_depth);
        let half = 0.5 * plant.rho_kg_m3 * s.area_m2;
        let d_lift = &d_axial * (half * 2.0 * u * cl) + &d_cl * (half * u * u);
        let d_drag = &d_axial * (half * 2.0 * u * cd) + &d_cd * (half * u * u);
        let along = wrench_at(&s.r_m, &Vector3::x());
        self.force += h * d_lift.transpose() - along * d_drag.transpose();
        &d_cl * u + &d_axial * cl
    }

    /// Normal inflow behind lags and downwash with its gradient; fills the lag rows.
    fn lagged(
        &mut self,
        i: usize,
        flow: &lift::Inflow,
        d_normal: &Gradient,
        wave: usize,
    ) -> (f64, Gradient) {
        let plant = self.plant;
        let l = plant.layout();
        let k = l.lag(i);
        let mut total = flow.normal_m_s;
        let mut d_total = d_normal.clone();
        let rate = flow.axial_m_s / (0.5 * plant.surfaces[i].mac_m);
        if plant.unsteady_lag {
            d_total *= unsteady::AT_ONCE;
            total = unsteady::wagner_angle_rad(flow.normal_m_s, [self.x0[k], self.x0[k + 1]]);
            for j in 0..2 {
                let [a, b] = unsteady::WAGNER[j];
                d_total[k + j] += 1.0;
                let mut row = self.rows.row_mut(k + j);
                row += d_normal.transpose() * (rate * a * b);
                row[k + j] -= rate * b;
                let [a, b] = unsteady::KUSSNER[j];
                d_total[k + 2 + j] += 1.0;
                self.rows[(k + 2 + j, k + 2 + j)] = -rate * b;
                if plant.orbital_at_surfaces {
                    self.rows[(k + 2 + j, wave)] = rate * a * b;
                }
            }
        } else if plant.orbital_at_surfaces {
            d_total[wave] += 1.0;
        }
        let (_, _, output) = lift::delay_matrices();
        for (link, line) in plant.links.iter().zip(&plant.delay_of) {
            if link.to == i {
                let d = l.delay(*line);
                total -= link.angle_per_lift_coefficient
                    * lift::delay_output(&self.x0[d..d + DELAY_ORDER]);
                for (j, value) in output.iter().enumerate() {
                    d_total[d + j] -= link.angle_per_lift_coefficient * value;
                }
            }
        }
        (total, d_total)
    }

    /// Lift (with depth) and drag coefficients and their gradients, by the slopes of their curves.
    fn coefficient_slopes(
        &self,
        i: usize,
        alpha: f64,
        angle: f64,
        depth: f64,
        d_alpha: &Gradient,
        d_depth: &Gradient,
    ) -> (f64, Gradient, f64, Gradient) {
        let s = &self.plant.surfaces[i];
        let h = 1e-5; // rad and m: smooth curves, truncation and rounding both near 1e-10
        let slope = |f: &dyn Fn(f64) -> f64| (f(h) - f(-h)) / (2.0 * h);
        let eta = s.depth_factor(depth);
        let column = self.plant.layout().angle(i);
        let mut d_cl = d_alpha * (eta * slope(&|e| s.lift_coefficient(alpha + e, angle)));
        d_cl[column] += eta * slope(&|e| s.lift_coefficient(alpha, angle + e));
        let cl = s.lift_coefficient(alpha, angle);
        d_cl += d_depth * (cl * slope(&|e| s.depth_factor(depth + e)));
        let mut d_cd = d_alpha * slope(&|e| s.drag_coefficient(alpha + e, angle));
        d_cd[column] += slope(&|e| s.drag_coefficient(alpha, angle + e));
        (cl * eta, d_cl, s.drag_coefficient(alpha, angle), d_cd)
    }

    fn thrust(&mut self) {
        let start = self.plant.layout().thrust.start;
        for (i, shaft) in self.plant.shafts.iter().enumerate() {
            let k = start + i;
            self.rows[(k, k)] = -1.0 / shaft.time_constant_s;
            self.rows[(k, self.columns.thrust + i)] = 1.0 / shaft.time_constant_s;
            let mut c = self.force.column_mut(k);
            c += wrench_at(&shaft.r_m, &Vector3::x());
        }
    }
}
