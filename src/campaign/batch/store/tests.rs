//! Tests of the store: what is put comes back, and nothing is lost.

use super::super::head::tests::head;
use super::super::row::Ending;
use super::*;
use std::fs::OpenOptions;

fn row(case: usize) -> Row {
    Row {
        case,
        outcome: if case % 5 == 4 {
            Ending::OutOfRange
        } else {
            Ending::Completed
        },
        said: None,
        ended_s: None,
        in_validity: true,
        warnings: vec![],
        drawn: vec![0.1 + 0.2],
        numbers: vec![Some(1.0 / 3.0 + case as f64), None],
    }
}

fn rows_of(path: &Path) -> Vec<Row> {
    let mut all = Vec::new();
    let mut book = Book::open(path).unwrap();
    book.each(|r| {
        all.push(r.clone());
        Ok(())
    })
    .unwrap();
    all
}

fn filled(folder: &Path, cases: &[usize]) -> PathBuf {
    let mut s = Store::open(folder, head(3), None).unwrap();
    for c in cases {
        s.put(&row(*c)).unwrap();
    }
    s.path().to_owned()
}

#[test]
fn what_was_put_is_read_back() {
    let dir = tempfile::tempdir().unwrap();
    filled(dir.path(), &[3, 0, 17]);
    let s = Store::open(dir.path(), head(3), Some(0)).unwrap();
    assert_eq!((s.read_back(), s.rows()), (3, 3));
    assert!(s.has(17) && !s.has(1));
    assert_eq!(s.watched(3).to_bits(), (1.0f64 / 3.0 + 3.0).to_bits());
    assert!(s.watched(1).is_nan());
    let path = s.path().to_owned();
    drop(s);
    assert_eq!(rows_of(&path), [row(0), row(3), row(17)]);
}

#[test]
fn a_cut_tail_is_dropped() {
    let dir = tempfile::tempdir().unwrap();
    let path = filled(dir.path(), &[0, 1, 2]);
    let whole = std::fs::read(&path).unwrap();
    let lines: Vec<usize> = whole
        .iter()
        .enumerate()
        .filter(|(_, b)| **b == b'\n')
        .map(|(i, _)| i + 1)
        .collect();
    for cut in 0..whole.len() {
        std::fs::write(&path, &whole[..cut]).unwrap();
        let s = Store::open(dir.path(), head(3), None).unwrap();
        let kept = lines.iter().filter(|l| **l <= cut).count();
        assert_eq!(s.rows(), kept.saturating_sub(1), "cut at {cut}");
        drop(s);
        assert_eq!(rows_of(&path).len(), kept.saturating_sub(1));
    }
    // a tail that was not cut but garbled
    std::fs::write(&path, [&whole[..], b"12345678 {\"ca\n"].concat()).unwrap();
    assert_eq!(Store::open(dir.path(), head(3), None).unwrap().rows(), 3);
    assert_eq!(std::fs::read(&path).unwrap(), whole);
}

#[test]
fn damage_in_the_middle_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = filled(dir.path(), &[0, 1, 2]);
    let whole = std::fs::read(&path).unwrap();
    let mut bad = whole.clone();
    let second = whole.iter().position(|b| *b == b'\n').unwrap() + 20;
    bad[second] ^= 1;
    std::fs::write(&path, &bad).unwrap();
    let told = Store::open(dir.path(), head(3), None)
        .err()
        .unwrap()
        .to_string();
    assert!(told.contains("is damaged at byte"), "{told}");
    assert_eq!(std::fs::read(&path).unwrap(), bad, "left as it was");
    std::fs::write(&path, "something else\n").unwrap();
    let told = Store::open(dir.path(), head(3), None)
        .err()
        .unwrap()
        .to_string();
    assert!(told.contains("something else than"), "{told}");
    assert_eq!(std::fs::read(&path).unwrap(), b"something else\n");
}

/// A disk with little room: takes what fits and fails.
struct Small {
    file: File,
    room: usize,
}

impl Sink for Small {
    fn append(&mut self, line: &[u8]) -> io::Result<()> {
        let n = line.len().min(self.room);
        self.file.write_all(&line[..n])?;
        self.room -= n;
        if n < line.len() {
            return Err(io::ErrorKind::StorageFull.into());
        }
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }
}

#[test]
fn a_full_disk_loses_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = filled(dir.path(), &[0, 1]);
    let mut s = Store::open(dir.path(), head(3), None).unwrap();
    let file = OpenOptions::new().append(true).open(&path).unwrap();
    s.sink = Box::new(Small { file, room: 200 });
    s.put(&row(2)).unwrap();
    let told = s.put(&row(3)).unwrap_err().to_string();
    assert!(
        told.contains("cannot write this store") && told.contains("the same command goes on"),
        "{told}"
    );
    // space may come back: still nothing follows the torn line
    assert!(s.put(&row(4)).is_err());
    drop(s);
    assert_eq!(rows_of(&path), [row(0), row(1), row(2)]);
    let mut s = Store::open(dir.path(), head(3), None).unwrap();
    assert_eq!(s.rows(), 3);
    s.put(&row(3)).unwrap();
    drop(s);
    assert_eq!(rows_of(&path).len(), 4);
}

