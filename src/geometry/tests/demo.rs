//! The demonstration craft load, build and look like craft of their type.

use std::f64::consts::PI;

use super::super::craft::Craft;
use super::super::integrate::piecewise;
use super::{COASTAL, OFFSHORE, spec_of};

/// Rough natural periods (heave, roll, pitch), s, with deep-water added mass of the hulls,
/// rho pi b² a length in heave and rho pi (h² + half the strut's depth²) in sway.
fn periods(c: &Craft) -> [f64; 3] {
    let (rho, y) = (c.rho_kg_m3, c.hull.centre_y_m);
    let (mut a33, mut a44, mut a55) = (0.0, 0.0, 0.0);
    for (x, w) in piecewise(&c.hull.breakpoints(), 24) {
        let s = c.hull.section_at(x).unwrap();
        let heave = 2.0 * w * rho * PI * s.half_breadth_m.powi(2);
        let sway = 2.0 * w * rho * PI * s.half_height_m.powi(2);
        a33 += heave;
        a55 += heave * x * x;
        a44 += heave * y * y + sway * s.axis_z_m.powi(2);
    }
    let (m, h) = (&c.mass, &c.hydrostatics);
    let i = m.inertia_cg_kg_m2;
    let t = |mass: f64, stiffness: f64| 2.0 * PI * (mass / stiffness).sqrt();
    [
        t(m.mass_kg + a33, h.c[(2, 2)]),
        t(i[(0, 0)] + m.mass_kg * m.cg_m.z.powi(2) + a44, h.c[(3, 3)]),
        t(i[(1, 1)] + a55, h.c[(4, 4)]),
    ]
}

fn table(c: &Craft) -> String {
    let h = &c.hydrostatics;
    let [heave, roll, pitch] = periods(c);
    let u = (9.80665 * h.volume_m3 * h.gm_l_m / (h.hull_volume_m3 * 0.95)).sqrt();
    format!(
        "{}: {:.1} t, V {:.1} m3 (hulls {:.1}), A_w {:.2} m2, CB ({:.3}, {:.3}) m, LCF {:.3} m, GM_T {:.2} m, GM_L {:.2} m, wetted {:.0} m2, periods heave {heave:.2} roll {roll:.2} pitch {pitch:.2} s, bare-hull divergence about {:.1} kn, hull {:.1} m, C33 {:.3e} C44 {:.3e} C55 {:.3e}",
        c.spec.name,
        h.displacement_kg / 1e3,
        h.volume_m3,
        h.hull_volume_m3,
        h.a_w_m2,
        h.cb_m.x,
        h.cb_m.z,
        h.lcf_m,
        h.gm_t_m,
        h.gm_l_m,
        h.wetted_area_m2,
        crate::units::to_kn(u),
        c.hull.length_m(),
        h.c[(2, 2)],
        h.c[(3, 3)],
        h.c[(4, 4)]
    )
}

#[test]
fn demo_craft_are_credible() {
    // common practice for the type: heave 7 to 11 s, pitch 10 to 18 s, roll 10 to 20 s,
    // GM_T 0.7 to 2.5 m, GM_L larger; 25 to 35 m and 200 to 350 t for the small craft
    for (text, lengths, tonnes) in [
        (COASTAL, 25.0..=35.0, 200.0..=350.0),
        (OFFSHORE, 60.0..=80.0, 1000.0..=4000.0),
    ] {
        let craft = Craft::build(&spec_of(text)).unwrap();
        let told = table(&craft);
        println!("{told}");
        let h = &craft.hydrostatics;
        let [heave, roll, pitch] = periods(&craft);
        assert!(craft.spec.note.contains("nvented"));
        assert!(lengths.contains(&craft.hull.length_m()), "{told}");
        assert!(tonnes.contains(&(h.displacement_kg / 1e3)), "{told}");
        assert!((7.0..=11.0).contains(&heave), "{told}");
        assert!((10.0..=20.0).contains(&roll), "{told}");
        assert!((10.0..=18.0).contains(&pitch), "{told}");
        assert!((0.7..=2.5).contains(&h.gm_t_m), "{told}");
        assert!(h.gm_l_m > h.gm_t_m, "{told}");
    }
}
