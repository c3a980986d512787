//! How many cases of half an hour of sea a minute gives, how that grows with threads, and how much memory a
//! campaign takes.
//!
//! `cargo bench --bench campaign` (`-- memory` only the memory of ten thousand short cases).
#![allow(clippy::print_stdout)] // a bench reports to its caller

use std::path::Path;
use std::time::Instant;

use rayon::prelude::*;
use ridewright::campaign::batch::execute::execute;
use ridewright::campaign::batch::grid::Shard;
use ridewright::campaign::batch::head::Target;
use ridewright::campaign::batch::rig::Rig;
use ridewright::campaign::batch::store::{Book, Store};
use ridewright::campaign::batch::summary::summarise;
use ridewright::campaign::batch::{inputs, row::Row};
use ridewright::spec::campaign::DrawsSpec;
use ridewright::spec::validate::{CampaignBundle, campaign_bundle};

const FILE: &str = "scenarios/campaign.json";

fn bundle(duration_s: f64, run_in_s: f64, draws: usize) -> CampaignBundle {
    let mut b = campaign_bundle(Path::new(env!("CARGO_MANIFEST_DIR")).join(FILE)).expect(FILE);
    b.campaign.spec.duration_s = duration_s;
    b.campaign.spec.run_in_s = run_in_s;
    b.campaign.spec.draws = DrawsSpec::Fixed { count: draws };
    b
}

fn rig(b: &CampaignBundle) -> Rig {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("water");
    Rig::new(b, Some(&cache)).expect("a campaign")
}

/// A line of this process's status, kB.
fn status_kb(key: &str) -> f64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find(|l| l.starts_with(key));
    line.and_then(|l| l.split_whitespace().nth(1)?.parse().ok())
        .unwrap_or(f64::NAN)
}

/// Wall-clock seconds of the cases on so many threads.
fn timed(rig: &Rig, cases: usize, threads: usize) -> (f64, Vec<Row>) {
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .expect("threads");
    let begin = Instant::now();
    let rows = pool.install(|| {
        (0..cases)
            .into_par_iter()
            .with_max_len(1)
            .filter_map(|c| rig.grid.spot(c).map(|s| rig.row(&s)))
            .collect()
    });
    (begin.elapsed().as_secs_f64(), rows)
}

fn throughput() {
    let b = bundle(1800.0, 120.0, 8);
    let rig = rig(&b);
    let cases = 24;
    let mut best = [f64::INFINITY; 2];
    let mut rows: Vec<Vec<Row>> = Vec::new();
    for _ in 0..3 {
        for threads in [1, 2] {
            let (s, r) = timed(&rig, cases, threads);
            best[threads - 1] = best[threads - 1].min(s);
            rows.push(r);
        }
    }
    assert!(
        rows.windows(2).all(|w| w[0] == w[1]),
        "rows depend on threads"
    );
    for (threads, s) in [1, 2].into_iter().zip(best) {
        println!(
            "{threads} threads: {:.1} cases of 30 min a minute ({:.0} s of sea per second and core)",
            60.0 * cases as f64 / s,
            cases as f64 * 1920.0 / s / f64::from(threads),
        );
    }
    println!("scaling 1 to 2 threads: {:.2}", best[0] / best[1]);
    println!("peak memory: {:.0} MB", status_kb("VmHWM") / 1024.0);
}

fn memory() {
    let draws = 834; // twelve cells: 10,008 cases
    let b = bundle(2.0, 0.0, draws);
    let rig = rig(&b);
    let dir = tempfile::tempdir().expect("a folder");
    let before = status_kb("VmRSS") / 1024.0;
    let head = inputs::head(&b, &rig, Target::here("bench", "bench"), Shard::WHOLE);
    let store = Store::open(dir.path(), head, None).expect("a store");
    let begin = Instant::now();
    let path = execute(&rig, store, &())
        .expect("rows")
        .settle()
        .expect("in order");
    let told = summarise(&mut Book::open(&path).expect("a store")).expect("a summary");
    let bytes = std::fs::metadata(&path).map_or(0, |m| m.len());
    println!(
        "{} cases of 2 s in {:.1} s: peak memory {:.0} MB ({before:.0} MB before the first case), store {:.1} MB",
        told.cases,
        begin.elapsed().as_secs_f64(),
        status_kb("VmHWM") / 1024.0,
        bytes as f64 / 1e6
    );
}

fn main() {
    let only = |word: &str| std::env::args().any(|a| a == word);
    memory();
    if !only("memory") {
        throughput();
    }
}
