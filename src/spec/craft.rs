//! The craft file, field by field (`ridewright.craft/1`).
//!
//! Heights are metres above the baseline, up positive; x is metres forward of midships of the
//! lower hulls; y is metres to starboard of the centre plane. Port and starboard lower hulls
//! and struts mirror each other, so one side is given.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use super::equipment::{
    ActuatorSpec, AngleLimitRow, MovingPart, PropulsorSpec, SensorErrorSpec, SensorsSpec,
    SupplySpec, SurfaceGroup, SurfaceSpec, TipForm,
};

/// A craft: lower hulls, struts, weights, surfaces and what moves and measures them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CraftSpec {
    /// Always `ridewright.craft/1`.
    #[schemars(length(min = 1))]
    pub format: String,
    /// Name printed on every table.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Why these numbers; sources; "invented" for demonstration craft.
    #[serde(default)]
    pub note: String,
    /// Water and gravity.
    #[serde(default)]
    pub water: WaterSpec,
    /// Height of the design waterline above the baseline, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub design_waterline_m: f64,
    /// Speed the craft is made for; the speed that tables take when none is asked for.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 80.0))]
    pub design_speed_kn: Option<f64>,
    /// The submerged hulls.
    pub lower_hulls: LowerHullSpec,
    /// Struts of one side, from forward aft; one or two.
    #[schemars(length(min = 1, max = 2))]
    pub struts: Vec<StrutSpec>,
    /// The box that joins the sides above water.
    pub cross_structure: CrossStructureSpec,
    /// Mass properties: totals, or weight groups and tanks that add up to them.
    pub mass: MassSpec,
    /// Fins, flaps and rudders, each named; the name is the channel a controller drives.
    pub surfaces: Vec<SurfaceSpec>,
    /// Hydraulic supplies that surfaces may share.
    #[serde(default)]
    pub supplies: Vec<SupplySpec>,
    /// What the control law can see.
    #[serde(default)]
    pub sensors: SensorsSpec,
    /// Propellers.
    #[serde(default)]
    pub propulsors: Vec<PropulsorSpec>,
    /// Sinkage force and trim moment of steady advance, against speed. Without it both are zero and a warning is given.
    #[serde(default)]
    pub steady: Vec<SteadyRow>,
    /// Still-water resistance against speed; computed (friction line and thin-strut wave resistance) when absent.
    #[serde(default)]
    pub resistance: Vec<ResistanceRow>,
    /// Empirical coefficients of body lift and cross-flow drag.
    #[serde(default)]
    pub viscous: ViscousSpec,
    /// Above-water areas for wind; no wind force when absent.
    #[serde(default)]
    pub windage: Option<WindageSpec>,
    /// Named points at which ride is judged.
    #[serde(default)]
    pub points: Vec<PointSpec>,
}

/// Water and gravity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct WaterSpec {
    /// Density, kg/m3.
    #[schemars(range(min = 500.0, max = 2000.0))]
    pub density_kg_m3: f64,
    /// Kinematic viscosity, m2/s.
    #[schemars(range(min = 1e-8, max = 1e-4))]
    pub kinematic_viscosity_m2_s: f64,
    /// Gravity, m/s2.
    #[schemars(range(min = 1.0, max = 20.0))]
    pub gravity_m_s2: f64,
}

impl Default for WaterSpec {
    fn default() -> Self {
        WaterSpec {
            density_kg_m3: crate::units::RHO_SEA_KG_M3,
            kinematic_viscosity_m2_s: crate::units::NU_SEA_M2_S,
            gravity_m_s2: crate::units::G_M_S2,
        }
    }
}

/// One lower hull; the other mirrors it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LowerHullSpec {
    /// Distance of the hull's centre plane from the craft's, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub lateral_position_m: f64,
    /// Shape of the cross sections.
    pub section: SectionShape,
    /// Stations from aft forward, x ascending; between them the squares of half breadth and half
    /// height and the axis height run linearly, so the area of a circle does too.
    #[schemars(length(min = 2))]
    pub stations: Vec<StationSpec>,
    /// The fore end beyond the last station.
    #[serde(default)]
    pub fore_end: EndSpec,
    /// The aft end before the first station.
    #[serde(default)]
    pub aft_end: EndSpec,
}

/// Shape of a lower hull's cross section.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SectionShape {
    /// Half breadth and half height equal.
    Circle,
    /// Semi-axes half breadth and half height.
    Ellipse,
    /// A rectangle with rounded corners.
    RoundedBox {
        /// Corner radius as a fraction of the smaller half side, 0 to 1.
        corner_frac: f64,
    },
}

