//! From limiting heights to shares of time, law by law.

use super::share::{Share, of_class, of_diagram, speed_shares};
use super::{ClassShare, HeadingShare, LawShare, LimitCell, Operability, Stop};
use crate::spec::scatter::ScatterSpec;

/// Sums limits up to shares of time.
pub(super) fn sum_up(found: &mut Operability, scatter: &ScatterSpec, headings_deg: &[f64]) {
    let columns = scatter.period_edges_s.len() - 1;
    let times = speed_shares(scatter, &found.speeds_kn);
    // weight of an evaluated heading: all sectors that it stands for
    let weight: Vec<f64> = (0..headings_deg.len())
        .map(|i| {
            let mine = found.sectors.iter().filter(|s| s.index == i);
            mine.map(|s| s.share).sum()
        })
        .collect();
    let by_column = |speed: f64, heading: f64, law: &str| -> Vec<Option<&LimitCell>> {
        (0..columns)
            .map(|c| found.cell(speed, heading, law, c))
            .collect()
    };
    let (mut headings, mut shares, mut classes) = (Vec::new(), Vec::new(), Vec::new());
    for law in &found.laws {
        let mut places = Vec::new();
        for (speed, time) in found.speeds_kn.iter().zip(&times) {
            for (heading, w) in headings_deg.iter().zip(&weight) {
                let cells = by_column(*speed, *heading, law);
                places.push((*speed, *heading, time * w, *time, cells));
            }
        }
        for (speed_kn, heading_deg, _, _, cells) in &places {
            headings.push(HeadingShare {
                speed_kn: *speed_kn,
                heading_deg: *heading_deg,
                law: law.clone(),
                share: of_diagram(scatter, cells),
            });
        }
        let wanted = found.speeds_kn.iter().map(|v| Some(*v)).chain([None]);
        for speed_kn in wanted {
            let here: Vec<_> = places
                .iter()
                .filter(|p| speed_kn.is_none_or(|v| v.total_cmp(&p.0).is_eq()))
                .collect();
            // a speed that takes no time still has its share
            let weigh = |p: &(f64, f64, f64, f64, Vec<Option<&LimitCell>>)| {
                if speed_kn.is_none() {
                    p.2
                } else {
                    let at = headings_deg.iter().position(|h| h.total_cmp(&p.1).is_eq());
                    at.map_or(0.0, |i| weight[i])
                }
            };
            let share = Share::mean(here.iter().map(|p| (weigh(p), of_diagram(scatter, &p.4))));
            let time = speed_kn.map_or(1.0, |v| {
                here.iter()
                    .find(|p| p.0.total_cmp(&v).is_eq())
                    .map_or(0.0, |p| p.3)
            });
            let weighed = here.iter().map(|p| (weigh(p), &p.4[..]));
            shares.push(LawShare {
                law: law.clone(),
                speed_kn,
                time,
                share,
                gain: None,
                stops: stops(scatter, weighed),
            });
        }
        for (i, row) in scatter.occurrences.iter().enumerate() {
            let class = [scatter.hs_edges_m[i], scatter.hs_edges_m[i + 1]];
            for k in (0..columns).filter(|k| row[*k] > 0.0) {
                let all = places
                    .iter()
                    .filter_map(|p| Some((p.2, of_class(class, p.4[k]?))));
                classes.push(ClassShare {
                    law: law.clone(),
                    at: [i, k],
                    share: Share::mean(all),
                });
            }
        }
    }
    let base: Vec<(Option<f64>, f64)> = shares
        .iter()
        .filter(|s| Some(&s.law) == found.laws.first())
        .map(|s| (s.speed_kn, s.share.workable))
        .collect();
    for s in shares
        .iter_mut()
        .filter(|s| Some(&s.law) != found.laws.first())
    {
        let of = base.iter().find(|b| b.0 == s.speed_kn);
        s.gain = of.map(|b| s.share.workable - b.1);
    }
    (found.headings, found.shares, found.classes) = (headings, shares, classes);
}

/// What stops work, with its share of all time.
fn stops<'a>(
    scatter: &ScatterSpec,
    places: impl Iterator<Item = (f64, &'a [Option<&'a LimitCell>])>,
) -> Vec<(String, f64)> {
    let (mut out, mut total): (Vec<(String, f64)>, f64) = (Vec::new(), 0.0);
    for (w, cells) in places {
        for (i, row) in scatter.occurrences.iter().enumerate() {
            let class = [scatter.hs_edges_m[i], scatter.hs_edges_m[i + 1]];
            for (n, cell) in row.iter().zip(cells) {
                let Some(cell) = cell else { continue };
                total += w * n;
                let lost = w * n * (1.0 - of_class(class, cell).workable);
                let unstable = || "unstable loop".to_owned();
                let word = cell.stop.as_ref().map_or_else(unstable, Stop::words);
                match out.iter_mut().find(|o| o.0 == word) {
                    Some(o) => o.1 += lost,
                    None => out.push((word, lost)),
                }
            }
        }
    }
    out.retain(|o| o.1 > 0.0);
    for o in &mut out {
        o.1 /= total;
    }
    out.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    out
}
