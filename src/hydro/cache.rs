//! Tables on disk, keyed by content.
//!
//! What is costly, the radiation potentials of all sections at all frequencies, is kept; all the
//! rest is derived from it in milliseconds. The key is a hash of what the potentials depend on:
//! hull and strut forms, waterline, water, station and frequency lists, panel options, and the
//! format's version. A file that does not read back whole is left alone with a warning and the
//! tables are computed anew; a new file appears under its name only when it is complete.
//!
//! # Format
//! Eight bytes of magic, the key, the number of bytes that follow, little-endian f64 values in a
//! fixed order, and a hash of them.
//!
//! # Checked by
//! `what_was_written_reads_back`, `damage_is_noticed`, `key_depends_on_form_only`.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use num_complex::Complex64;

use super::craft_hydro::CraftHydro;
use super::section::{
    Panels, Potentials, SectionFlow, SectionLimit, SectionOptions, ZeroFrequency,
};
use super::stations::Stations;
use super::strip::{SectionTable, Strips};
use super::strip_waves::Slices;
use crate::error::{Error, Result};
use crate::geometry::craft::Craft;
use crate::math::hash::Hash;
use crate::spec::scenario::PhysicsSpec;

const MAGIC: &[u8; 8] = b"RWHYDR01";

/// The craft's tables, from `dir` when they are there, else computed and written there.
///
/// Also warnings about the cache; none of them is fatal.
///
/// # Errors
/// Of [`CraftHydro::compute`].
pub fn load_or_compute(
    craft: &Craft,
    physics: &PhysicsSpec,
    dir: &Path,
) -> Result<(CraftHydro, Vec<String>)> {
    let options = SectionOptions::default();
    let (stations, omega) = CraftHydro::cuts(craft, physics)?;
    let key = key(craft, &stations, &omega, &options)?;
    let path = file_name(dir, key);
    let mut warnings = Vec::new();
    match read(&path, key, craft, stations.clone(), omega.clone(), &options) {
        Ok(Some(strips)) => {
            return Ok((
                CraftHydro::assemble(craft, physics, strips, &options)?,
                warnings,
            ));
        }
        Ok(None) => {}
        Err(reason) => warnings.push(format!(
            "cache {} is not used: {reason}; the tables are computed anew",
            path.display()
        )),
    }
    let strips = Strips::solve(stations, omega, &options, craft.rho_kg_m3, craft.g_m_s2)?;
    if let Err(cause) = write(dir, &path, key, &strips) {
        warnings.push(format!("cache {} is not written: {cause}", path.display()));
    }
    Ok((
        CraftHydro::assemble(craft, physics, strips, &options)?,
        warnings,
    ))
}

/// Where the tables of a key lie.
fn file_name(dir: &Path, key: u128) -> PathBuf {
    dir.join(format!("sections-{key:032x}.bin"))
}

/// Hash of everything the potentials depend on.
fn key(
    craft: &Craft,
    stations: &Stations,
    omega: &[f64],
    options: &SectionOptions,
) -> Result<u128> {
    let json = serde_json::to_vec(&(
        &craft.spec.lower_hulls,
        &craft.spec.struts,
        craft.spec.design_waterline_m,
        &craft.spec.water,
    ))
    .map_err(|e| Error::new(format!("cannot key the cache: {e}")))?;
    let mut hash = Hash::default();
    hash.bytes(MAGIC);
    hash.bytes(env!("CARGO_PKG_VERSION").as_bytes());
    hash.bytes(&json);
    hash.bytes(format!("{options:?}").as_bytes());
    for list in [&stations.x_m, &stations.weight_m, omega] {
        hash.bytes(&(list.len() as u64).to_le_bytes());
        for x in list {
            hash.bytes(&x.to_le_bytes());
        }
    }
    Ok(hash.finish())
}

