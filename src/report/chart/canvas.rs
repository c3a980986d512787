//! The only room that knows the drawing library: lines, fills and text on paper measured in pixels.
//!
//! Both backends of the library round to whole numbers, so everything is drawn four times larger:
//! the SVG is shown at a quarter, the PNG is averaged down to half, which smooths its edges too.

use std::fmt::Display;
use std::sync::OnceLock;

use plotters::prelude::{BitMapBackend, DrawingBackend, IntoFont, RGBColor, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, FontTransform, ShapeStyle, TextStyle, register_font};

use super::look::Colour;
use crate::error::{Error, Result};

static REGULAR: &[u8] = include_bytes!("../fonts/DejaVuSans.sub.ttf");
static BOLD: &[u8] = include_bytes!("../fonts/DejaVuSans-Bold.sub.ttf");
const FAMILY: &str = "sans-serif";
/// Families named in SVG files, ending with a generic one: the reader's machine decides.
const SVG_FAMILIES: &str = "DejaVu Sans, Verdana, Arial, sans-serif";
/// Units of the backends per pixel of the figure.
const FINE: u32 = 4;
/// Pixels of the PNG per pixel of the figure.
const PNG_SCALE: u32 = 2;
/// Height of the font's line over its em, and what the SVG backend divides by.
const LINE_PER_EM: f64 = 1.164;
const SVG_DIVISOR: f64 = 1.24;

/// A place on the paper, px, y down.
pub(super) type Px = [f64; 2];

/// Which side of a text is at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Middle,
    Right,
}

/// How a text looks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Type {
    /// Em, px.
    pub(super) size: f64,
    pub(super) bold: bool,
    pub(super) colour: Colour,
    pub(super) side: Side,
    /// Reading upwards.
    pub(super) upright: bool,
}

impl Type {
    pub(super) fn new(size: f64) -> Self {
        Type {
            size,
            bold: false,
            colour: Colour::INK,
            side: Side::Left,
            upright: false,
        }
    }
    pub(super) fn bold(mut self) -> Self {
        self.bold = true;
        self
    }
    pub(super) fn colour(mut self, colour: Colour) -> Self {
        self.colour = colour;
        self
    }
    pub(super) fn side(mut self, side: Side) -> Self {
        self.side = side;
        self
    }
    pub(super) fn upright(mut self) -> Self {
        self.upright = true;
        self
    }
}

enum Target<'a> {
    Svg(SVGBackend<'a>),
    Raster(BitMapBackend<'a>),
}

/// Paper to draw on. The first failure is kept and told at the end.
pub(super) struct Canvas<'a> {
    target: Target<'a>,
    fault: Option<String>,
}

/// Runs the same call on either backend.
macro_rules! on {
    ($canvas:expr, $b:ident => $call:expr) => {{
        let fault = match &mut $canvas.target {
            Target::Svg($b) => told($call),
            Target::Raster($b) => told($call),
        };
        if $canvas.fault.is_none() {
            $canvas.fault = fault;
        }
    }};
}

fn told<T, E: Display>(result: std::result::Result<T, E>) -> Option<String> {
    result.err().map(|e| e.to_string())
}

fn fonts() -> bool {
    static READY: OnceLock<bool> = OnceLock::new();
    *READY.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, REGULAR).is_ok()
            && register_font(FAMILY, FontStyle::Bold, BOLD).is_ok()
    })
}

fn style_of(bold: bool) -> FontStyle {
    if bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    }
}

/// Width of a text, px.
pub(super) fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    const REFERENCE: f64 = 200.0; // measured large: the library rounds to whole pixels
    if !fonts() {
        return 0.6 * size * text.chars().count() as f64;
    }
    let font = (FAMILY, REFERENCE * LINE_PER_EM, style_of(bold)).into_font();
    font.layout_box(text)
        .map_or(0.0, |(_, (w, _))| f64::from(w) / REFERENCE * size)
}

fn unit(v: f64) -> i32 {
    (v * f64::from(FINE)).round().clamp(-1e6, 1e6) as i32
}

fn units(p: &Px) -> (i32, i32) {
    (unit(p[0]), unit(p[1]))
}

