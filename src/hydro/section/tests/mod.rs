//! Checks of the sectional flow against reference list B, identities, limits and itself.

mod identities;
mod limits;
mod reference;
mod report;
mod robust;
mod semicircle;
mod shapes;
mod strut;
mod submerged;
mod twin;

/// Says value, reference and relative error beside the tolerance when it is exceeded.
fn close(what: &str, got: f64, want: f64, relative: f64, floor: f64) {
    let allowed = (relative * want.abs()).max(floor);
    assert!(
        (got - want).abs() <= allowed,
        "{what}: {got} against {want}, off by {:e}, allowed {allowed:e}",
        got - want
    );
}
