//! Units at the edges and the constants used everywhere.
//!
//! Inside the library everything is SI and radians. A name carries its unit when that is not SI
//! or not obvious. The conversions here are the only ones.

/// Standard gravity, m/s2. Exact by definition, 3rd CGPM (1901).
pub const G_M_S2: f64 = 9.80665;
/// Sea water density, kg/m3, 15 deg C and 35 g/kg salinity, rounded. ITTC 7.5-02-01-03.
pub const RHO_SEA_KG_M3: f64 = 1025.0;
/// Kinematic viscosity of sea water at 15 deg C, m2/s. ITTC 7.5-02-01-03.
pub const NU_SEA_M2_S: f64 = 1.1892e-6;
/// Air density at 15 deg C and standard pressure, kg/m3. ISO 2533.
pub const RHO_AIR_KG_M3: f64 = 1.225;
/// Standard atmospheric pressure, Pa. Exact by definition.
pub const P_ATM_PA: f64 = 101_325.0;
/// Vapour pressure of sea water at 15 deg C, Pa, rounded. ITTC 7.5-02-01-03.
pub const P_VAPOUR_PA: f64 = 1_700.0;

/// One knot in m/s. Exact: 1852 m per hour.
pub const KNOT_M_S: f64 = 1852.0 / 3600.0;

/// Knots to m/s.
pub fn kn(speed_kn: f64) -> f64 {
    speed_kn * KNOT_M_S
}

/// m/s to knots.
pub fn to_kn(speed_m_s: f64) -> f64 {
    speed_m_s / KNOT_M_S
}

/// Degrees to radians.
pub fn deg(angle_deg: f64) -> f64 {
    angle_deg.to_radians()
}

/// Radians to degrees.
pub fn to_deg(angle_rad: f64) -> f64 {
    angle_rad.to_degrees()
}

/// Tonnes to kilograms.
pub fn tonnes(mass_t: f64) -> f64 {
    1e3 * mass_t
}

/// Kilograms to tonnes.
pub fn to_tonnes(mass_kg: f64) -> f64 {
    1e-3 * mass_kg
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn knots_round_trip() {
        assert!((kn(18.0) - 9.26).abs() < 1e-12); // 18 * 1852 / 3600 exactly
        assert!((to_kn(kn(7.3)) - 7.3).abs() < 1e-12);
    }

    #[test]
    fn tonnes_round_trip() {
        assert!((tonnes(250.0) - 250e3).abs() < 1e-9);
        assert!((to_tonnes(tonnes(7.3)) - 7.3).abs() < 1e-12);
    }
}
