//! Exact outlines of sections: lines and arcs of ellipses, with their area integrals.
//!
//! # Equation
//! ```text
//! area = ∮ z dy,  ∫ y dA = ∮ y z dy,  ∫ z dA = ∮ z²/2 dy
//! ```
//! along the chain from the inboard waterline point down, round the keel and up; the closing line
//! along z = 0 adds nothing (Green's theorem).
//!
//! # Symbols
//! y to starboard, z down from the design waterline, m.
//!
//! # Checked by
//! `circle_and_box_have_their_areas`, and the hydrostatics tests of the room

use std::f64::consts::PI;

use super::integrate::gauss_legendre;

/// A piece of an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curve {
    /// Straight.
    Line {
        /// Start (y, z), m.
        from: [f64; 2],
        /// End, m.
        to: [f64; 2],
    },
    /// `y = cy + ry cos t`, `z = cz + rz sin t`; t = pi/2 is the keel, pi the inboard side.
    Arc {
        /// Centre (y, z), m.
        centre: [f64; 2],
        /// Semi-axes along y and z, m.
        radii: [f64; 2],
        /// Start, rad.
        from_rad: f64,
        /// End, rad.
        to_rad: f64,
    },
}

/// Area and first moments of a section.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moments {
    /// Area, m2.
    pub area_m2: f64,
    /// ∫ y dA, m3.
    pub y_m3: f64,
    /// ∫ z dA, m3.
    pub z_m3: f64,
}

impl Curve {
    fn point_and_slope(&self, s: f64) -> ([f64; 2], [f64; 2]) {
        match *self {
            Curve::Line { from, to } => {
                let d = [to[0] - from[0], to[1] - from[1]];
                ([from[0] + s * d[0], from[1] + s * d[1]], d)
            }
            Curve::Arc {
                centre,
                radii,
                from_rad,
                to_rad,
            } => {
                let turn = to_rad - from_rad;
                let (sin, cos) = (from_rad + s * turn).sin_cos();
                (
                    [centre[0] + radii[0] * cos, centre[1] + radii[1] * sin],
                    [-radii[0] * sin * turn, radii[1] * cos * turn],
                )
            }
        }
    }

    /// Point (y, z) at the share `s` of the parameter, 0 to 1.
    pub fn point(&self, s: f64) -> [f64; 2] {
        self.point_and_slope(s).0
    }

    /// Unit tangent at the share `s`.
    pub fn tangent(&self, s: f64) -> [f64; 2] {
        let d = self.point_and_slope(s).1;
        let n = d[0].hypot(d[1]).max(f64::MIN_POSITIVE);
        [d[0] / n, d[1] / n]
    }

    /// Length, m.
    pub fn length_m(&self) -> f64 {
        match *self {
            Curve::Line { from, to } => (to[0] - from[0]).hypot(to[1] - from[1]),
            Curve::Arc { .. } => self.integral(|_, d| d[0].hypot(d[1])),
        }
    }

    fn integral(&self, f: impl Fn([f64; 2], [f64; 2]) -> f64) -> f64 {
        thread_local! { static RULE: (Vec<f64>, Vec<f64>) = gauss_legendre(16); }
        let parts = match *self {
            Curve::Line { .. } => 1,
            Curve::Arc {
                from_rad, to_rad, ..
            } => ((to_rad - from_rad).abs() / (0.5 * PI)).ceil().max(1.0) as usize,
        };
        let step = 1.0 / parts as f64;
        RULE.with(|(u, w)| {
            let mut sum = 0.0;
            for part in 0..parts {
                for (u, w) in u.iter().zip(w) {
                    let s = (part as f64 + 0.5 + 0.5 * u) * step;
                    let (p, d) = self.point_and_slope(s);
                    sum += 0.5 * w * step * f(p, d);
                }
            }
            sum
        })
    }

    /// The curve's share of the area integrals.
    pub fn moments(&self) -> Moments {
        Moments {
            area_m2: self.integral(|p, d| p[1] * d[0]),
            y_m3: self.integral(|p, d| p[0] * p[1] * d[0]),
            z_m3: self.integral(|p, d| 0.5 * p[1] * p[1] * d[0]),
        }
    }

    fn samples(&self) -> usize {
        match *self {
            Curve::Line { .. } => 32,
            Curve::Arc {
                from_rad, to_rad, ..
            } => ((to_rad - from_rad).abs() / (PI / 256.0)).ceil().max(8.0) as usize,
        }
    }
}

/// Area integrals of a chain.
pub fn moments(chain: &[Curve]) -> Moments {
    chain.iter().fold(Moments::default(), |mut sum, c| {
        let m = c.moments();
        sum.area_m2 += m.area_m2;
        sum.y_m3 += m.y_m3;
        sum.z_m3 += m.z_m3;
        sum
    })
}

/// Dense points of a chain, split where the tangent turns (corners).
pub fn smooth_pieces(chain: &[Curve]) -> Vec<Vec<[f64; 2]>> {
    const SMOOTH: f64 = 1.0 - 1e-9; // cosine of the turn below which two curves run on
    let mut pieces: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut last: Option<[f64; 2]> = None;
    for curve in chain.iter().filter(|c| c.length_m() > 0.0) {
        let start = curve.tangent(0.0);
        let runs_on = last.is_some_and(|t| t[0] * start[0] + t[1] * start[1] > SMOOTH);
        let n = curve.samples();
        let points = (0..=n).map(|i| curve.point(i as f64 / n as f64));
        match pieces.last_mut() {
            Some(piece) if runs_on => piece.extend(points.skip(1)),
            _ => pieces.push(points.collect()),
        }
        last = Some(curve.tangent(1.0));
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circle_and_box_have_their_areas() {
        let circle = [Curve::Arc {
            centre: [6.0, 3.0],
            radii: [1.1, 1.1],
            from_rad: 1.5 * PI,
            to_rad: -0.5 * PI,
        }];
        let m = moments(&circle);
        let area = PI * 1.21;
        assert!((m.area_m2 / area - 1.0).abs() < 1e-13); // rounding
        assert!((m.y_m3 / (6.0 * area) - 1.0).abs() < 1e-13);
        assert!((m.z_m3 / (3.0 * area) - 1.0).abs() < 1e-13);
        assert!((circle[0].length_m() / (2.2 * PI) - 1.0).abs() < 1e-13);

        let corners = [[0.0, 0.0], [0.0, 2.0], [3.0, 2.0], [3.0, 0.0]];
        let side: Vec<Curve> = corners
            .windows(2)
            .map(|p| Curve::Line {
                from: p[0],
                to: p[1],
            })
            .collect();
        assert!((moments(&side).area_m2 - 6.0).abs() < 1e-13);
        assert_eq!(smooth_pieces(&side).len(), 3);
    }
}
