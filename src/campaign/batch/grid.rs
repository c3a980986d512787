//! The grid of a campaign and the number of every case in it.
//!
//! ```text
//! place = one craft and loading, speed, heading, sea, fault    cell = a law at a place
//! case  = (draw * places + place) * laws + law
//! ```
//! Draws are outermost: more draws add cases behind the others. A case's random streams are keyed by
//! the campaign's seed and its draw, so every cell meets the same seas, and case 17 by itself is case
//! 17 of ten thousand.
//!
//! # Checked by
//! `numbers_go_there_and_back`, `shards_part_the_cases`

use serde::{Deserialize, Serialize};

use super::draw;
use crate::error::{Error, Problem, Result};
use crate::spec::campaign::DrawsSpec;

/// Name of the fault where nothing breaks.
pub const NO_FAULT: &str = "no fault";

/// A craft in one of its loadings, by name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VesselName {
    /// Craft.
    pub craft: String,
    /// Loading.
    pub loading: String,
}

/// The axes of a campaign, in words and numbers that tables print.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Grid {
    /// Craft and loadings.
    pub vessels: Vec<VesselName>,
    /// Speeds, kn.
    pub speeds_kn: Vec<f64>,
    /// Wave headings, deg.
    pub headings_deg: Vec<f64>,
    /// Seas by the names in their files.
    pub seas: Vec<String>,
    /// Faults by the names in their files; [`NO_FAULT`] where nothing breaks.
    pub faults: Vec<String>,
    /// Laws by the names in their files; the first is the baseline.
    pub laws: Vec<String>,
    /// How many draws.
    pub draws: DrawsSpec,
}

/// Where a case stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    /// Number of the case.
    pub case: usize,
    /// Draw.
    pub draw: usize,
    /// Place.
    pub place: usize,
    /// Craft and loading.
    pub vessel: usize,
    /// Speed.
    pub speed: usize,
    /// Heading.
    pub heading: usize,
    /// Sea.
    pub sea: usize,
    /// Fault.
    pub fault: usize,
    /// Law.
    pub law: usize,
}

impl Grid {
    /// Places.
    pub fn places(&self) -> usize {
        let here = self.seas.len() * self.faults.len();
        self.vessels.len() * self.speeds_kn.len() * self.headings_deg.len() * here
    }

    /// Cells: laws at places.
    pub fn cells(&self) -> usize {
        self.places() * self.laws.len()
    }

    /// Cases at most.
    pub fn cases(&self) -> usize {
        self.cells() * self.draws.most()
    }

    /// Ranges of draws between looks.
    pub fn blocks(&self) -> Vec<std::ops::Range<usize>> {
        draw::blocks(&self.draws)
    }

    /// Number of a case.
    pub fn case(&self, draw: usize, place: usize, law: usize) -> usize {
        (draw * self.places() + place) * self.laws.len() + law
    }

    /// Where a case stands; none beyond the last.
    pub fn spot(&self, case: usize) -> Option<Spot> {
        if case >= self.cases() {
            return None;
        }
        let (rest, law) = (case / self.laws.len(), case % self.laws.len());
        let (draw, place) = (rest / self.places(), rest % self.places());
        let (rest, fault) = (place / self.faults.len(), place % self.faults.len());
        let (rest, sea) = (rest / self.seas.len(), rest % self.seas.len());
        let (n, m) = (self.headings_deg.len(), self.speeds_kn.len());
        let (rest, heading) = (rest / n, rest % n);
        Some(Spot {
            case,
            draw,
            place,
            vessel: rest / m,
            speed: rest % m,
            heading,
            sea,
            fault,
            law,
        })
    }

    /// A place in words.
    pub fn place_words(&self, place: usize) -> String {
        let Some(s) = self.spot(self.case(0, place, 0)) else {
            return format!("place {place}");
        };
        let v = &self.vessels[s.vessel];
        let loading = if self.vessels.iter().all(|w| w.loading == v.loading) {
            String::new()
        } else {
            format!(" ({})", v.loading)
        };
        let fault = if self.faults.len() < 2 && self.faults[s.fault] == NO_FAULT {
            String::new()
        } else {
            format!(", {}", self.faults[s.fault])
        };
        format!(
            "{}{loading}, {} kn, waves to {} deg, {}{fault}",
            v.craft, self.speeds_kn[s.speed], self.headings_deg[s.heading], self.seas[s.sea]
        )
    }