/// One station of the lower hull.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StationSpec {
    /// Forward of midships, m.
    pub x_m: f64,
    /// Half breadth, m.
    #[schemars(range(min = 0.0, max = 50.0))]
    pub half_breadth_m: f64,
    /// Half height, m; equal to the half breadth when absent.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 50.0))]
    pub half_height_m: Option<f64>,
    /// Height of the axis above the baseline, m; equal to the half height when absent.
    #[serde(default)]
    pub axis_height_m: Option<f64>,
}

/// How a lower hull closes beyond its end station.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum EndSpec {
    /// It stops at the end station (which may have zero breadth).
    #[default]
    AsGiven,
    /// Half an ellipsoid: half breadth falls as sqrt(1 - s^2).
    Ellipsoid {
        /// Length beyond the station, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        length_m: f64,
    },
    /// A paraboloid of revolution: half breadth falls as sqrt(1 - s), area linear.
    Paraboloid {
        /// Length beyond the station, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        length_m: f64,
    },
    /// A parabolic spindle: half breadth falls as 1 - s^2.
    Parabola {
        /// Length beyond the station, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        length_m: f64,
    },
}

/// A strut of the starboard side; the port one mirrors it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StrutSpec {
    /// Name for messages.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Foremost point at the design waterline, m forward of midships.
    pub fore_x_m: f64,
    /// Aftmost point at the design waterline, m forward of midships.
    pub aft_x_m: f64,
    /// Greatest thickness at the design waterline, m.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0))]
    pub thickness_m: f64,
    /// Shape of the waterplane.
    pub waterplane: WaterplaneShape,
    /// Outward lean of each side from the vertical, wider upwards, deg.
    #[serde(default)]
    #[schemars(range(min = -30.0, max = 60.0))]
    pub flare_deg: f64,
    /// Offset of the strut's centre plane from the hull's, outboard positive, m.
    #[serde(default)]
    pub offset_outboard_m: f64,
}

/// Shape of a strut's waterplane.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum WaterplaneShape {
    /// Constant thickness.
    Rectangle {},
    /// Half thickness falls as 1 - s^2 over the whole length.
    Parabola {},
    /// An ellipse over the whole length.
    Ellipse {},
    /// Parallel middle with parabolic ends, half thickness falling as 1 - s^2.
    ParabolicEnds {
        /// Length of the fore end, m.
        #[schemars(range(min = 0.0, max = 1000.0))]
        fore_length_m: f64,
        /// Length of the aft end, m.
        #[schemars(range(min = 0.0, max = 1000.0))]
        aft_length_m: f64,
    },
    /// Half thickness at given x, linear between.
    Offsets {
        /// x forward of midships, ascending, m.
        #[schemars(length(min = 2))]
        x_m: Vec<f64>,
        /// Half thickness, m.
        #[schemars(length(min = 2), inner(range(min = 0.0, max = 10.0)))]
        half_thickness_m: Vec<f64>,
    },
}

/// The box above water.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossStructureSpec {
    /// Height of the flat underside above the baseline, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub underside_height_m: f64,
    /// Foremost x, m.
    pub fore_x_m: f64,
    /// Aftmost x, m.
    pub aft_x_m: f64,
    /// Half breadth, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub half_breadth_m: f64,
    /// Share of the craft's own bow wave and swell-up in the relative height, a factor on the
    /// undisturbed wave elevation (1 is the undisturbed wave).
    #[serde(default = "one")]
    #[schemars(range(min = 0.0, max = 3.0))]
    pub relative_wave_factor: f64,
}

/// Mass properties.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum MassSpec {
    /// Totals.
    Total {
        /// Mass, kg; equal to the displacement when absent.
        #[serde(default)]
        #[schemars(range(max = 1e9), extend("exclusiveMinimum" = 0.0))]
        mass_kg: Option<f64>,
        /// Centre of gravity forward of midships, m; above the centre of buoyancy when absent.
        #[serde(default)]
        lcg_m: Option<f64>,
        /// Centre of gravity to starboard, m.
        #[serde(default)]
        tcg_m: f64,
        /// Height of the centre of gravity above the baseline, m.
        vcg_m: f64,
        /// Radius of gyration in roll about the centre of gravity, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        k_xx_m: f64,
        /// Radius of gyration in pitch, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        k_yy_m: f64,
        /// Radius of gyration in yaw, m.
        #[schemars(extend("exclusiveMinimum" = 0.0))]
        k_zz_m: f64,
    },
    /// Light ship, weight groups and tanks.
    Groups {
        /// Weights, the light ship first.
        #[schemars(length(min = 1))]
        weights: Vec<WeightSpec>,
        /// Tanks with a free surface.
        #[serde(default)]
        tanks: Vec<TankSpec>,
    },
}

