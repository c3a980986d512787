//! Half-immersed circle: reference ids semi.heave.*, semi.sway.*, semi.RT.*.

use std::f64::consts::{FRAC_PI_2, PI};

use super::shapes::{omega, semicircle, solver};

/// ka; heave a33, b33, |X3|; sway a22, b22, |X2| (semi.heave.ka*, semi.sway.ka*).
const SEMI: [[f64; 7]; 2] = [
    [
        0.05, 1.921953, 2.015251, 1.7791989, 1.0752696, 0.0158449, 0.1577629,
    ],
    [
        0.1, 1.4095049, 1.7350763, 1.6508941, 1.1568186, 0.0639719, 0.3169964,
    ],
];

#[test]
fn semicircle_added_mass_damping_and_force() {
    let s = solver(&semicircle(40.0), 56);
    for [ka, a33, b33, x3, a22, b22, x2] in SEMI {
        let w = omega(ka);
        let flow = s.solve(w, 1.0).unwrap();
        let p = &flow.isolated;
        let f = s.wave_force(p, w, w, FRAC_PI_2, 1.0);
        println!(
            "{ka} {} {} {} {}",
            p.a[1][1] / PI / a33 - 1.0,
            p.b[1][1] / PI / w / b33 - 1.0,
            p.a[0][0] / PI / a22 - 1.0,
            p.b[0][0] / PI / w / b22 - 1.0,
        );
        println!(
            "{} {}",
            (p.radiated[1][0].norm()) / x3 - 1.0,
            p.radiated[0][0].norm() / x2 - 1.0
        );
        println!("{:?}", f);
    }
}