fn rgb(c: Colour) -> RGBColor {
    RGBColor(c.0, c.1, c.2)
}

impl Canvas<'_> {
    /// A filled polygon.
    pub(super) fn fill(&mut self, points: &[Px], colour: Colour, alpha: f64) {
        if points.len() < 3 {
            return;
        }
        let style = rgb(colour).mix(alpha).filled();
        let path: Vec<_> = points.iter().map(units).collect();
        on!(self, b => b.fill_polygon(path, &style));
    }

    /// A filled rectangle between two corners.
    pub(super) fn rect(&mut self, a: Px, b: Px, colour: Colour, alpha: f64) {
        let style: ShapeStyle = rgb(colour).mix(alpha).filled();
        let low = units(&[a[0].min(b[0]), a[1].min(b[1])]);
        let high = units(&[a[0].max(b[0]), a[1].max(b[1])]);
        on!(self, t => t.draw_rect(low, high, &style, true));
    }

    /// A solid line through points with round joins.
    pub(super) fn line(&mut self, points: &[Px], width: f64, colour: Colour) {
        if points.len() < 2 {
            return;
        }
        let style = rgb(colour).stroke_width(unit(width).max(1) as u32);
        match &mut self.target {
            Target::Svg(b) => {
                let fault = told(b.draw_path(points.iter().map(units), &style));
                self.fault = self.fault.take().or(fault);
            }
            Target::Raster(_) => self.thick(points, width, colour),
        }
    }

    /// The raster backend folds thick lines at sharp turns, so they are built of bars and discs.
    fn thick(&mut self, points: &[Px], width: f64, colour: Colour) {
        let h = 0.5 * width;
        for pair in points.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let n = dx.hypot(dy);
            if n <= 0.0 {
                continue;
            }
            if dx.abs() < 1e-9 || dy.abs() < 1e-9 {
                let (ex, ey) = (h * dy.abs() / n, h * dx.abs() / n);
                let low = [a[0].min(b[0]) - ex, a[1].min(b[1]) - ey];
                let high = [a[0].max(b[0]) + ex, a[1].max(b[1]) + ey];
                self.rect(low, high, colour, 1.0);
                continue;
            }
            let (ex, ey) = (-h * dy / n, h * dx / n);
            let quad = [
                [a[0] + ex, a[1] + ey],
                [b[0] + ex, b[1] + ey],
                [b[0] - ex, b[1] - ey],
                [a[0] - ex, a[1] - ey],
            ];
            self.fill(&quad, colour, 1.0);
        }
        // a disc fills the wedge that opens where the line turns
        for three in points.windows(3).filter(|_| width >= 0.9) {
            let [a, b, c] = [three[0], three[1], three[2]];
            let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
            let size = u[0].hypot(u[1]) * v[0].hypot(v[1]);
            if u[0] * v[0] + u[1] * v[1] < 0.985 * size {
                self.disc(b, h, colour);
            }
        }
    }

    /// A filled disc.
    pub(super) fn disc(&mut self, at: Px, radius: f64, colour: Colour) {
        let style = rgb(colour).filled();
        on!(self, b => b.draw_circle(units(&at), unit(radius).max(1) as u32, &style, true));
    }

    /// A text whose baseline begins, is centred or ends at a place.
    pub(super) fn text(&mut self, at: Px, text: &str, look: Type) {
        if text.is_empty() {
            return;
        }
        if !fonts() {
            self.fault = Some("the embedded font is unusable".to_owned());
            return;
        }
        let em = look.size * f64::from(FINE);
        let is_svg = matches!(self.target, Target::Svg(_));
        let size = em * if is_svg { SVG_DIVISOR } else { LINE_PER_EM };
        // the raster backend puts the baseline half a line below the anchor, the SVG one where
        // `finish_svg` moves it: at the anchor
        let drop = if is_svg {
            0.0
        } else {
            0.5 * size / f64::from(FINE)
        };
        let h = match look.side {
            Side::Left => HPos::Left,
            Side::Middle => HPos::Center,
            Side::Right => HPos::Right,
        };
        let font = (FAMILY, size, style_of(look.bold)).into_font();
        let (font, place) = if look.upright {
            (
                font.transform(FontTransform::Rotate270),
                [at[0] - drop, at[1]],
            )
        } else {
            (font, [at[0], at[1] - drop])
        };
        let ink = rgb(look.colour);
        let style = TextStyle::from(font)
            .color(&ink)
            .pos(Pos::new(h, VPos::Top));
        on!(self, b => b.draw_text(text, &style, units(&place)));
    }

    fn finish(&mut self) -> Result<()> {
        on!(self, b => b.present());
        match self.fault.take() {
            None => Ok(()),
            Some(fault) => Err(Error::new(format!("cannot draw the picture: {fault}"))),
        }
    }
}