    /// A case in words.
    pub fn words(&self, case: usize) -> String {
        self.spot(case).map_or_else(
            || format!("case {case}"),
            |s| {
                format!(
                    "case {case}: {}, {}, draw {}",
                    self.place_words(s.place),
                    self.laws[s.law],
                    s.draw
                )
            },
        )
    }
}

/// Part `number` (from 1) of `of`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    /// Which, from 1.
    pub number: usize,
    /// Of how many.
    pub of: usize,
}

impl Shard {
    /// All of it.
    pub const WHOLE: Shard = Shard { number: 1, of: 1 };

    /// From `2/4`.
    ///
    /// # Errors
    /// What is wrong with the words.
    pub fn read(text: &str) -> Result<Shard> {
        let two = text.split_once('/');
        let numbers = two.and_then(|(k, n)| Some((k.trim().parse().ok()?, n.trim().parse().ok()?)));
        match numbers {
            Some((number, of)) if (1..=of).contains(&number) && of <= 100_000 => {
                Ok(Shard { number, of })
            }
            _ => Err(Error::from(
                Problem::at("", format!("{text:?} is no shard"))
                    .hint("k/n with k from 1 to n, e.g. 2/4: the second of four parts"),
            )),
        }
    }

    /// Whether a case belongs to this part: cases are dealt out in turn, shifted by one with each draw so that
    /// no part gets one law alone; whole places are where a stopping rule looks at places.
    pub fn has(&self, grid: &Grid, spot: &Spot) -> bool {
        let number = match grid.draws {
            DrawsSpec::Fixed { .. } => spot.case + spot.draw,
            DrawsSpec::Until { .. } => spot.place,
        };
        number % self.of == self.number - 1
    }
}

impl std::fmt::Display for Shard {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub(in super::super) fn grid(draws: DrawsSpec) -> Grid {
        let name = |loading: &str| VesselName {
            craft: "Tarnwick".into(),
            loading: loading.into(),
        };
        Grid {
            vessels: vec![name("full"), name("light")],
            speeds_kn: vec![8.0, 12.0, 16.0],
            headings_deg: vec![180.0, 90.0],
            seas: vec!["moderate".into()],
            faults: vec![NO_FAULT.into()],
            laws: vec!["fixed".into(), "PID".into()],
            draws,
        }
    }

    #[test]
    fn numbers_go_there_and_back() {
        let g = grid(DrawsSpec::Fixed { count: 5 });
        assert_eq!((g.places(), g.cells(), g.cases()), (12, 24, 120));
        let mut seen = std::collections::HashSet::new();
        for case in 0..g.cases() {
            let s = g.spot(case).unwrap();
            assert_eq!(g.case(s.draw, s.place, s.law), case);
            let place = ((s.vessel * 3 + s.speed) * 2 + s.heading) + s.sea;
            assert_eq!(place, s.place);
            seen.insert((s.draw, s.vessel, s.speed, s.heading, s.law));
        }
        assert_eq!(seen.len(), 120);
        assert!(g.spot(120).is_none());
        assert!(
            g.words(25)
                .contains("Tarnwick (full), 8 kn, waves to 180 deg")
        );
        // more draws leave the others where they are
        let more = grid(DrawsSpec::Fixed { count: 9 });
        assert_eq!(more.spot(77), g.spot(77));
    }

    #[test]
    fn shards_part_the_cases() {
        let until = DrawsSpec::Until {
            quantity: "x".into(),
            half_width_frac: 0.1,
            least: 4,
            most: 8,
        };
        for g in [grid(DrawsSpec::Fixed { count: 5 }), grid(until)] {
            for case in 0..g.cases() {
                let spot = g.spot(case).unwrap();
                let owners = (1..=5).filter(|&number| Shard { number, of: 5 }.has(&g, &spot));
                assert_eq!(owners.count(), 1);
            }
        }
        assert_eq!(Shard::read("2/4").unwrap(), Shard { number: 2, of: 4 });
        for wrong in ["0/4", "5/4", "2", "a/b", "1/0"] {
            assert!(Shard::read(wrong).is_err(), "{wrong}");
        }
    }
}
