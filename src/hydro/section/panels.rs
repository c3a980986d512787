//! Panels on a section contour.
//!
//! # Equation
//! Straight panels between points of the exact outline, graded towards the ends of each smooth
//! piece. A polygon inscribed in a curve loses two thirds of (sagitta x chord) per panel; each
//! vertex of a curved piece is moved outward in proportion to the sagitta beside it so that the
//! exact area comes back (the same error order as the potential's, and the displaced volume and
//! the Froude-Krylov force are then exact to that order).
//!
//! # Symbols
//! y to starboard, z down; normals point out of the body into the water; panels run from the
//! inboard waterline point down, round the keel and up (counter-clockwise seen from aft with z
//! drawn downward), the lid closes the chain along the waterplane.
//!
//! # Valid when
//! The outline is simple, lies below the surface and on the starboard side; a surface-piercing one
//! starts and ends on z = 0.
//!
//! # Source
//! Frank (1967) for straight segments; the area rule is elementary geometry.
//!
//! # Checked by
//! `area_is_restored`, `pieces_share_the_panels`, `bad_outlines_are_refused`.

use crate::error::{Error, Result};
use crate::geometry::contour::Contour;
use crate::hydro::section::SectionOptions;

/// The panels of the starboard hull: `body` of them on the wetted outline, then the lid's.
#[derive(Clone, Debug, PartialEq)]
pub struct Panels {
    /// Vertices (y, z), m, in the order of the chain.
    pub vertices: Vec<[f64; 2]>,
    /// First and last vertex of each panel.
    pub ends: Vec<[usize; 2]>,
    /// Midpoints (y, z), m.
    pub mid: Vec<[f64; 2]>,
    /// Unit normals (n2, n3) out of the body.
    pub normal: Vec<[f64; 2]>,
    /// Lengths, m.
    pub length: Vec<f64>,
    /// How many panels lie on the wetted outline.
    pub body: usize,
}

impl Panels {
    /// Cuts the outline of `contour` into panels.
    ///
    /// # Errors
    /// When the outline is empty, not finite, above the surface, or too few panels are asked.
    pub fn new(contour: &Contour, options: &SectionOptions) -> Result<Self> {
        check(contour, options)?;
        let counts = share(contour, options.panels);
        let mut cut = Cut::default();
        let closed_smooth = !contour.surface_piercing && contour.pieces.len() == 1;
        for (piece, &n) in contour.pieces.iter().zip(&counts).filter(|(_, n)| **n > 0) {
            let grading = if closed_smooth { 0.0 } else { options.grading };
            cut.add_piece(piece, n, grading);
        }
        if contour.surface_piercing {
            let last = cut.points.len() - 1;
            cut.points[0][1] = 0.0;
            cut.points[last][1] = 0.0;
        } else {
            cut.points.pop();
            cut.free.pop();
        }
        let vertices = cut.with_area(contour.area_m2, contour.surface_piercing);
        Ok(Self::from_vertices(
            vertices,
            contour.surface_piercing,
            if options.lid {
                lid_panels(contour, options)
            } else {
                0
            },
        ))
    }

    fn from_vertices(mut vertices: Vec<[f64; 2]>, piercing: bool, lid: usize) -> Self {
        let n = vertices.len();
        let body = if piercing { n - 1 } else { n };
        let mut ends: Vec<[usize; 2]> = (0..body).map(|i| [i, (i + 1) % n]).collect();
        if piercing && lid > 0 {
            let (from, to) = (vertices[n - 1][0], vertices[0][0]);
            for i in 1..lid {
                let s = 0.5 * (1.0 - (std::f64::consts::PI * i as f64 / lid as f64).cos());
                vertices.push([from + (to - from) * s, 0.0]);
            }
            for i in 0..lid {
                let b = if i + 1 == lid { 0 } else { n + i };
                ends.push([n - 1 + i, b]);
            }
        }
        let mut panels = Panels {
            vertices,
            ends,
            mid: Vec::new(),
            normal: Vec::new(),
            length: Vec::new(),
            body,
        };
        for &[a, b] in &panels.ends {
            let (p, q) = (panels.vertices[a], panels.vertices[b]);
            let (dy, dz) = (q[0] - p[0], q[1] - p[1]);
            let l = dy.hypot(dz);
            panels.mid.push([0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])]);
            // travelling down the inboard side (dz > 0) the water is to port: n2 < 0
            panels.normal.push([-dz / l, dy / l]);
            panels.length.push(l);
        }
        panels
    }

    /// Panels in all, body and lid.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// True when there is no panel.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// Normal components of the craft's modes sway, heave, roll about O on panel `i`.
    pub fn mode_normals(&self, i: usize) -> [f64; 3] {
        let [n2, n3] = self.normal[i];
        let [y, z] = self.mid[i];
        [n2, n3, y * n3 - z * n2]
    }

    /// Area enclosed by the panels and the waterplane, m2.
    pub fn area_m2(&self) -> f64 {
        let n = if self.len() > self.body {
            self.body + 1
        } else {
            self.vertices.len()
        };
        shoelace(&self.vertices[..n])
    }
}

