//! Downwash of forward surfaces on aft ones.
//!
//! # Equation
//! A surface of lift coefficient CL sheds a horseshoe vortex from `pi b/4` along its span: with its image in the
//! hull it is a pair of span `pi (2b)/4` (a free surface: two tips, `pi b/4` apart),
//! `Gamma = CL_panel U S/(2 b')`, b' the panel's share of that span. Image in a round hull: `-Gamma` at
//! `r^2/d` from the axis (circle theorem; the wall image when r is large). Free surface, high Froude number:
//! potential antisymmetric about it, so the velocity of the mirrored point is added with
//! `(-u, -v, +w)`: image of the same circulation, more downwash. The angle along the aft surface's n is
//! averaged at three-quarter chord with the wing-body load as weight (reverse-flow theorem). On the same
//! hull it acts on the panel alone, the hull being allowed for by the image: it counts as a deflection,
//! `(k_W + k_B)/(K_W + K_B)` of an incidence.
//!
//! # Symbols
//! Angle positive where inflow along n is lost.
//!
//! # Valid when
//! Trail along -x through the shedding surface (craft near its trim, small angles), rolled up at once,
//! viscous core a tenth of the forward chord. Images of a vortex in the other hull are neglected (order r^2/d^2).
//!
//! # Source
//! Prandtl's lifting line; Biot-Savart; NACA Report 1307, section on wing-tail interference, for the images.
//!
//! # Checked by
//! `kernel_meets_horseshoe_reference`, `elliptic_trail_meets_prandtl`, `port_and_starboard_mirror`,
//! `hull_image_keeps_the_water_out`, `takes_a_fifth_to_a_third_of_the_aft_fin`.

use std::f64::consts::PI;

use nalgebra::Vector3;

use super::surface::Surface;
use crate::spec::scenario::FinEffectsSpec;

/// Stations of the average along the aft span.
const SPAN_POINTS: usize = 24;
/// Links below this angle per lift coefficient (rad) are dropped: a hundredth of a usual one.
const SMALLEST_LINK: f64 = 2e-4;
/// Core radius over the mean chord of the shedding surface.
const CORE_PER_CHORD: f64 = 0.1;

/// Downwash link from one surface to another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DownwashLink {
    /// Index of the surface that sheds the vortices.
    pub from: usize,
    /// Index of the surface that feels them.
    pub to: usize,
    /// Inflow angle lost at `to` (along its n, rad) per lift coefficient of `from`.
    pub angle_per_lift_coefficient: f64,
    /// Distance downstream, m; the delay is distance over speed.
    pub distance_m: f64,
}

/// A horseshoe: bound from `a` to `b`, trailing along -x from both, unit circulation from a to b.
#[derive(Clone, Copy, Debug)]
pub struct Horseshoe {
    /// Where the incoming trail ends, m.
    pub a: Vector3<f64>,
    /// Where the outgoing trail starts, m.
    pub b: Vector3<f64>,
    /// Core radius, m.
    pub core_m: f64,
}

impl Horseshoe {
    /// Velocity at `p` per unit circulation, 1/m.
    pub fn velocity(&self, p: &Vector3<f64>) -> Vector3<f64> {
        self.bound(p) + self.trail(&self.b, p) - self.trail(&self.a, p)
    }

    fn bound(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let (r1, r2) = (p - self.a, p - self.b);
        let along = self.b - self.a;
        let cross = r1.cross(&r2);
        let denominator = cross.norm_squared() + (self.core_m * along.norm()).powi(2);
        let ends = r1.normalize() - r2.normalize();
        if denominator <= 0.0 || !ends.x.is_finite() {
            return Vector3::zeros();
        }
        cross * (along.dot(&ends) / (4.0 * PI * denominator))
    }

    /// Half-infinite line from `start` along -x, circulation along -x.
    fn trail(&self, start: &Vector3<f64>, p: &Vector3<f64>) -> Vector3<f64> {
        let r = p - start;
        let d = -Vector3::x();
        let cross = d.cross(&r);
        let h2 = cross.norm_squared();
        let length = r.norm();
        if length <= 0.0 {
            return Vector3::zeros();
        }
        cross * ((1.0 + r.dot(&d) / length) / (4.0 * PI * (h2 + self.core_m * self.core_m)))
    }
}

