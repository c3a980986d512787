//! Figures are written whole, twice alike, and say what they show.

use std::path::PathBuf;

use super::layout::legend_names;
use super::*;

pub(crate) fn sample() -> Figure {
    let wave = |k: f64| (0..200).map(move |i| [f64::from(i) * 0.1, (f64::from(i) * 0.1 * k).sin()]);
    let one: Vec<[f64; 2]> = wave(1.0).collect();
    let band = one.iter().map(|p| [p[1] - 0.2, p[1] + 0.2]).collect();
    let x = Axis::new("time", "s");
    let top = Panel::new(
        "Heave, up positive",
        x.clone(),
        Axis::new("heave, up positive", "m"),
    )
    .with(Shade {
        x: Some([0.0, 3.0]),
        y: None,
        label: "run-in".into(),
        colour: Colour::GREY,
        hatch: Hatch::None,
    })
    .with(Line::new("fixed", Look::nth(0), one).band(band))
    .with(Line::new("PID", Look::nth(1), wave(1.3).collect()).markers(9))
    .with(Rule::level(0.8, "limit"));
    let value = |value: f64| Bar::Value {
        value,
        interval: Some([0.9 * value, 1.1 * value]),
    };
    let mut bars = Panel::new("RMS", Axis::default(), Axis::new("RMS", "m"));
    bars.x.categories = vec!["head".into(), "bow".into()];
    bars.add(Layer::Bars(vec![
        BarSeries {
            name: "fixed".into(),
            look: Look::nth(0),
            bars: vec![value(0.4), Bar::Words("run ended".into())],
        },
        BarSeries {
            name: "PID".into(),
            look: Look::nth(1),
            bars: vec![value(0.2), value(0.3)],
        },
    ]));
    Figure::new(
        Heading::new(
            "A title",
            "16 kn, Hs 1.25 m",
            "Invented demonstration craft",
        ),
        vec![Row::of(180.0, vec![top]), Row::of(180.0, vec![bars])],
    )
}

/// Fails unless both files exist, the PNG holds ink and the SVG the texts. Set the variable
/// `RIDEWRIGHT_PICTURES` to a folder to keep the pictures and look at them.
pub(crate) fn check(figure: &Figure, stem: &str, texts: &[&str]) {
    let dir = tempfile::tempdir().unwrap();
    let kept = std::env::var_os("RIDEWRIGHT_PICTURES").map(PathBuf::from);
    let files = figure
        .write(kept.as_deref().unwrap_or(dir.path()), stem)
        .unwrap();
    assert_eq!(files.len(), 2);
    let png = std::fs::read(&files[0]).unwrap();
    assert_eq!(&png[1..4], b"PNG");
    let side = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
    assert!((f64::from(side(16)) - 2.0 * figure.width_px).abs() < 2.5);
    assert!(side(20) > 200);
    let svg = std::fs::read_to_string(&files[1]).unwrap();
    for text in texts {
        assert!(svg.contains(text), "the SVG lacks `{text}`");
    }
    assert!(svg.contains("sans-serif") && !svg.contains("NaN"));
}

#[test]
fn figure_is_written_twice_alike() {
    let dir = tempfile::tempdir().unwrap();
    let figure = sample();
    let first = figure.write(&dir.path().join("a"), "x").unwrap();
    let second = figure.write(&dir.path().join("b"), "x").unwrap();
    for (a, b) in first.iter().zip(&second) {
        assert_eq!(std::fs::read(a).unwrap(), std::fs::read(b).unwrap());
    }
    let names: Vec<_> = std::fs::read_dir(dir.path().join("a")).unwrap().collect();
    assert_eq!(names.len(), 2, "temporary files stay behind");
}

#[test]
fn pixels_hold_ink_of_every_series() {
    let figure = sample();
    let sheet = layout::Sheet::new(&figure);
    let (w, h, pixels) = canvas::raster(900, sheet.height as u32, &|c| sheet.draw(c)).unwrap();
    assert_eq!(pixels.len(), 3 * w as usize * h as usize);
    let count = |c: Colour| {
        let same = |p: &&[u8]| p[0] == c.0 && p[1] == c.1 && p[2] == c.2;
        pixels.chunks_exact(3).filter(same).count()
    };
    assert!(count(Colour::WHITE) > pixels.len() / 6);
    assert!(count(Look::nth(0).colour) > 500);
    assert!(count(Look::nth(1).colour) > 500);
}

#[test]
fn labels_are_in_the_svg() {
    let texts = [
        "A title",
        "heave, up positive (m)",
        "time (s)",
        "run ended",
        "0.40",
        "limit",
        "licensed naval architects",
    ];
    check(&sample(), "sample", &texts);
    assert_eq!(legend_names(&sample()), ["fixed", "PID"]);
}

#[test]
fn failure_names_the_file() {
    let dir = tempfile::tempdir().unwrap();
    let blocked = dir.path().join("here");
    std::fs::write(&blocked, "a file, no folder").unwrap();
    let error = sample().write(&blocked, "x").unwrap_err();
    assert!(error.to_string().contains("here"), "{error}");
    std::fs::create_dir(dir.path().join("x.png")).unwrap();
    let error = sample().write(dir.path(), "x").unwrap_err();
    assert!(error.to_string().contains("x.png"), "{error}");
}

#[test]
fn odd_data_do_not_stop_a_picture() {
    let lines = [
        vec![],
        vec![[1.0, f64::NAN]],
        vec![[0.0, 5.0], [1.0, 5.0]],
        vec![[0.0, f64::INFINITY], [1.0, 2.0], [2.0, -1e300]],
    ];
    let panels = lines.into_iter().map(|xy| {
        Panel::new("", Axis::new("x", ""), Axis::new("y", "")).with(Line::new(
            "a",
            Look::nth(0),
            xy,
        ))
    });
    let log = Panel::new("", Axis::new("x", "").log(), Axis::new("y", "").log()).with(Line::new(
        "a",
        Look::nth(0),
        vec![[0.0, 1.0], [0.3, 0.0], [4.0, 20.0]],
    ));
    let rows = panels
        .chain([log])
        .map(|p| Row::of(90.0, vec![p]))
        .collect();
    let figure = Figure::new(Heading::default(), rows);
    assert_eq!(figure.panel_count(), 5);
    check(&figure, "odd", &["y"]);
}
