//! Cutting lines and polygons to a rectangle, dashing, thinning, hatching.

use super::canvas::Px;
use super::look::Hatch;

/// A rectangle on the paper, y down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
}

impl Frame {
    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }
    pub(super) fn height(&self) -> f64 {
        self.bottom - self.top
    }
    pub(super) fn holds(&self, p: Px, slack: f64) -> bool {
        p[0] >= self.left - slack
            && p[0] <= self.right + slack
            && p[1] >= self.top - slack
            && p[1] <= self.bottom + slack
    }
    pub(super) fn overlaps(&self, o: &Frame) -> bool {
        self.left < o.right && o.left < self.right && self.top < o.bottom && o.top < self.bottom
    }
    pub(super) fn inside(&self, o: &Frame) -> bool {
        self.left >= o.left && self.right <= o.right && self.top >= o.top && self.bottom <= o.bottom
    }
}

/// The part of a segment inside the frame (Liang and Barsky 1984).
fn segment(a: Px, b: Px, f: &Frame) -> Option<(Px, Px)> {
    let d = [b[0] - a[0], b[1] - a[1]];
    let (mut t0, mut t1) = (0.0_f64, 1.0_f64);
    let edges = [
        (-d[0], a[0] - f.left),
        (d[0], f.right - a[0]),
        (-d[1], a[1] - f.top),
        (d[1], f.bottom - a[1]),
    ];
    for (p, q) in edges {
        if p.abs() < 1e-12 {
            if q < 0.0 {
                return None;
            }
            continue;
        }
        let t = q / p;
        if p < 0.0 {
            t0 = t0.max(t);
        } else {
            t1 = t1.min(t);
        }
    }
    let at = |t: f64| [a[0] + t * d[0], a[1] + t * d[1]];
    (t0 <= t1).then(|| (at(t0), at(t1)))
}

/// The pieces of a line inside the frame; breaks at points that are no numbers.
pub(super) fn polyline(points: &[Px], f: &Frame) -> Vec<Vec<Px>> {
    let mut pieces: Vec<Vec<Px>> = Vec::new();
    let mut open = false;
    for pair in points.windows(2) {
        let finite = pair.iter().flatten().all(|v| v.is_finite());
        let cut = if finite {
            segment(pair[0], pair[1], f)
        } else {
            None
        };
        let Some((a, b)) = cut else {
            open = false;
            continue;
        };
        let same = |p: Px, q: Px| (p[0] - q[0]).hypot(p[1] - q[1]) < 1e-9;
        match pieces.last_mut() {
            Some(piece) if open && same(a, pair[0]) => piece.push(b),
            _ => pieces.push(vec![a, b]),
        }
        open = same(b, pair[1]);
    }
    pieces
}

/// The part of a polygon inside the frame (Sutherland and Hodgman 1974).
pub(super) fn polygon(points: &[Px], f: &Frame) -> Vec<Px> {
    let sides: [(usize, f64, f64); 4] = [
        (0, f.left, 1.0),
        (0, f.right, -1.0),
        (1, f.top, 1.0),
        (1, f.bottom, -1.0),
    ];
    let mut now: Vec<Px> = points
        .iter()
        .copied()
        .filter(|p| p[0].is_finite() && p[1].is_finite())
        .collect();
    for (axis, edge, sign) in sides {
        let mut next = Vec::with_capacity(now.len() + 4);
        for (i, &b) in now.iter().enumerate() {
            let a = now[(i + now.len() - 1) % now.len()];
            let (da, db) = (sign * (a[axis] - edge), sign * (b[axis] - edge));
            if (da < 0.0) != (db < 0.0) {
                let t = da / (da - db);
                next.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            }
            if db >= 0.0 {
                next.push(b);
            }
        }
        now = next;
    }
    now
}

/// Strokes of a dashed line.
pub(super) fn dashed(points: &[Px], lengths: &[f64]) -> Vec<Vec<Px>> {
    if lengths.is_empty() {
        return vec![points.to_vec()];
    }
    let mut strokes: Vec<Vec<Px>> = Vec::new();
    let (mut k, mut left, mut on) = (0, lengths[0], true);
    if let Some(first) = points.first() {
        strokes.push(vec![*first]);
    }
    for pair in points.windows(2) {
        let (mut a, b) = (pair[0], pair[1]);
        loop {
            let n = (b[0] - a[0]).hypot(b[1] - a[1]);
            if n < left {
                left -= n;
                if on && let Some(s) = strokes.last_mut() {
                    s.push(b);
                }
                break;
            }
            let t = left / n.max(1e-12);
            a = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
            match strokes.last_mut() {
                Some(s) if on => s.push(a),
                _ => strokes.push(vec![a]),
            }
            on = !on;
            k = (k + 1) % lengths.len();
            left = lengths[k];
        }
    }
    strokes.retain(|s| s.len() > 1);
    strokes
}

