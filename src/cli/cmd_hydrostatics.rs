//! `hydrostatics`: volumes, centres, metacentric heights, natural periods, curves of heel and
//! immersion.

use std::f64::consts::TAU;
use std::fmt::Write;
use std::path::Path;

use serde::Serialize;

use super::args::HydrostaticsOptions;
use super::output::{self, Head};
use super::shell::Shell;
use super::table::{fixed, significant, table};
use super::{Status, craft_model};
use crate::dynamics::model::CraftModel;
use crate::error::Result;
use crate::frames::Dof;
use crate::units::{deg, to_deg};

/// Greatest heel of the curve of righting arms, in steps of a degree.
const MOST_HEEL_DEG: u32 = 30;
/// Heels printed, deg.
const PRINTED_DEG: [usize; 13] = [0, 1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30];
/// Steps of the immersion curve, m.
const IMMERSION_STEP_M: f64 = 0.25;

/// One number with its words.
#[derive(Clone, Debug, Serialize)]
struct Quantity {
    name: &'static str,
    key: &'static str,
    value: f64,
    unit: &'static str,
    decimals: usize,
}

#[allow(clippy::struct_field_names)] // the names are the keys of the JSON
#[derive(Clone, Debug, Serialize)]
pub(super) struct Heel {
    pub(super) heel_deg: f64,
    pub(super) gz_m: f64,
    pub(super) sinkage_m: f64,
    pub(super) trim_bow_up_deg: f64,
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct Immersion {
    pub(super) sinkage_m: f64,
    pub(super) displacement_t: f64,
    pub(super) lcb_m: f64,
    pub(super) t_per_cm: f64,
}

/// Everything the verb tells.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Report {
    #[serde(flatten)]
    head: Head,
    quantities: Vec<Quantity>,
    pub(super) restoring_modes: [&'static str; 6],
    /// N/m, N, N m; F = -C eta about O.
    pub(super) restoring: Vec<Vec<f64>>,
    pub(super) natural_periods_s: Vec<(&'static str, f64)>,
    pub(super) righting_arms: Vec<Heel>,
    pub(super) immersion: Vec<Immersion>,
}

/// Prints hydrostatics.
///
/// # Errors
/// When the craft cannot be read or does not float as its file says.
pub fn run(
    options: &HydrostaticsOptions,
    cache: Option<&Path>,
    shell: &mut Shell,
) -> Result<Status> {
    let out = output::folder(&options.output)?;
    let model = craft_model::build(&options.craft, cache, shell)?;
    let report = assess(&model);
    output::tell(shell, &options.output, "hydrostatics", &report, || {
        tables(&model, &report)
    })?;
    if let Some(dir) = out {
        super::pictures::hydrostatics(&model, &report, &dir, shell)?;
    }
    Ok(Status::Met)
}

fn assess(model: &CraftModel) -> Report {
    let craft = &model.craft;
    let heels: Vec<f64> = (0..=MOST_HEEL_DEG).map(|h| deg(f64::from(h))).collect();
    let deepest = -craft.underside_z_m;
    let steps = (deepest / IMMERSION_STEP_M).floor() as i32;
    let sinkages: Vec<f64> = (-steps..=steps)
        .map(|i| f64::from(i) * IMMERSION_STEP_M)
        .collect();
    let c = &craft.hydrostatics.c;
    Report {
        head: Head::new(&craft.spec.name, &model.warnings),
        quantities: quantities(model),
        restoring_modes: Dof::ALL.map(Dof::name),
        restoring: (0..6)
            .map(|i| (0..6).map(|j| c[(i, j)]).collect())
            .collect(),
        natural_periods_s: natural_periods(model),
        righting_arms: craft
            .gz_curve(&model.restoring, &heels)
            .iter()
            .map(|p| Heel {
                heel_deg: to_deg(p.heel_rad),
                gz_m: p.gz_m,
                sinkage_m: p.sinkage_m,
                trim_bow_up_deg: to_deg(p.trim_rad),
            })
            .collect(),
        immersion: craft
            .immersion_curve(&model.restoring, &sinkages)
            .iter()
            .map(|p| Immersion {
                sinkage_m: p.sinkage_m,
                displacement_t: p.displacement_kg / 1000.0,
                lcb_m: p.lcb_m,
                t_per_cm: p.kg_per_cm / 1000.0,
            })
            .collect(),
    }
}

/// Undamped periods at zero speed, motions uncoupled from each other except that sway and yaw
/// follow roll and surge follows pitch.
fn natural_periods(model: &CraftModel) -> Vec<(&'static str, f64)> {
    ["heave", "roll", "pitch"]
        .into_iter()
        .zip(model.hydro.natural_rad_s.iter().map(|w| TAU / w))
        .collect()
}

fn quantities(model: &CraftModel) -> Vec<Quantity> {
    let craft = &model.craft;
    let (h, m) = (&craft.hydrostatics, &craft.mass);
    let dwl = craft.spec.design_waterline_m;
    let kg = craft.mass.mass_kg;
    let gyration = |i: usize| (m.inertia_cg_kg_m2[(i, i)] / kg).sqrt();
    let weight = h.volume_m3 * craft.rho_kg_m3 * craft.g_m_s2;
    let mut out = Vec::new();
    let mut put = |name, key, value, unit, decimals| {
        out.push(Quantity {
            name,
            key,
            value,
            unit,
            decimals,
        });
    };
    put(
        "water density",
        "density_kg_m3",
        craft.rho_kg_m3,
        "kg/m3",
        1,
    );
    put("gravity", "gravity_m_s2", craft.g_m_s2, "m/s2", 5);
    put("displaced volume", "volume_m3", h.volume_m3, "m3", 2);
    put(
        "  of both lower hulls",
        "hull_volume_m3",
        h.hull_volume_m3,
        "m3",
        2,
    );
    put(
        "  of all struts",
        "strut_volume_m3",
        h.volume_m3 - h.hull_volume_m3,
        "m3",
        2,
    );
    put(
        "displacement",
        "displacement_t",
        h.displacement_kg / 1e3,
        "t",
        2,
    );
    put("mass of the loading", "mass_t", kg / 1e3, "t", 2);
    put(
        "draught of the lower hulls",
        "draught_m",
        keel_z_m(model),
        "m",
        3,
    );
    put(
        "clearance of the cross-structure",
        "clearance_m",
        -craft.underside_z_m,
        "m",
        3,
    );
    put("LCB forward of midships", "lcb_m", h.cb_m.x, "m", 3);
    put("LCG forward of midships", "lcg_m", m.cg_m.x, "m", 3);
    put("LCF forward of midships", "lcf_m", h.lcf_m, "m", 3);
    put("TCG to starboard", "tcg_m", m.cg_m.y, "m", 3);
    put(
        "centre of buoyancy above baseline",
        "vcb_m",
        dwl - h.cb_m.z,
        "m",
        3,
    );
    put(
        "centre of gravity above baseline",
        "vcg_m",
        dwl - m.cg_m.z,
        "m",
        3,
    );
    put("radius of gyration, roll", "k_xx_m", gyration(0), "m", 2);
    put("radius of gyration, pitch", "k_yy_m", gyration(1), "m", 2);
    put("radius of gyration, yaw", "k_zz_m", gyration(2), "m", 2);
    put("waterplane area", "a_w_m2", h.a_w_m2, "m2", 2);
    put(
        "waterplane inertia, transverse",
        "i_t_m4",
        h.i_t_m4,
        "m4",
        1,
    );
    put(
        "waterplane inertia, longitudinal",
        "i_l_m4",
        h.i_l_m4,
        "m4",
        1,
    );
    put("BM_T", "bm_t_m", h.i_t_m4 / h.volume_m3, "m", 3);
    put("BM_L", "bm_l_m", h.i_l_m4 / h.volume_m3, "m", 3);
    put(
        "loss of GM_T by free surfaces",
        "free_surface_t_m",
        m.free_surface_roll_nm / weight,
        "m",
        3,
    );
    put("GM_T, free surfaces taken off", "gm_t_m", h.gm_t_m, "m", 3);
    put("GM_L, free surfaces taken off", "gm_l_m", h.gm_l_m, "m", 3);
    put(
        "immersion",
        "t_per_cm",
        craft.rho_kg_m3 * h.a_w_m2 * 1e-5,
        "t/cm",
        4,
    );
    put(
        "moment to trim one degree",
        "trim_knm_deg",
        weight * h.gm_l_m * deg(1.0) / 1e3,
        "kN m/deg",
        1,
    );
    put(
        "moment to heel one degree",
        "heel_knm_deg",
        weight * h.gm_t_m * deg(1.0) / 1e3,
        "kN m/deg",
        1,
    );
    put("wetted area", "wetted_area_m2", h.wetted_area_m2, "m2", 1);
    out
}

fn keel_z_m(model: &CraftModel) -> f64 {
    let hull = &model.craft.hull;
    hull.breakpoints()
        .iter()
        .filter_map(|x| hull.section_at(*x))
        .map(|s| s.axis_z_m + s.half_height_m)
        .fold(0.0, f64::max)
}

fn tables(model: &CraftModel, report: &Report) -> String {
    let mut text = craft_model::title(model, "Hydrostatics at the design waterline") + "\n";
    let rows = report.quantities.iter().map(|q| {
        vec![
            q.name.to_owned(),
            fixed(q.value, q.decimals),
            q.unit.to_owned(),
        ]
    });
    text += &table(["quantity", "value", "unit"], rows);
    text += "\n\nRestoring about O, F = -C eta (N/m, N, N m; heave down, roll starboard down, pitch \
             bow up)\n";
    let modes = [Dof::Heave, Dof::Roll, Dof::Pitch];
    let rows = modes.map(|i| {
        let mut row = vec![i.name().to_owned()];
        row.extend(modes.map(|j| significant(report.restoring[i.i()][j.i()], 5)));
        row
    });
    text += &table(["force", "by heave", "by roll", "by pitch"], rows);
    text += "\n\nNatural periods at zero speed, undamped, uncoupled (sway and yaw follow roll, surge \
             follows pitch)\n";
    let rows = report
        .natural_periods_s
        .iter()
        .map(|(name, t)| vec![(*name).to_owned(), fixed(*t, 2)]);
    text += &table(["motion", "period (s)"], rows);
    text += "\n\nRighting arms, sinkage and trim free\n";
    let shown = PRINTED_DEG.iter().map(|i| &report.righting_arms[*i]);
    let rows = shown.map(|p| {
        vec![
            fixed(p.heel_deg, 1),
            fixed(p.gz_m, 3),
            fixed(p.sinkage_m, 3),
            fixed(p.trim_bow_up_deg, 2),
        ]
    });
    text += &table(
        [
            "heel (deg)",
            "GZ (m)",
            "sinkage (m, down)",
            "trim (deg, bow up)",
        ],
        rows,
    );
    let _ = write!(
        text,
        "\n\nParallel immersion, to the cross-structure's underside ({} m)\n",
        fixed(-model.craft.underside_z_m, 2)
    );
    let rows = report.immersion.iter().map(|p| {
        vec![
            fixed(p.sinkage_m, 2),
            fixed(p.displacement_t, 2),
            fixed(p.lcb_m, 3),
            fixed(p.t_per_cm, 4),
        ]
    });
    text + &table(
        [
            "sinkage (m, down)",
            "displacement (t)",
            "LCB fwd of midships (m)",
            "t per cm",
        ],
        rows,
    )
}
