//! Threads, stops, shards: the same bytes. With rows from a formula instead of runs.

use std::path::{Path, PathBuf};

use super::super::grid::Shard;
use super::super::grid::tests::grid;
use super::super::head::Head;
use super::super::head::tests::head;
use super::super::merge::merge;
use super::*;
use crate::math::rng::{Purpose, Stream};
use crate::spec::campaign::DrawsSpec;

/// Rows by formula: scatter that grows with the place, so that places are done at different looks.
struct Formula {
    grid: Grid,
}

impl Maker for Formula {
    fn row(&self, spot: &Spot) -> Row {
        assert_eq!(self.grid.spot(spot.case), Some(*spot));
        let mut s = Stream::new(5, spot.draw as u64, Purpose::Other);
        let scatter = 0.02 * (1.0 + spot.place as f64);
        let x = (1.0 - 0.1 * spot.law as f64) * (1.0 + scatter * s.normal());
        let ended = spot.place == 3 && spot.law == 1;
        Row {
            case: spot.case,
            outcome: if ended {
                Ending::OutOfRange
            } else {
                Ending::Completed
            },
            said: None,
            ended_s: ended.then_some(12.0),
            in_validity: !ended,
            warnings: vec![],
            drawn: vec![],
            numbers: vec![Some(x), Some(3.0 * x + s.uniform())],
        }
    }
}

fn until() -> DrawsSpec {
    DrawsSpec::Until {
        quantity: "heave.rms_m".into(),
        half_width_frac: 0.05,
        least: 8,
        most: 64,
    }
}

fn head_of(draws: &DrawsSpec, shard: Shard) -> Head {
    Head {
        grid: grid(draws.clone()),
        shard,
        ..head(1)
    }
}

fn run_in(dir: &Path, draws: &DrawsSpec, shard: Shard, threads: usize) -> PathBuf {
    let store = Store::open(dir, head_of(draws, shard), Some(0)).unwrap();
    let maker = Formula {
        grid: grid(draws.clone()),
    };
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .unwrap();
    pool.install(|| execute(&maker, store, &()))
        .unwrap()
        .settle()
        .unwrap()
}

fn bytes(path: &Path) -> Vec<u8> {
    std::fs::read(path).unwrap()
}

#[test]
fn threads_and_stops_do_not_show() {
    for draws in [DrawsSpec::Fixed { count: 7 }, until()] {
        let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let one = bytes(&run_in(a.path(), &draws, Shard::WHOLE, 1));
        assert_eq!(one, bytes(&run_in(b.path(), &draws, Shard::WHOLE, 4)));
        // cut anywhere, gone on
        for cut in [10, one.len() / 3, one.len() - 5] {
            let c = tempfile::tempdir().unwrap();
            std::fs::write(c.path().join("rows.jsonl"), &one[..cut]).unwrap();
            assert_eq!(one, bytes(&run_in(c.path(), &draws, Shard::WHOLE, 3)));
        }
    }
}

#[test]
fn places_are_done_at_their_own_look() {
    let dir = tempfile::tempdir().unwrap();
    let path = run_in(dir.path(), &until(), Shard::WHOLE, 2);
    let g = grid(until());
    let mut draws = vec![0; g.places()];
    let mut book = super::super::store::Book::open(&path).unwrap();
    book.each(|r| {
        let s = g.spot(r.case).unwrap();
        draws[s.place] = draws[s.place].max(s.draw + 1);
        Ok(())
    })
    .unwrap();
    assert!(
        draws.iter().all(|n| [8, 16, 32, 64].contains(n)),
        "{draws:?}"
    );
    assert_eq!(draws[0], 8, "little scatter");
    assert_eq!(
        draws[11], 64,
        "24 % of scatter are not known to 5 % by 64 draws"
    );
    assert!(draws.contains(&16) || draws.contains(&32), "{draws:?}");
}

#[test]
fn shards_give_the_same_bytes() {
    for draws in [DrawsSpec::Fixed { count: 7 }, until()] {
        let whole = tempfile::tempdir().unwrap();
        let one = bytes(&run_in(whole.path(), &draws, Shard::WHOLE, 2));
        for of in [2, 5] {
            let parts = tempfile::tempdir().unwrap();
            let paths: Vec<PathBuf> = (1..=of)
                .map(|number| run_in(parts.path(), &draws, Shard { number, of }, 2))
                .collect();
            let out = tempfile::tempdir().unwrap();
            assert_eq!(one, bytes(&merge(&paths, out.path()).unwrap()));
        }
    }
}

#[test]
fn a_missing_or_double_shard_is_named() {
    let draws = DrawsSpec::Fixed { count: 3 };
    let dir = tempfile::tempdir().unwrap();
    let part = |number| run_in(dir.path(), &draws, Shard { number, of: 3 }, 1);
    let (one, three) = (part(1), part(3));
    let told = merge(&[one.clone(), three.clone()], dir.path())
        .unwrap_err()
        .to_string();
    assert!(told.contains("shard 2/3 is missing"), "{told}");
    let told = merge(
        &[one.clone(), part(2), three.clone(), one.clone()],
        dir.path(),
    )
    .unwrap_err()
    .to_string();
    assert!(told.contains("shard 1/3 is there twice"), "{told}");
    let whole = bytes(&one);
    std::fs::write(&one, &whole[..whole.len() - 4]).unwrap();
    let told = merge(&[one, part(2), three], dir.path())
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("shard 1/3 is not finished: 23 of 24 cases"),
        "{told}"
    );
}

#[test]
fn mixed_shards_are_refused() {
    let draws = DrawsSpec::Fixed { count: 3 };
    let dir = tempfile::tempdir().unwrap();
    let one = run_in(dir.path(), &draws, Shard { number: 1, of: 2 }, 1);
    let mut other = head_of(&draws, Shard { number: 2, of: 2 });
    other.target.instructions = "other".into();
    let store = Store::open(dir.path(), other, None).unwrap();
    let maker = Formula {
        grid: grid(draws.clone()),
    };
    let two = execute(&maker, store, &()).unwrap().settle().unwrap();
    let told = merge(&[one.clone(), two], dir.path())
        .unwrap_err()
        .to_string();
    assert!(told.contains("another instruction set"), "{told}");
    let third = run_in(dir.path(), &draws, Shard { number: 2, of: 3 }, 1);
    let told = merge(&[one, third], dir.path()).unwrap_err().to_string();
    assert!(told.contains("is shard 2/3, but"), "{told}");
}