fn write(dir: &Path, path: &Path, key: u128, strips: &Strips) -> std::io::Result<()> {
    fs::create_dir_all(dir)?;
    let mut body = Vec::new();
    for s in &strips.sections {
        for f in &s.flow {
            put(&mut body, &[f.omega_rad_s]);
            put_potentials(&mut body, &f.twin);
            put_potentials(&mut body, &f.isolated);
        }
        put_limit(&mut body, &s.infinite);
        put_limit(&mut body, &s.zero.regular);
        put_limit(&mut body, &s.zero.log_k);
        put_limit(&mut body, &s.zero.damping_over_omega);
    }
    let mut file = tempfile::NamedTempFile::new_in(dir)?;
    file.write_all(MAGIC)?;
    file.write_all(&key.to_le_bytes())?;
    file.write_all(&(body.len() as u64).to_le_bytes())?;
    file.write_all(&body)?;
    file.write_all(&check(&body).to_le_bytes())?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|e| e.error)?;
    Ok(())
}

/// Hash of the values, eight bytes at a time (a byte at a time takes longer than the reading).
fn check(body: &[u8]) -> u64 {
    body.chunks(8).fold(0xcbf2_9ce4_8422_2325, |h: u64, c| {
        let mut word = [0; 8];
        word[..c.len()].copy_from_slice(c);
        (h ^ u64::from_le_bytes(word))
            .wrapping_mul(0x0000_0100_0000_01b3)
            .rotate_left(23)
    })
}

fn put(out: &mut Vec<u8>, values: &[f64]) {
    for v in values {
        out.extend_from_slice(&v.to_le_bytes());
    }
}

fn put_complex(out: &mut Vec<u8>, values: &[Complex64]) {
    for v in values {
        put(out, &[v.re, v.im]);
    }
}

fn put_limit(out: &mut Vec<u8>, l: &SectionLimit) {
    put(out, l.twin.as_flattened());
    put(out, l.isolated.as_flattened());
}

fn put_potentials(out: &mut Vec<u8>, p: &Potentials) {
    put(out, p.a.as_flattened());
    put(out, p.b.as_flattened());
    put_complex(out, p.radiated.as_flattened());
    for phi in &p.phi {
        put_complex(out, phi);
    }
}

/// Reads values one after the other; `None` at the end.
struct Source<'a>(std::slice::ChunksExact<'a, u8>);

impl Source<'_> {
    fn value(&mut self) -> Option<f64> {
        let chunk = self.0.next()?;
        let v = f64::from_le_bytes(chunk.try_into().ok()?);
        v.is_finite().then_some(v)
    }

    fn matrix(&mut self) -> Option<[[f64; 3]; 3]> {
        let mut m = [[0.0; 3]; 3];
        for x in m.as_flattened_mut() {
            *x = self.value()?;
        }
        Some(m)
    }

    fn complex(&mut self) -> Option<Complex64> {
        Some(Complex64::new(self.value()?, self.value()?))
    }

    fn limit(&mut self) -> Option<SectionLimit> {
        Some(SectionLimit {
            twin: self.matrix()?,
            isolated: self.matrix()?,
        })
    }

    fn potentials(&mut self, panels: usize) -> Option<Potentials> {
        let (a, b) = (self.matrix()?, self.matrix()?);
        let mut radiated = [[Complex64::ZERO; 2]; 3];
        for x in radiated.as_flattened_mut() {
            *x = self.complex()?;
        }
        let mut phi = [Vec::new(), Vec::new(), Vec::new()];
        for p in &mut phi {
            *p = (0..panels).map(|_| self.complex()).collect::<Option<_>>()?;
        }
        Some(Potentials {
            a,
            b,
            phi,
            radiated,
        })
    }
}

/// The strips in `path`; `None` without a file, a reason when it cannot be used.
fn read(
    path: &Path,
    key: u128,
    craft: &Craft,
    stations: Stations,
    omega: Vec<f64>,
    options: &SectionOptions,
) -> std::result::Result<Option<Strips>, String> {
    let bytes = match fs::read(path) {
        Ok(b) => b,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(e.to_string()),
    };
    let body = body_of(&bytes, key).ok_or("it is damaged or of another version")?;
    let mut source = Source(body.chunks_exact(8));
    let mut sections = Vec::with_capacity(stations.contours.len());
    for contour in &stations.contours {
        let panels = Panels::new(contour, options).map_err(|e| e.to_string())?;
        let short = "it ends too early or holds numbers that are not finite";
        let flow = omega
            .iter()
            .map(|_| source_flow(&mut source, panels.body))
            .collect::<Option<Vec<_>>>()
            .ok_or(short)?;
        let infinite = source.limit().ok_or(short)?;
        let zero = ZeroFrequency {
            regular: source.limit().ok_or(short)?,
            log_k: source.limit().ok_or(short)?,
            damping_over_omega: source.limit().ok_or(short)?,
        };
        sections.push(SectionTable {
            slices: Slices::new(&panels, contour.axis_z_m, contour.half_height_m),
            panels,
            flow,
            infinite,
            zero,
        });
    }
    if source.0.next().is_some() {
        return Err("it is longer than expected".to_owned());
    }
    Ok(Some(Strips {
        rho_kg_m3: craft.rho_kg_m3,
        g_m_s2: craft.g_m_s2,
        stations,
        omega_rad_s: omega,
        sections,
    }))
}

