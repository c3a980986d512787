mod common;
use common::*;
use ridewright::linear::*;
use ridewright::spec::scenario::*;
use ridewright::units::*;
#[test]
fn look() {
    for f in [
        "scenarios/craft/coastal_survey.json",
        "scenarios/craft/offshore_survey.json",
    ] {
        let t = std::time::Instant::now();
        let spec = read(f);
        let m =
            ridewright::dynamics::model::CraftModel::build(&spec, &PhysicsSpec::default(), None)
                .unwrap();
        println!("build {:?}", t.elapsed());
        let h = &m.craft.hydrostatics;
        println!(
            "{} V {:.1} Aw {:.2} GMt {:.2} GMl {:.2} lcf {:.2} lcb {:.2} C33 {:.0} C35 {:.0} C44 {:.3e} C55 {:.3e}",
            spec.name,
            h.volume_m3,
            h.a_w_m2,
            h.gm_t_m,
            h.gm_l_m,
            h.lcf_m,
            h.cb_m.x,
            h.c[(2, 2)],
            h.c[(2, 4)],
            h.c[(3, 3)],
            h.c[(4, 4)]
        );
        println!(
            "natural periods {:?}",
            m.hydro
                .natural_rad_s
                .iter()
                .map(|w| 6.2832 / w)
                .collect::<Vec<_>>()
        );
        println!("warnings {:?}", m.warnings);
        let t = std::time::Instant::now();
        let s = stability::against_speed(&m, &[0.0, 4.0, 8.0, 12.0, 16.0, 20.0]).unwrap();
        println!("stability {:?}", t.elapsed());
        println!(
            "divergence {:?} bare {:?} a33(0) {:.0} vs mass {:.0}",
            s.divergence_kn, s.divergence_bare_kn, s.zero_frequency_a33_kg, m.craft.mass.mass_kg
        );
        for r in &s.rows {
            if let Some(t) = &r.trim {
                println!(
                    "{} kn z {:.3} th {:.2} fwd {:.2} aft {:.2} limited {} thrust {:.0}",
                    r.speed_kn,
                    t.z_m,
                    to_deg(t.theta_rad),
                    to_deg(t.forward_rad),
                    to_deg(t.aft_rad),
                    t.limited,
                    t.thrust_n[0]
                );
            } else {
                println!("{} no trim", r.speed_kn);
            }
            let k = &r.stiffness;
            println!(
                "   K hydro {:.2e} fins {:.2e} hull {:.2e} net {:.2e} heavefree {:.2e}",
                k.hydrostatic, k.surfaces, k.hull, k.net, k.net_heave_free
            );
            for p in r.poles.iter().filter(|p| p.motion.is_some()) {
                println!(
                    "   {} {:.4} T {:?} zeta {:.3}",
                    p.name(),
                    p.value,
                    p.period_s(),
                    p.damping_ratio()
                );
            }
        }
    }
}