/// A weight group.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WeightSpec {
    /// Name.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre forward of midships, m.
    pub x_m: f64,
    /// Centre to starboard, m.
    #[serde(default)]
    pub y_m: f64,
    /// Centre above the baseline, m.
    pub height_m: f64,
    /// Radii of gyration about its own centre (roll, pitch, yaw), m.
    #[serde(default)]
    #[schemars(inner(range(min = 0.0, max = 1000.0)))]
    pub gyration_m: [f64; 3],
}

/// A rectangular tank, partly full.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TankSpec {
    /// Name.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Density of the content, kg/m3.
    #[schemars(range(min = 100.0, max = 20000.0))]
    pub density_kg_m3: f64,
    /// Length along x, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub length_m: f64,
    /// Breadth along y, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub breadth_m: f64,
    /// Height, m.
    #[schemars(extend("exclusiveMinimum" = 0.0))]
    pub depth_m: f64,
    /// Centre of the tank's floor: forward of midships, m.
    pub x_m: f64,
    /// Centre of the tank's floor: to starboard, m.
    pub y_m: f64,
    /// The tank's floor above the baseline, m.
    pub floor_height_m: f64,
    /// Filling, 0 to 1.
    pub fill_frac: f64,
}

/// Sinkage force and trim moment at a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SteadyRow {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Vertical force of steady advance, down positive, N.
    pub sinkage_force_n: f64,
    /// Moment about O, bow up positive, N m.
    pub trim_moment_nm: f64,
}

/// Still-water resistance at a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ResistanceRow {
    /// Speed, kn.
    pub speed_kn: f64,
    /// Resistance of the whole craft, N.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub resistance_n: f64,
}

/// Empirical viscous coefficients.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ViscousSpec {
    /// Body-lift coefficient a0 of Lee & Curphey (1977), per unit of horizontal breadth.
    #[schemars(range(min = 0.0, max = 5.0))]
    pub body_lift: f64,
    /// Cross-flow drag coefficient of the lower hulls.
    #[schemars(range(min = 0.0, max = 5.0))]
    pub hull_drag: f64,
    /// Cross-flow drag coefficient of the struts in sway.
    #[schemars(range(min = 0.0, max = 5.0))]
    pub strut_drag: f64,
    /// Factor on the side force that struts and hulls shed at the struts' trailing edges (1 is slender-body theory).
    #[schemars(range(min = 0.0, max = 3.0))]
    pub trailing_lift_factor: f64,
    /// Form factor on frictional resistance, 1 + k.
    #[schemars(range(min = 0.5, max = 3.0))]
    pub form_factor: f64,
    /// Correlation allowance added to the friction coefficient.
    #[schemars(range(min = -0.001, max = 0.01))]
    pub roughness_allowance: f64,
}

impl Default for ViscousSpec {
    fn default() -> Self {
        // orders of magnitude: Lee & Curphey (1977), SNAME Trans. 85, constants from memory
        ViscousSpec {
            body_lift: 0.07,
            hull_drag: 0.5,
            strut_drag: 0.8,
            trailing_lift_factor: 1.0,
            form_factor: 1.1,
            roughness_allowance: 0.0004,
        }
    }
}

/// Above-water areas and coefficients for wind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WindageSpec {
    /// Frontal area, m2.
    pub frontal_area_m2: f64,
    /// Lateral area, m2.
    pub lateral_area_m2: f64,
    /// Centre of the lateral area forward of midships, m.
    pub centre_x_m: f64,
    /// Height of the centre above the baseline, m.
    pub centre_height_m: f64,
    /// Longitudinal force coefficient.
    #[serde(default = "wind_long")]
    #[schemars(range(min = 0.0, max = 3.0))]
    pub longitudinal_coefficient: f64,
    /// Lateral force coefficient.
    #[serde(default = "wind_lat")]
    #[schemars(range(min = 0.0, max = 3.0))]
    pub lateral_coefficient: f64,
}

/// A named point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PointSpec {
    /// Unique name.
    #[schemars(length(min = 1))]
    pub name: String,
    /// Forward of midships, m.
    pub x_m: f64,
    /// To starboard, m.
    #[serde(default)]
    pub y_m: f64,
    /// Above the baseline, m.
    pub height_m: f64,
}

fn one() -> f64 {
    1.0
}

fn wind_long() -> f64 {
    0.75
}

fn wind_lat() -> f64 {
    0.9
}
