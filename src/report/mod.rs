//! Pictures of results: plain data in, [`chart::Figure`]s out.
//!
//! Nothing here computes physics, starts a run or reads a file; [`chart::Figure::write`] writes
//! PNG and SVG.

pub mod bars;
pub mod campaign;
pub mod chart;
pub mod comparison;
pub mod contour;
pub mod craft_views;
pub mod curves;
pub mod detection;
pub mod failures;
pub mod faults;
pub mod front;
pub mod operability;
pub mod orders;
pub mod polar;
pub mod prediction;
pub mod rare;
pub mod signs;

/// A name as part of a file's name: small letters and digits, everything else an underscore.
pub fn file_word(name: &str) -> String {
    let small = |c: char| {
        if c.is_alphanumeric() {
            c.to_ascii_lowercase()
        } else {
            '_'
        }
    };
    name.chars().map(small).collect()
}
