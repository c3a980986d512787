//! Downwash against closed forms and limits.

use super::*;
use crate::hydro::surface::tests::demo_surfaces;

#[test]
fn kernel_meets_horseshoe_reference() {
    // references/D horseshoe.S: A = 3, b = 3, CL = 0.4, x = 8
    let (b, area, cl) = (3.0, 3.0, 0.4);
    let span = PI * b / 4.0;
    let h = Horseshoe {
        a: Vector3::new(0.0, -0.5 * span, 0.0),
        b: Vector3::new(0.0, 0.5 * span, 0.0),
        core_m: 0.0,
    };
    let gamma = cl * area / (2.0 * span); // over U
    let w = h.velocity(&Vector3::new(-8.0, 0.0, 0.0)).z * gamma; // down positive
    assert!((w / 0.069174292 - 1.0).abs() < 1e-6, "{w}"); // suggested tolerance
}

#[test]
fn elliptic_trail_meets_prandtl() {
    // references/D downwash.S: elliptic loading, CL = 0.4, A = 3: 0.042441318 at the foil,
    // 0.084882636 far behind, here from many nested horseshoes
    let (b, cl, n) = (3.0, 0.4, 4000);
    let gamma0 = 2.0 * cl * (b * b / 3.0) / (PI * b);
    let load = |t: f64| gamma0 * (1.0 - t * t).max(0.0).sqrt();
    let (mut at, mut far) = (0.0, 0.0);
    for i in 0..n {
        // cosine spacing of the trailing vortices; each horseshoe carries a step of the load
        let edge = |i: usize| (0.5 * PI * i as f64 / n as f64).sin();
        let mid = 0.5 * (edge(i) + edge(i + 1));
        let step = load(edge(i)) - load(edge(i + 1));
        let h = Horseshoe {
            a: Vector3::new(0.0, -0.5 * b * mid, 0.0),
            b: Vector3::new(0.0, 0.5 * b * mid, 0.0),
            core_m: 0.0,
        };
        let p = Vector3::zeros();
        at += step * (h.trail(&h.b, &p) - h.trail(&h.a, &p)).z;
        far += step * h.velocity(&Vector3::new(-3000.0, 0.0, 0.0)).z;
    }
    assert!((at / 0.042441318 - 1.0).abs() < 2e-3, "{at}"); // spacing 1/n near mid-span
    assert!((far / 0.084882636 - 1.0).abs() < 2e-3, "{far}");
}

#[test]
fn port_and_starboard_mirror() {
    let s = demo_surfaces(&FinEffectsSpec::default());
    let l = links(&s, &FinEffectsSpec::default());
    let find = |f, t| {
        l.iter()
            .find(|x| x.from == f && x.to == t)
            .map_or(0.0, |x| x.angle_per_lift_coefficient)
    };
    assert!((find(0, 2) - find(1, 3)).abs() < 1e-12);
    assert!((find(0, 3) - find(1, 2)).abs() < 1e-12);
    assert!(find(0, 2) > 0.0);
    assert!(l.iter().all(|x| s[x.from].r_m.x > s[x.to].r_m.x));
}

#[test]
fn takes_a_fifth_to_a_third_of_the_aft_fin() {
    let effects = FinEffectsSpec::default();
    let s = demo_surfaces(&effects);
    let share = |l: &[DownwashLink]| {
        l.iter()
            .filter(|x| x.to == 3)
            .map(|x| x.angle_per_lift_coefficient * s[x.from].slope_incidence)
            .sum::<f64>()
    };
    let all = share(&links(&s, &effects));
    assert!((0.2..0.3334).contains(&all), "{all}"); // design.md 4.5: a fifth to a third
    let dry = FinEffectsSpec {
        free_surface: false,
        ..effects
    };
    let without = share(&links(&s, &dry));
    assert!(
        without < all,
        "the surface's image adds downwash: {without} {all}"
    );
    assert!(
        links(
            &s,
            &FinEffectsSpec {
                downwash: false,
                ..effects
            }
        )
        .is_empty()
    );
}

#[test]
fn free_tips_shed_a_plain_horseshoe() {
    let s = demo_surfaces(&FinEffectsSpec::default());
    let (h, strength) = vortex_of(&s[4], 0.0); // rudder without body
    let span = (h.b - h.a).norm();
    assert!((span - PI / 4.0 * s[4].span_m).abs() < 1e-12);
    assert!((strength - s[4].area_m2 / (2.0 * span)).abs() < 1e-12);
}

#[test]
fn hull_image_keeps_the_water_out() {
    // no flow through the hull in the cross-plane far behind: normal velocity on the circle
    let mut f = demo_surfaces(&FinEffectsSpec::default()).swap_remove(1);
    f.sweep_rad = 0.0;
    let (mut h, _) = vortex_of(&f, f.body_radius_m);
    h.core_m = 0.0;
    let axis = f.root_m - f.span_direction * f.body_radius_m;
    for i in 0..24 {
        let a = 0.1 + f64::from(i) * PI / 12.0;
        let out = Vector3::new(0.0, a.cos(), a.sin());
        let mut p = axis + out * f.body_radius_m;
        p.x = -4000.0;
        let v = h.velocity(&p);
        // bound vortex at 4 km: 1e-7
        assert!(v.dot(&out).abs() < 1e-6, "{i} {v}");
    }
}

#[test]
fn vortex_closes_in_on_a_tapering_hull() {
    let f = &demo_surfaces(&FinEffectsSpec::default())[1];
    let (r, near) = (f.body_radius_m, 0.6);
    let (wide, _) = vortex_of(f, r);
    let (narrow, _) = vortex_of(f, near);
    let axis = f.root_m - f.span_direction * r;
    let from_axis = |h: &Horseshoe| {
        let y = |p: &Vector3<f64>| (p - axis).dot(&f.span_direction);
        y(&h.a).max(y(&h.b))
    };
    let (a, b) = (from_axis(&wide), from_axis(&narrow));
    assert!(
        (a * a - r * r - (b * b - near * near)).abs() < 1e-12,
        "flow between is kept"
    );
}
