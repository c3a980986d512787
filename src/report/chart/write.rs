//! A figure on disk, whole or not at all.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::layout::{Sheet, panels};
use super::{Figure, Heading, Row, canvas};
use crate::error::{Error, Result};

impl Figure {
    /// A figure of the usual width with the general caution.
    pub fn new(heading: Heading, rows: Vec<Row>) -> Figure {
        Figure {
            heading,
            footer: crate::caution::CAUTION.to_owned(),
            width_px: 900.0,
            rows,
            scale: None,
        }
    }

    /// The SVG as text.
    ///
    /// # Errors
    /// When the drawing library fails.
    pub fn svg(&self) -> Result<String> {
        let sheet = Sheet::new(self);
        let (w, h) = size(self, &sheet);
        canvas::svg(w, h, &|c| sheet.draw(c))
    }

    /// Writes `<stem>.png` and `<stem>.svg` into the folder `dir`, which is made if need be. Each
    /// file is written beside its place and then moved there.
    ///
    /// # Errors
    /// When a file cannot be written; the message names it.
    pub fn write(&self, dir: &Path, stem: &str) -> Result<Vec<PathBuf>> {
        fs::create_dir_all(dir).map_err(|e| Error::io("make the folder for pictures", dir, &e))?;
        let png = dir.join(format!("{stem}.png"));
        let svg = dir.join(format!("{stem}.svg"));
        let sheet = Sheet::new(self);
        let (w, h) = size(self, &sheet);
        let draw = |c: &mut canvas::Canvas<'_>| sheet.draw(c);
        let (pw, ph, pixels) = canvas::raster(w, h, &draw)?;
        place(&png, ".png", &|at| canvas::encode_png(at, pw, ph, &pixels))?;
        let text = canvas::svg(w, h, &draw)?;
        place(&svg, ".svg", &|at| {
            let write = fs::File::create(at).and_then(|mut f| f.write_all(text.as_bytes()));
            write.map_err(|e| Error::io("write the picture", at, &e))
        })?;
        Ok(vec![png, svg])
    }

    /// Number of panels.
    pub fn panel_count(&self) -> usize {
        panels(self).count()
    }
}

fn size(figure: &Figure, sheet: &Sheet<'_>) -> (u32, u32) {
    (figure.width_px.ceil() as u32, sheet.height as u32)
}

/// Lets `fill` write a temporary neighbour of `path`, then moves it there.
fn place(path: &Path, suffix: &str, fill: &dyn Fn(&Path) -> Result<()>) -> Result<()> {
    let told = |e: &std::io::Error| Error::io("write the picture", path, e);
    let dir = path.parent().unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".picture").suffix(suffix);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        builder.permissions(fs::Permissions::from_mode(0o666)); // less the user's mask
    }
    let temporary = builder.tempfile_in(dir).map_err(|e| told(&e))?;
    fill(temporary.path()).map_err(|mut e| {
        for p in &mut e.problems {
            p.place.file = Some(path.to_owned());
        }
        e
    })?;
    temporary.persist(path).map_err(|e| told(&e.error))?;
    Ok(())
}