fn source_flow(source: &mut Source, panels: usize) -> Option<SectionFlow> {
    Some(SectionFlow {
        omega_rad_s: source.value()?,
        twin: source.potentials(panels)?,
        isolated: source.potentials(panels)?,
    })
}

/// The values between header and hash when both are right.
fn body_of(bytes: &[u8], key: u128) -> Option<&[u8]> {
    let rest = bytes.strip_prefix(MAGIC)?;
    let (found, rest) = rest.split_first_chunk::<16>()?;
    let (length, rest) = rest.split_first_chunk::<8>()?;
    let (body, hash) = rest.split_last_chunk::<8>()?;
    let sound = u128::from_le_bytes(*found) == key
        && u64::from_le_bytes(*length) == body.len() as u64
        && u64::from_le_bytes(*hash) == check(body);
    sound.then_some(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn craft() -> Craft {
        crate::hydro::craft_hydro::tests::craft("coastal_survey")
    }

    fn quick() -> PhysicsSpec {
        PhysicsSpec {
            stations_x_m: Some(vec![-12.0, -6.0, 0.0, 6.0, 12.0]),
            frequencies_rad_s: Some(vec![0.1, 0.3, 0.6, 1.0, 1.6, 2.5, 4.0, 8.0]),
            ..PhysicsSpec::default()
        }
    }

    #[test]
    fn what_was_written_reads_back() {
        let dir = tempfile::tempdir().expect("folder");
        let craft = craft();
        let (first, warnings) = load_or_compute(&craft, &quick(), dir.path()).expect("first");
        assert!(warnings.is_empty(), "{warnings:?}");
        assert_eq!(fs::read_dir(dir.path()).expect("list").count(), 1);
        let (second, _) = load_or_compute(&craft, &quick(), dir.path()).expect("second");
        assert_eq!(first.raw, second.raw);
        assert_eq!(
            first.strips.sections[0].flow,
            second.strips.sections[0].flow
        );
        assert_eq!(first.shedding, second.shedding);
    }

    #[test]
    fn damage_is_noticed() {
        let dir = tempfile::tempdir().expect("folder");
        let craft = craft();
        let (first, _) = load_or_compute(&craft, &quick(), dir.path()).expect("first");
        let path = fs::read_dir(dir.path())
            .expect("list")
            .next()
            .expect("one")
            .expect("entry")
            .path();
        let good = fs::read(&path).expect("read");
        for damage in [good.len() / 2, good.len() - 1, 40] {
            let mut bad = good.clone();
            bad[damage] ^= 0x10;
            fs::write(&path, &bad).expect("write");
            let (again, warnings) = load_or_compute(&craft, &quick(), dir.path()).expect("again");
            assert_eq!(warnings.len(), 1);
            assert_eq!(first.raw, again.raw);
        }
        fs::write(&path, &good[..100]).expect("write");
        let (_, warnings) = load_or_compute(&craft, &quick(), dir.path()).expect("again");
        assert_eq!(warnings.len(), 1);
    }

    #[test]
    fn key_depends_on_form_only() {
        let mut c = craft();
        let of = |c: &Craft| {
            let (s, w) = CraftHydro::cuts(c, &quick()).expect("cuts");
            key(c, &s, &w, &SectionOptions::default()).expect("key")
        };
        let before = of(&c);
        c.spec.name.push('x');
        assert_eq!(before, of(&c));
        c.spec.design_waterline_m += 0.01;
        assert_ne!(before, of(&c));
    }
}
