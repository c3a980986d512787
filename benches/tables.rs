//! Time of a craft's coefficient tables: radiation of all sections, then 5 speeds by 7 headings.

use ridewright::geometry::craft::Craft;
use ridewright::hydro::craft_hydro::CraftHydro;
use ridewright::hydro::strip::frequency_grid;
use ridewright::hydro::wave_force::WaveGrid;
use ridewright::spec::craft::CraftSpec;
use ridewright::spec::scenario::PhysicsSpec;

fn main() {
    divan::main();
}

fn craft() -> Craft {
    let text = include_str!("../scenarios/craft/coastal_survey.json");
    match serde_json::from_str::<CraftSpec>(text)
        .map_err(|e| e.to_string())
        .and_then(|s| Craft::build(&s).map_err(|e| e.to_string()))
    {
        Ok(c) => c,
        Err(e) => panic!("{e}"),
    }
}

fn hydro(craft: &Craft) -> CraftHydro {
    match CraftHydro::compute(craft, &PhysicsSpec::default()) {
        Ok(h) => h,
        Err(e) => panic!("{e}"),
    }
}

/// Seven headings, fifty and more wave frequencies.
fn grid(craft: &Craft) -> WaveGrid {
    let mut omega = frequency_grid(craft.hull.length_m(), craft.g_m_s2);
    omega.retain(|w| *w < 4.0);
    WaveGrid {
        mu_rad: (0..7).map(|i| (30.0 * f64::from(i)).to_radians()).collect(),
        omega_rad_s: omega,
    }
}

#[divan::bench(sample_count = 10)]
fn radiation(bencher: divan::Bencher) {
    let c = craft();
    bencher.bench_local(|| hydro(divan::black_box(&c)));
}

#[divan::bench(sample_count = 10)]
fn one_speed_default_grid(bencher: divan::Bencher) {
    let h = hydro(&craft());
    bencher.bench_local(|| h.at_speed(divan::black_box(8.0)));
}

#[divan::bench(sample_count = 10)]
fn all_tables_five_speeds_seven_headings(bencher: divan::Bencher) {
    let c = craft();
    let g = grid(&c);
    bencher.bench_local(|| {
        let h = hydro(divan::black_box(&c));
        for u in [0.0, 2.0, 4.0, 6.0, 8.0] {
            divan::black_box(h.at_speed_on(u, &g)).map_or_else(|e| panic!("{e}"), |_| ());
        }
    });
}
