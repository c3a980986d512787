//! From the truth to what the law may see.

use nalgebra::Vector6;

use super::case::{Case, Sensing};
use super::truth::Truth;
use crate::control::signal::{self, Measurement};
use crate::dynamics::sensor::{self, SensorSuite};
use crate::math::rng::{Purpose, generator};

/// The sensors of a run; none when the law sees the truth.
#[derive(Debug)]
pub(crate) struct Senses {
    suite: Option<SensorSuite>,
    heights_m: Vec<f64>,
}

/// What the sensors are exposed to at an instant.
pub(crate) struct Exposure<'a> {
    pub(crate) truth: &'a Truth,
    pub(crate) waves: &'a [f64],
    pub(crate) angle_rad: &'a [f64],
    pub(crate) thrust_n: &'a [f64],
}

impl Senses {
    pub(crate) fn new(case: &Case) -> Self {
        let suite = match &case.parts.sensing {
            Sensing::Perfect => None,
            Sensing::Suite {
                craft,
                errors,
                seed,
                case: number,
            } => Some(SensorSuite::build(
                craft,
                case.parts.timing.step_s,
                generator(*seed, *number, Purpose::Sensors, 0),
                *errors,
            )),
        };
        Senses {
            suite,
            heights_m: vec![0.0; case.parts.setup.height_sensors_m.len()],
        }
    }

    /// True when filters and delays have to be carried on at every step.
    pub(crate) fn have_memory(&self) -> bool {
        self.suite.is_some()
    }

    /// Carries filters and delays on between samples.
    pub(crate) fn advance(&mut self, case: &Case, e: &Exposure) {
        self.heights(case, e);
        if let Some(s) = &mut self.suite {
            s.advance(&truth_for(e, &self.heights_m));
        }
    }

    /// Fills `y` at a sample.
    pub(crate) fn read(&mut self, case: &Case, e: &Exposure, y: &mut Measurement) {
        self.heights(case, e);
        let t = e.truth;
        match &mut self.suite {
            None => {
                y.rates_rad_s = t.omega_rad_s;
                y.phi_rad = t.euler_rad.x;
                y.theta_rad = t.euler_rad.y;
                y.specific_force_m_s2 = t.specific_force_m_s2(&case.parts.setup.motion_unit_m);
                y.height_m.copy_from_slice(&self.heights_m);
                y.speed_m_s = t.v_m_s.x;
                y.heading_rad = t.euler_rad.z;
                y.surface_rad.copy_from_slice(e.angle_rad);
            }
            Some(s) => {
                let r = s.sample(&truth_for(e, &self.heights_m));
                y.rates_rad_s = r.rates_rad_s.into();
                [y.phi_rad, y.theta_rad] = r.attitude_rad;
                // the suite counts from rest and upright, the law from free fall
                y.specific_force_m_s2 = r.accelerations_m_s2.into();
                y.specific_force_m_s2.z -= t.g_m_s2;
                y.height_m.copy_from_slice(&r.heights_m);
                y.speed_m_s = r.speed_m_s;
                y.heading_rad = r.heading_rad;
                y.surface_rad.copy_from_slice(&r.surfaces_rad);
            }
        }
        y.truth = Some(signal::Truth {
            heave_m: t.position_m.z,
            heave_rate_m_s: t.position_rate_m_s.z,
            w_m_s: t.v_m_s.z,
            phi_rad: t.euler_rad.x,
            theta_rad: t.euler_rad.y,
            p_rad_s: t.omega_rad_s.x,
            q_rad_s: t.omega_rad_s.y,
        });
    }

    fn heights(&mut self, case: &Case, e: &Exposure) {
        let places = case.parts.setup.height_sensors_m.iter();
        let heights = self.heights_m.iter_mut().zip(places);
        for ((height, r_m), at) in heights.zip(&case.at.heights) {
            *height = -e.truth.depth_m(r_m) - e.waves[*at];
        }
    }
}

fn truth_for<'a>(e: &'a Exposure, heights_m: &'a [f64]) -> sensor::Truth<'a> {
    let t = e.truth;
    let six = |a: &nalgebra::Vector3<f64>, b: &nalgebra::Vector3<f64>| {
        Vector6::new(a.x, a.y, a.z, b.x, b.y, b.z)
    };
    sensor::Truth {
        time_s: t.t_s,
        position_m: t.position_m,
        euler_rad: t.euler_rad,
        nu: six(&t.v_m_s, &t.omega_rad_s),
        nu_dot: six(&t.v_dot_m_s2, &t.omega_dot_rad_s2),
        heights_m,
        speed_m_s: t.v_m_s.x,
        surfaces_rad: e.angle_rad,
        thrust_n: e.thrust_n,
    }
}