/// All links of the craft's surfaces; empty when the effect is off.
///
/// The lift coefficient of `from` is the one of [`Surface::lift_coefficient`] (planform area, carry-over
/// included, at its design depth).
pub fn links(surfaces: &[Surface], effects: &FinEffectsSpec) -> Vec<DownwashLink> {
    let mut out = Vec::new();
    if !effects.downwash {
        return out;
    }
    for (from, f) in surfaces.iter().enumerate() {
        for (to, t) in surfaces.iter().enumerate() {
            let distance_m = f.r_m.x - t.r_m.x;
            if from == to || distance_m < 0.5 * (f.chord_m + t.chord_m) {
                continue;
            }
            let angle = mean_angle(f, t, effects.free_surface);
            if angle.abs() > SMALLEST_LINK {
                out.push(DownwashLink {
                    from,
                    to,
                    angle_per_lift_coefficient: angle,
                    distance_m,
                });
            }
        }
    }
    out
}

/// Vortex of `f` as it passes `t`, with its image in its hull, and circulation over speed per lift
/// coefficient, m. `radius_m` is the hull's radius at `t`: on a tapering hull the vortex closes in so that the flow
/// between it and the hull is kept, and its image lies in the hull as it is there.
fn vortex_of(f: &Surface, radius_m: f64) -> (Horseshoe, f64) {
    let core_m = CORE_PER_CHORD * f.chord_m;
    let own_span = 0.25 * PI * f.span_m;
    // at the mean chord's station along the quarter-chord line, so that sweep is met on average
    let x = f.quarter_chord_m(4.0 / (3.0 * PI)).x;
    let place = |y: f64| {
        let mut p = f.root_m + f.span_direction * y;
        p.x = x;
        p
    };
    let (inner, outer) = if f.body_radius_m > 0.0 {
        let r = f.body_radius_m;
        let d2 = (r + own_span).powi(2) - r * r + radius_m * radius_m;
        let d = d2.sqrt();
        (radius_m * radius_m / d - r, d - r)
    } else {
        let mid = 0.5 * f.span_m;
        (mid - 0.5 * own_span, mid + 0.5 * own_span)
    };
    // circulation along e: from the end that lies back along e to the other
    let forwards = f.span_direction.dot(&f.e) > 0.0;
    let (a, b) = if forwards {
        (place(inner), place(outer))
    } else {
        (place(outer), place(inner))
    };
    let strength_m = f.panel_share() * f.area_m2 / (2.0 * own_span);
    (Horseshoe { a, b, core_m }, strength_m)
}

fn mean_angle(f: &Surface, t: &Surface, free_surface: bool) -> f64 {
    let same = same_hull(f, t);
    let radius_m = if same {
        t.body_radius_m
    } else {
        f.body_radius_m
    };
    let (vortex, strength_m) = vortex_of(f, radius_m);
    let (mut sum, mut weights) = (0.0, 0.0);
    for i in 0..SPAN_POINTS {
        let y = (i as f64 + 0.5) / SPAN_POINTS as f64;
        let weight = span_weight(t, y);
        let mut p = t.quarter_chord_m(y);
        p.x -= 0.5 * t.chord_at_m(y);
        let mut v = vortex.velocity(&p);
        if free_surface {
            let m = vortex.velocity(&Vector3::new(p.x, p.y, -p.z));
            v += Vector3::new(-m.x, -m.y, m.z);
        }
        sum -= weight * v.dot(&t.n);
        weights += weight;
    }
    let share = if same {
        t.carry.deflection() / t.carry.incidence()
    } else {
        1.0
    };
    sum / weights * strength_m * share
}

/// Load of the surface with its body at unit incidence at `y` of the span, the weight of local angles on total
/// lift (reverse-flow theorem; slender wing and body, an ellipse without body).
fn span_weight(t: &Surface, y: f64) -> f64 {
    let r = t.body_radius_m;
    if r <= 0.0 {
        return (y * (1.0 - y)).sqrt();
    }
    let (s, at) = (r + t.span_m, r + y * t.span_m);
    let lift = (s + r * r / s).powi(2) - (at + r * r / at).powi(2);
    lift.max(0.0).sqrt()
}

/// True when both stand on the same hull (axes within a body radius).
fn same_hull(f: &Surface, t: &Surface) -> bool {
    let axis = |s: &Surface| s.root_m - s.span_direction * s.body_radius_m;
    let gap = axis(f) - axis(t);
    f.body_radius_m > 0.0
        && t.body_radius_m > 0.0
        && gap.y.hypot(gap.z) < f.body_radius_m.max(t.body_radius_m)
}

#[cfg(test)]
mod tests;
