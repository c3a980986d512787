//! Ticks at round numbers, and numbers as people write them.

/// Round steps: 1, 2 or 5 times a power of ten, at most about `most` of them in the range.
pub(super) fn round_step(range: f64, most: f64) -> f64 {
    let rough = (range / most.max(1.0)).max(f64::MIN_POSITIVE);
    let power = 10_f64.powf(rough.log10().floor());
    let lead = rough / power;
    let round = if lead <= 1.0 + 1e-9 {
        1.0
    } else if lead <= 2.0 + 1e-9 {
        2.0
    } else if lead <= 5.0 + 1e-9 {
        5.0
    } else {
        10.0
    };
    round * power
}

/// Multiples of `step` within the range.
pub(super) fn multiples(low: f64, high: f64, step: f64) -> Vec<f64> {
    let slack = 1e-6;
    let first = (low / step - slack).ceil() as i64;
    let last = (high / step + slack).floor() as i64;
    if last - first > 500 {
        return vec![low, high];
    }
    (first..=last).map(|i| i as f64 * step).collect()
}

/// Decimals that tell multiples of `step` apart.
pub(super) fn decimals_of(step: f64) -> usize {
    let mut d = 0;
    let mut s = step.abs();
    while d < 8 && (s - s.round()).abs() > 1e-6 * s.max(1e-12) {
        s *= 10.0;
        d += 1;
    }
    d
}

/// A number with a true minus sign; large and tiny ones with a power of ten.
pub(super) fn number(v: f64, decimals: usize) -> String {
    let size = v.abs();
    let text = if size >= 1e6 || (size > 0.0 && size < 1e-4) {
        let e = size.log10().floor() as i32;
        let lead = format!("{:.3}", v / 10_f64.powi(e));
        let lead = lead.trim_end_matches('0').trim_end_matches('.').to_owned();
        format!("{lead}·10{}", superscript(e))
    } else {
        format!("{v:.decimals$}")
    };
    let is_zero = !text.chars().any(|c| ('1'..='9').contains(&c));
    if is_zero {
        text.trim_start_matches('-').to_owned()
    } else {
        text.replace('-', "−")
    }
}

/// A label of a logarithmic axis that begins at `low`: where that one needs a power of ten, all below 1 have one.
pub(super) fn decade(v: f64, low: f64) -> String {
    let e = (v.log10() + 1e-9).floor() as i32; // a power of ten may come out a hair short
    let lead = (v / 10_f64.powi(e)).round();
    if low >= 0.9e-4 || v >= 0.9 {
        return number(v, (-e).max(0) as usize);
    }
    let power = format!("10{}", superscript(e));
    if lead > 1.0 {
        format!("{lead}·{power}")
    } else {
        power
    }
}

fn superscript(e: i32) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    e.to_string()
        .chars()
        .map(|c| c.to_digit(10).map_or('⁻', |d| DIGITS[d as usize]))
        .collect()
}

/// Ticks of a logarithmic axis: value, and whether it is labelled.
pub(super) fn decades(low: f64, high: f64) -> Vec<(f64, bool)> {
    let (first, last) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let few = high / low < 120.0;
    let mut all = Vec::new();
    for e in first..=last {
        for m in 1..10 {
            let v = f64::from(m) * 10_f64.powi(e);
            if v >= low * (1.0 - 1e-9) && v <= high * (1.0 + 1e-9) {
                all.push((v, m == 1 || few && (m == 2 || m == 5)));
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_and_told_apart() {
        assert!((round_step(0.9, 5.0) - 0.2).abs() < 1e-12);
        assert!((round_step(37.0, 6.0) - 10.0).abs() < 1e-12);
        assert_eq!(decimals_of(0.25), 2);
        assert_eq!(decimals_of(20.0), 0);
        assert_eq!(multiples(-0.41, 0.4, 0.2).len(), 5);
    }

    #[test]
    fn numbers_read_well() {
        assert_eq!(number(-0.25, 2), "−0.25");
        assert_eq!(number(-0.0, 1), "0.0");
        assert_eq!(number(2.5e7, 0), "2.5·10⁷");
        let alike = [1e-6, 1e-4, 0.1, 1.0].map(|v| decade(v, 1e-6));
        assert_eq!(alike, ["10⁻⁶", "10⁻⁴", "10⁻¹", "1"]);
        assert_eq!([1e-3, 0.1].map(|v| decade(v, 1e-3)), ["0.001", "0.1"]);
        assert_eq!(decades(0.1, 4.0).iter().filter(|t| t.1).count(), 5);
    }
}