fn check(contour: &Contour, options: &SectionOptions) -> Result<()> {
    let bad = |what: String| {
        Err(Error::new(format!(
            "section at x = {} m: {what}",
            contour.x_m
        )))
    };
    if options.panels < 8 || options.panels > 2000 {
        return bad(format!(
            "{} panels per hull, must lie between 8 and 2000",
            options.panels
        ));
    }
    if contour.pieces.is_empty() || contour.pieces.iter().any(|p| p.len() < 2) {
        return bad("outline has no points".into());
    }
    let scale = contour
        .pieces
        .iter()
        .map(|p| polyline_length(p))
        .sum::<f64>();
    if !(scale > 0.0 && scale.is_finite() && contour.area_m2 > 0.0) {
        return bad(format!(
            "outline of length {scale} m and area {} m2",
            contour.area_m2
        ));
    }
    for p in contour.pieces.iter().flatten() {
        if p[1] < -1e-6 * scale || p[0] < -1e-6 * scale {
            return bad(format!(
                "outline point ({}, {}) above water or to port",
                p[0], p[1]
            ));
        }
    }
    let [first, last] = ends(contour);
    if contour.surface_piercing {
        if first[1].abs().max(last[1].abs()) > 1e-6 * scale {
            return bad("a surface-piercing outline must start and end on the waterline".into());
        }
        if last[0] - first[0] < 1e-9 * scale {
            return bad("the strut has no thickness at the waterline".into());
        }
    }
    Ok(())
}

/// First and last point of the chain, which has points.
fn ends(contour: &Contour) -> [[f64; 2]; 2] {
    let first = contour.pieces[0][0];
    let last = contour.pieces.last().and_then(|p| p.last());
    [first, last.copied().unwrap_or(first)]
}

fn polyline_length(p: &[[f64; 2]]) -> f64 {
    p.windows(2)
        .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
        .sum()
}

fn lid_panels(contour: &Contour, options: &SectionOptions) -> usize {
    if !contour.surface_piercing {
        return 0;
    }
    let [first, last] = ends(contour);
    let total: f64 = contour.pieces.iter().map(|p| polyline_length(p)).sum();
    let like_body = (last[0] - first[0]).abs() / total * options.panels as f64;
    (like_body.ceil() as usize).clamp(4, 24)
}

/// Panels per piece: in proportion to a power of length, so that short walls keep enough.
fn share(contour: &Contour, panels: usize) -> Vec<usize> {
    let length: Vec<f64> = contour.pieces.iter().map(|p| polyline_length(p)).collect();
    let whole: f64 = length.iter().sum();
    // a piece without length (a wall that ends at the hull's top) takes none
    let weight = |l: f64| if l > 1e-9 * whole { l.powf(0.6) } else { 0.0 };
    let total: f64 = length.iter().map(|&l| weight(l)).sum();
    length
        .iter()
        .map(|&l| match weight(l) / total * panels as f64 {
            share if share > 0.0 => (share.round() as usize).max(4),
            _ => 0,
        })
        .collect()
}

/// Vertices being laid, with the outward shift that restores the area.
#[derive(Default)]
struct Cut {
    points: Vec<[f64; 2]>,
    /// Per vertex: shift for a full share of sagitta.
    free: Vec<[f64; 2]>,
}

