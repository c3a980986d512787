//! The wave motion that the surfaces meet is that of the sea.

use nalgebra::Vector3;

use super::{elevation, orbital};
use crate::sea::kinematics;
use crate::sea::realisation::Component;
use crate::units::{G_M_S2, deg};

/// Second method: the sea's own complex amplitudes, made from a component instead of a channel.
#[test]
fn waves_at_the_surfaces_are_those_of_the_sea() {
    for mu_deg in [0.0, 40.0, 90.0, 180.0, 250.0] {
        let c = Component {
            omega_rad_s: 0.9,
            mu_rad: deg(mu_deg),
            amplitude_m: 1.0,
            phase_rad: 0.0,
        };
        // in the water, and above it where the surface's value is kept
        for r_m in [Vector3::new(11.0, -7.0, 2.5), Vector3::new(-9.0, 6.0, -1.0)] {
            let sea = kinematics::orbital(&c, r_m.x, r_m.y, r_m.z, 1025.0);
            let up = elevation(c.omega_rad_s, c.mu_rad, G_M_S2, r_m.x, r_m.y);
            assert!((up - sea.elevation_m).norm() < 1e-12, "{mu_deg} deg: {up}");
            for (axis, want) in sea.velocity_m_s.into_iter().enumerate() {
                let mut along = Vector3::zeros();
                along[axis] = 1.0;
                let got = orbital(c.omega_rad_s, c.mu_rad, G_M_S2, &r_m, &along);
                assert!(
                    (got - want).norm() < 1e-12,
                    "{mu_deg} deg, axis {axis}: {got}"
                );
            }
        }
    }
}