#[cfg(target_os = "linux")]
#[test]
fn the_device_that_is_always_full_is_told() {
    let Ok(full) = OpenOptions::new().append(true).open("/dev/full") else {
        return;
    };
    let dir = tempfile::tempdir().unwrap();
    let mut s = Store::open(dir.path(), head(3), None).unwrap();
    s.sink = Box::new(full);
    let told = s.put(&row(0)).unwrap_err().to_string();
    assert!(told.contains("cannot write this store"), "{told}");
    assert!(!s.has(0));
}

#[test]
fn a_second_writer_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let s = Store::open(dir.path(), head(3), None).unwrap();
    let told = Store::open(dir.path(), head(3), None)
        .err()
        .unwrap()
        .to_string();
    assert!(told.contains("being written by another run"), "{told}");
    drop(s);
    assert!(Store::open(dir.path(), head(3), None).is_ok());
}

#[test]
fn a_store_being_written_is_not_read() {
    let dir = tempfile::tempdir().unwrap();
    let mut s = Store::open(dir.path(), head(3), None).unwrap();
    s.put(&row(0)).unwrap();
    let path = s.path().to_owned();
    let told = Book::open(&path).err().unwrap().to_string();
    assert!(
        told.contains("being written by another run") && told.contains("hint: wait"),
        "{told}"
    );
    drop(s);
    // many may read, nobody writes meanwhile
    let (one, two) = (Book::open(&path), Book::open(&path));
    assert!(one.is_ok() && two.is_ok());
    assert!(Store::open(dir.path(), head(3), None).is_err());
    drop((one, two));
    assert!(Store::open(dir.path(), head(3), None).is_ok());
}

#[test]
fn what_lacks_is_counted() {
    let dir = tempfile::tempdir().unwrap();
    let path = filled(dir.path(), &[0, 1, 2, 5]);
    let standing = Book::open(&path).unwrap().standing().unwrap();
    // three draws at 12 places with two laws
    let whole = Some(72);
    let want = Standing {
        there: 4,
        part: 72,
        whole,
    };
    assert_eq!(standing, want);
    assert!(!standing.is_finished());
    let mut half = head(3);
    half.shard = Shard { number: 1, of: 2 };
    let other = tempfile::tempdir().unwrap();
    let grid = half.grid.clone();
    let own = (0..72).filter(|c| grid.spot(*c).is_some_and(|s| half.shard.has(&grid, &s)));
    let own: Vec<usize> = own.collect();
    let mut s = Store::open(other.path(), half, None).unwrap();
    for c in own {
        s.put(&row(c)).unwrap();
    }
    let path = s.settle().unwrap();
    let standing = Book::open(&path).unwrap().standing().unwrap();
    assert!(standing.is_finished(), "{standing:?}");
    assert_eq!((standing.part, standing.whole), (36, whole));
}

#[test]
fn what_is_not_there_is_told_with_a_remedy() {
    let dir = tempfile::tempdir().unwrap();
    for (path, words) in [
        (dir.path().join("nope"), "no such folder"),
        (dir.path().to_owned(), "holds no campaign's store"),
    ] {
        let told = stores_at(&path).unwrap_err().to_string();
        assert!(
            told.contains(words) && told.contains("hint: name the folder"),
            "{told}"
        );
    }
}

#[test]
fn other_inputs_are_refused() {
    let dir = tempfile::tempdir().unwrap();
    let path = filled(dir.path(), &[0, 1]);
    let before = std::fs::read(&path).unwrap();
    let mut other = head(3);
    other.inputs[0].hash = "changed".into();
    let told = Store::open(dir.path(), other, None)
        .err()
        .unwrap()
        .to_string();
    assert!(
        told.contains("campaign.json has changed") && told.contains("rows.jsonl"),
        "{told}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before, "nothing lost");
}

#[test]
fn finished_stores_are_in_order() {
    let (a, b) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let settled = |dir: &Path, cases: &[usize]| {
        let mut s = Store::open(dir, head(3), None).unwrap();
        for c in cases {
            s.put(&row(*c)).unwrap();
        }
        std::fs::read(s.settle().unwrap()).unwrap()
    };
    let one = settled(a.path(), &[0, 1, 2, 3]);
    assert_eq!(one, settled(b.path(), &[2, 0, 3, 1]));
    assert_eq!(rows_of(&a.path().join("rows.jsonl")).len(), 4);
}

#[test]
fn what_lacks_and_what_is_double() {
    let (missing, double) = missing_and_double(0..5, [0, 2, 2, 4].into_iter());
    assert_eq!((missing, double), (vec![1, 3], vec![2]));
}
