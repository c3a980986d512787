//! Hash of contents, the same on every machine and in every run.
//!
//! # Equation
//! ```text
//! h <- (h xor byte) * prime  (mod 2^128)
//! ```
//!
//! # Source
//! G. Fowler, L. C. Noll, K.-P. Vo: FNV-1a with 128 bits, the published offset and prime.
//!
//! # Checked by
//! `known_values`

/// A hash being fed.
#[derive(Clone, Debug)]
pub struct Hash(u128);

impl Default for Hash {
    fn default() -> Self {
        Hash(0x6c62_272e_07bb_0142_62b8_2175_6295_c58d)
    }
}

impl Hash {
    /// Takes bytes in.
    pub fn bytes(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.0 ^= u128::from(b);
            self.0 = self
                .0
                .wrapping_mul(0x0000_0000_0100_0000_0000_0000_0000_013b);
        }
    }

    /// The hash of all bytes so far.
    pub fn finish(&self) -> u128 {
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_values() {
        // the empty text gives the offset; "a" from the authors' list of test values
        assert_eq!(
            Hash::default().finish(),
            0x6c62_272e_07bb_0142_62b8_2175_6295_c58d
        );
        let mut h = Hash::default();
        h.bytes(b"a");
        assert_eq!(h.finish(), 0xd228_cb69_6f1a_8caf_7891_2b70_4e4a_8964);
    }
}
