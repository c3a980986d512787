//! Tables that begin on a cache line: a wide load that straddles two lines costs twice.
//!
//! # Checked by
//! `a_table_begins_on_a_line`.

use std::ops::Deref;

/// Bytes of a cache line, and of the widest vector.
const LINE: usize = 64;

/// Numbers that never change, from a cache line on.
#[derive(Debug, Default)]
pub struct Aligned<T> {
    /// Not to grow: the numbers would move.
    room: Vec<T>,
    first: usize,
}

impl<T: Copy + Default> Aligned<T> {
    /// Takes over `numbers`.
    pub fn new(numbers: impl ExactSizeIterator<Item = T>) -> Self {
        let count = numbers.len();
        let mut room: Vec<T> = Vec::with_capacity(count + LINE / size_of::<T>());
        let first = room.as_ptr().align_offset(LINE);
        room.resize(first, T::default());
        room.extend(numbers);
        Aligned { room, first }
    }
}

impl<T> Deref for Aligned<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        &self.room[self.first..]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_begins_on_a_line() {
        for count in [0, 1, 16, 1000] {
            let t = Aligned::new((0..count).map(|i| i as f32));
            assert_eq!(t.len(), count);
            assert!(t.as_ptr().addr().is_multiple_of(LINE) || count == 0);
            let same = |(i, v): (usize, &f32)| v.to_bits() == (i as f32).to_bits();
            assert!(t.iter().enumerate().all(same));
        }
    }
}