/// Draws a figure of `width` by `height` px into the text of an SVG file.
pub(super) fn svg(width: u32, height: u32, draw: &dyn Fn(&mut Canvas<'_>)) -> Result<String> {
    let mut text = String::new();
    {
        let backend = SVGBackend::with_string(&mut text, (FINE * width, FINE * height));
        let mut canvas = Canvas {
            target: Target::Svg(backend),
            fault: None,
        };
        draw(&mut canvas);
        canvas.finish()?;
    }
    Ok(finish_svg(&text, width, height))
}

fn finish_svg(text: &str, width: u32, height: u32) -> String {
    let (w, h) = (FINE * width, FINE * height);
    text.replacen(
        &format!("<svg width=\"{w}\" height=\"{h}\""),
        &format!(
            "<svg width=\"{width}\" height=\"{height}\" stroke-linejoin=\"round\" \
             stroke-linecap=\"butt\""
        ),
        1,
    )
    .replace("dy=\"0.76em\"", "dy=\"0\"")
    .replace(
        "font-family=\"sans-serif\"",
        &format!("font-family=\"{SVG_FAMILIES}\""),
    )
}

/// Draws a figure into pixels: width, height and RGB bytes.
pub(super) fn raster(
    width: u32,
    height: u32,
    draw: &dyn Fn(&mut Canvas<'_>),
) -> Result<(u32, u32, Vec<u8>)> {
    let (w, h) = (FINE * width, FINE * height);
    let mut large = vec![255; 3 * w as usize * h as usize];
    {
        let mut canvas = Canvas {
            target: Target::Raster(BitMapBackend::with_buffer(&mut large, (w, h))),
            fault: None,
        };
        draw(&mut canvas);
        canvas.finish()?;
    }
    let small = shrunk(&large, w as usize, h as usize, (FINE / PNG_SCALE) as usize);
    Ok((PNG_SCALE * width, PNG_SCALE * height, small))
}

/// Mean of squares of `n` by `n` pixels.
fn shrunk(large: &[u8], w: usize, h: usize, n: usize) -> Vec<u8> {
    let (sw, sh) = (w / n, h / n);
    let mut small = Vec::with_capacity(3 * sw * sh);
    let mut sums = vec![0_u32; 3 * sw];
    let share = (n * n) as u32;
    for rows in large.chunks_exact(3 * w * n) {
        sums.fill(0);
        for row in rows.chunks_exact(3 * w) {
            for (square, sum) in row.chunks_exact(3 * n).zip(sums.chunks_exact_mut(3)) {
                for pixel in square.chunks_exact(3) {
                    sum[0] += u32::from(pixel[0]);
                    sum[1] += u32::from(pixel[1]);
                    sum[2] += u32::from(pixel[2]);
                }
            }
        }
        small.extend(sums.iter().map(|s| ((s + share / 2) / share) as u8));
    }
    small
}

/// Encodes pixels as PNG into a file that exists.
pub(super) fn encode_png(path: &std::path::Path, w: u32, h: u32, pixels: &[u8]) -> Result<()> {
    let mut backend = BitMapBackend::new(path, (w, h));
    let blit = told(backend.blit_bitmap((0, 0), (w, h), pixels));
    let fault = blit.or(told(backend.present()));
    match fault {
        None => Ok(()),
        Some(fault) => {
            let told = format!("cannot write the picture: {fault}");
            Err(Error::with_hint(told, "make room, or give another place with --out").in_file(path))
        }
    }
}
