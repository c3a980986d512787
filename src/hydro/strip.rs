//! Sections to craft: strip integrals.

/// Frequencies of the radiation tables, rad/s: dense where the craft moves, to 13.5 sqrt(g/L).
///
/// In units of sqrt(g/L) so that a Froude-scaled craft has the scaled grid.
pub fn frequency_grid(length_m: f64, g_m_s2: f64) -> Vec<f64> {
    frequency_grid_of(length_m, g_m_s2, 1)
}

/// The same with every interval divided by `parts`.
pub fn frequency_grid_of(length_m: f64, g_m_s2: f64, parts: usize) -> Vec<f64> {
    let unit = (g_m_s2 / length_m).sqrt();
    let mut coarse = vec![0.0, 0.035, 0.09];
    let mut w: f64 = 0.09;
    while w < 13.5 {
        // steps of 0.08 up to 2.5, then growing with frequency
        w += 0.08_f64.max(0.058 * (w - 1.1));
        coarse.push(w);
    }
    let mut grid = Vec::new();
    for pair in coarse.windows(2) {
        for p in 1..=parts {
            grid.push(unit * (pair[0] + (pair[1] - pair[0]) * p as f64 / parts as f64));
        }
    }
    grid
}