impl Cut {
    fn add_piece(&mut self, piece: &[[f64; 2]], n: usize, grading: f64) {
        let arc = arc_lengths(piece);
        let total = arc[arc.len() - 1];
        let at = |t: f64| {
            let s = (1.0 - grading) * t + grading * 0.5 * (1.0 - (std::f64::consts::PI * t).cos());
            on_curve(piece, &arc, s * total)
        };
        if self.points.is_empty() {
            self.points.push(at(0.0));
            self.free.push([0.0; 2]);
        }
        let mut before = [0.0; 2];
        for i in 0..n {
            let (t0, t1) = (i as f64 / n as f64, (i + 1) as f64 / n as f64);
            let (a, b) = (at(t0), at(t1));
            let bow = sagitta(a, at(0.5 * (t0 + t1)), b);
            if let (true, Some(f)) = (i > 0, self.free.last_mut()) {
                *f = [0.5 * (bow[0] + before[0]), 0.5 * (bow[1] + before[1])];
            }
            self.points.push(b);
            self.free.push([0.0; 2]);
            before = bow;
        }
    }

    /// The vertices moved outward until the polygon has the area asked.
    fn with_area(self, area: f64, piercing: bool) -> Vec<[f64; 2]> {
        let mut free = self.free;
        let n = self.points.len();
        if piercing {
            // a curved side carries its waterline point along, but on the surface
            free[0] = [free[1][0], 0.0];
            free[n - 1] = [free[n - 2][0], 0.0];
        } else if free.len() > 2 {
            free[0] = [
                0.5 * (free[1][0] + free[n - 1][0]),
                0.5 * (free[1][1] + free[n - 1][1]),
            ];
        }
        let moved = |c: f64| -> Vec<[f64; 2]> {
            self.points
                .iter()
                .zip(&free)
                .map(|(p, f)| [p[0] + c * f[0], p[1] + c * f[1]])
                .collect()
        };
        let (a0, a1) = (shoelace(&moved(0.0)), shoelace(&moved(1.0)));
        if a1 - a0 < 1e-9 * area {
            return self.points;
        }
        let mut c = ((area - a0) / (a1 - a0)).clamp(0.0, 2.0);
        for _ in 0..4 {
            let a = shoelace(&moved(c));
            c = (c + (area - a) / (a1 - a0)).clamp(0.0, 2.0);
        }
        moved(c)
    }
}

/// Vector from the chord's midpoint to the curve's.
fn sagitta(a: [f64; 2], m: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    let (dy, dz) = (b[0] - a[0], b[1] - a[1]);
    let l2 = dy * dy + dz * dz;
    let (my, mz) = (m[0] - a[0], m[1] - a[1]);
    // component along (-dz, dy), the outward normal
    let s = (-my * dz + mz * dy) / l2;
    if s * s * l2 < 1e-16 * l2 {
        return [0.0; 2];
    }
    [-s * dz, s * dy]
}

fn arc_lengths(p: &[[f64; 2]]) -> Vec<f64> {
    let mut arc = vec![0.0];
    for w in p.windows(2) {
        let last = arc[arc.len() - 1];
        arc.push(last + (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]));
    }
    arc
}

/// Cubic through the four nearest outline points at arc length `s`.
fn on_curve(p: &[[f64; 2]], arc: &[f64], s: f64) -> [f64; 2] {
    let n = p.len();
    if s <= 0.0 {
        return p[0];
    }
    if s >= arc[n - 1] {
        return p[n - 1];
    }
    let i = arc.partition_point(|&a| a <= s).clamp(1, n - 1);
    let lo = i.saturating_sub(2).min(n.saturating_sub(4));
    let hi = (lo + 4).min(n);
    let mut out = [0.0; 2];
    for j in lo..hi {
        let mut w = 1.0;
        for k in lo..hi {
            let gap = arc[j] - arc[k];
            if k != j && gap.abs() > 0.0 {
                w *= (s - arc[k]) / gap;
            }
        }
        out[0] += w * p[j][0];
        out[1] += w * p[j][1];
    }
    out
}

/// Area of the closed polygon, positive for the chain's sense.
fn shoelace(v: &[[f64; 2]]) -> f64 {
    let n = v.len();
    let twice: f64 = (0..n)
        .map(|i| {
            let (a, b) = (v[i], v[(i + 1) % n]);
            a[1] * b[0] - a[0] * b[1]
        })
        .sum();
    0.5 * twice
}