/// A long record keeps the first, lowest, highest and last point of each half pixel.
pub(super) fn thinned(points: &[Px]) -> Vec<Px> {
    const COLUMN: f64 = 0.5;
    let rising = points.windows(2).all(|p| p[1][0] >= p[0][0]);
    let width = match (points.first(), points.last()) {
        (Some(a), Some(b)) => b[0] - a[0],
        _ => 0.0,
    };
    if !rising || (points.len() as f64) < 4.0 * width / COLUMN {
        return points.to_vec();
    }
    let column = |p: &Px| (p[0] / COLUMN).floor() as i64;
    let mut kept = Vec::new();
    for run in points.chunk_by(|a, b| column(a) == column(b)) {
        let last = run.len() - 1;
        let by = |i: &usize, j: &usize| run[*i][1].total_cmp(&run[*j][1]);
        let low = (0..run.len()).min_by(by).unwrap_or(0);
        let high = (0..run.len()).max_by(by).unwrap_or(0);
        let mut picks = vec![0, low, high, last];
        picks.sort_unstable();
        picks.dedup();
        kept.extend(picks.into_iter().map(|i| run[i]));
    }
    kept
}

/// Strokes that fill a polygon.
pub(super) fn hatch(points: &[Px], kind: Hatch, spacing: f64) -> Vec<[Px; 2]> {
    let mut strokes = Vec::new();
    let r = 0.5_f64.sqrt();
    match kind {
        Hatch::None => {}
        Hatch::Rising => across(points, [r, r], spacing, &mut strokes),
        Hatch::Falling => across(points, [r, -r], spacing, &mut strokes),
        Hatch::Level => across(points, [0.0, 1.0], spacing, &mut strokes),
        Hatch::Crossed => {
            across(points, [r, r], spacing * 1.3, &mut strokes);
            across(points, [r, -r], spacing * 1.3, &mut strokes);
        }
    }
    strokes
}

/// Strokes square to `n` inside a polygon (even-odd rule).
fn across(points: &[Px], n: Px, spacing: f64, strokes: &mut Vec<[Px; 2]>) {
    let along = |p: &Px| p[0] * n[0] + p[1] * n[1];
    let (low, high) = points
        .iter()
        .map(along)
        .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    if points.len() < 3 || high - low > 1e4 * spacing {
        return;
    }
    let mut c = (low / spacing).ceil() * spacing;
    while c < high {
        let mut cuts: Vec<Px> = Vec::new();
        for (i, b) in points.iter().enumerate() {
            let a = &points[(i + points.len() - 1) % points.len()];
            let (da, db) = (along(a) - c, along(b) - c);
            if (da < 0.0) != (db < 0.0) {
                let t = da / (da - db);
                cuts.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            }
        }
        cuts.sort_by(|p, q| {
            let side = |p: &Px| p[0] * n[1] - p[1] * n[0];
            side(p).total_cmp(&side(q))
        });
        strokes.extend(cuts.chunks_exact(2).map(|p| [p[0], p[1]]));
        c += spacing;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOX: Frame = Frame {
        left: 0.0,
        top: 0.0,
        right: 10.0,
        bottom: 10.0,
    };

    #[test]
    fn lines_and_polygons_end_at_the_frame() {
        let line = [
            [-5.0, 5.0],
            [5.0, 5.0],
            [5.0, 20.0],
            [f64::NAN, 0.0],
            [1.0, 1.0],
            [2.0, 2.0],
        ];
        let pieces = polyline(&line, &BOX);
        assert_eq!(pieces.len(), 2);
        assert!(pieces.iter().flatten().all(|p| BOX.holds(*p, 1e-9)));
        let cut = polygon(&[[-5.0, -5.0], [5.0, -5.0], [5.0, 5.0], [-5.0, 5.0]], &BOX);
        let area: f64 = (0..cut.len())
            .map(|i| {
                let (a, b) = (cut[i], cut[(i + 1) % cut.len()]);
                0.5 * (a[0] * b[1] - b[0] * a[1])
            })
            .sum();
        assert!((area.abs() - 25.0).abs() < 1e-9);
    }

    #[test]
    fn dashes_cover_their_share() {
        let strokes = dashed(&[[0.0, 0.0], [90.0, 0.0]], &[6.0, 3.0]);
        let drawn: f64 = strokes.iter().map(|s| s[s.len() - 1][0] - s[0][0]).sum();
        assert!((drawn - 60.0).abs() < 1e-9);
    }

    #[test]
    fn thinning_keeps_peaks() {
        let all: Vec<Px> = (0..40_000)
            .map(|i| [f64::from(i) * 0.01, if i == 20_003 { 50.0 } else { 0.0 }])
            .collect();
        let few = thinned(&all);
        assert!(few.len() < 4_000);
        assert!(few.iter().any(|p| p[1] > 49.0));
    }

    #[test]
    fn hatching_stays_inside() {
        let square = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]];
        let strokes = hatch(&square, Hatch::Crossed, 2.0);
        assert!(strokes.len() > 6);
        assert!(strokes.iter().flatten().all(|p| BOX.holds(*p, 1e-9)));
    }
}
