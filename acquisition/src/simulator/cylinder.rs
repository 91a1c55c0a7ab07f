//! Torque of one cylinder over the engine cycle.
//!
//! Slider-crank volume and polytropic compression (Heywood, Internal Combustion Engine Fundamentals,
//! 1st ed., section 2.2); combustion as a Wiebe release of heat. Everything is linear in the
//! manifold pressure and in the heat, so three tables made once give the torque at any instant.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "table indices come from angles in [0, 720)"
)]

use super::blueprint::Block;

/// Ambient and exhaust pressure, kPa.
pub(super) const AMBIENT: f64 = 101.325;
/// Exponent of compression and expansion; 1.3 ± 0.05 in Heywood, ch. 9 (from memory).
const EXPONENT: f64 = 1.3;
/// Intake valve closes, crank degrees after firing TDC (50° after bottom dead centre; from memory).
const INTAKE_CLOSES: f64 = 590.0;
/// Exhaust valve opens, crank degrees after firing TDC (from memory).
const EXHAUST_OPENS: f64 = 130.0;
const BURN_STARTS: f64 = -12.0;
const BURN_LASTS: f64 = 50.0;
const TABLE: usize = 720;

/// Tables of torque in Nm for one cylinder, index = whole crank degrees after its firing TDC.
#[derive(Debug, Clone)]
pub(super) struct Cylinder {
    /// Torque of ambient pressure under the piston and of the exhaust stroke.
    base: Vec<f64>,
    /// Torque per kPa of the pressure trapped (closed valves) or in the manifold (intake stroke).
    per_kpa: Vec<f64>,
    /// Torque per joule released.
    per_joule: Vec<f64>,
    /// Volume at the closing of the intake valve, m³.
    pub trapped_volume: f64,
    /// Swept volume, m³.
    pub swept: f64,
    opening_share: f64,
}

impl Cylinder {
    pub fn new(block: &Block) -> Self {
        let swept = std::f64::consts::FRAC_PI_4 * (block.bore / 1e3).powi(2) * block.stroke / 1e3;
        let clearance = swept / (block.compression_ratio - 1.0);
        let ratio = 2.0 * block.rod / block.stroke;
        let volume = |degrees: f64| {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let travel = ratio + 1.0 - cos - (ratio * ratio - sin * sin).sqrt();
            clearance + swept / 2.0 * travel
        };
        // m³ per radian.
        let slope =
            |degrees: f64| (volume(degrees + 0.05) - volume(degrees - 0.05)) / 0.1_f64.to_radians();
        let trapped_volume = volume(INTAKE_CLOSES);
        let burn = burn_pressure(&volume);
        let mut base = Vec::with_capacity(TABLE + 1);
        let mut per_kpa = Vec::with_capacity(TABLE + 1);
        let mut per_joule = Vec::with_capacity(TABLE + 1);
        for (n, burnt) in burn.iter().enumerate() {
            let degrees = n as f64;
            // Pressure times m³/rad is torque: kPa gives kNm.
            let arm = slope(degrees) * 1e3;
            let closed = degrees <= EXHAUST_OPENS || degrees >= INTAKE_CLOSES;
            let intake = (360.0..INTAKE_CLOSES).contains(&degrees);
            let share = if closed {
                (trapped_volume / volume(degrees)).powf(EXPONENT)
            } else {
                f64::from(u8::from(intake))
            };
            let exhaust = if closed || intake { 0.0 } else { AMBIENT };
            base.push((exhaust - AMBIENT) * arm);
            per_kpa.push(share * arm);
            per_joule.push(burnt * arm);
        }
        Self {
            base,
            per_kpa,
            per_joule,
            opening_share: (volume(EXHAUST_OPENS) / trapped_volume).powf(EXPONENT),
            trapped_volume,
            swept,
        }
    }

    /// Torque in Nm. `angle` in [0, 720) after the cylinder's firing TDC, pressure in kPa, heat in J.
    pub fn torque(&self, angle: f64, pressure: f64, heat: f64) -> f64 {
        let n = (angle as usize).min(TABLE - 1);
        let part = angle - n as f64;
        let at = |table: &[f64]| table[n] + (table[n + 1] - table[n]) * part;
        at(&self.base) + pressure * at(&self.per_kpa) + heat * at(&self.per_joule)
    }

    /// Whether the valves are shut at this angle, so that the trapped pressure counts.
    pub fn is_closed(angle: f64) -> bool {
        !(EXHAUST_OPENS..INTAKE_CLOSES).contains(&angle)
    }

    /// Pressure at the closing of the intake valve over that of the same gas where the exhaust valve opens.
    pub fn share_at_exhaust(&self) -> f64 {
        self.opening_share
    }

    /// Work over a whole cycle in J: fixed, per kPa, per joule of heat.
    pub fn work(&self) -> (f64, f64, f64) {
        let sum = |t: &[f64]| t[..TABLE].iter().sum::<f64>() * 1.0_f64.to_radians();
        (sum(&self.base), sum(&self.per_kpa), sum(&self.per_joule))
    }
}

/// Pressure in kPa that one joule adds, by whole crank degrees after firing TDC.
fn burn_pressure(volume: &impl Fn(f64) -> f64) -> Vec<f64> {
    let mut table = vec![0.0; TABLE + 1];
    let burnt = |degrees: f64| {
        let x = (degrees - BURN_STARTS) / BURN_LASTS;
        // Wiebe function with the usual a = 5, m = 2.
        if x <= 0.0 {
            0.0
        } else {
            1.0 - (-5.0 * x.powi(3)).exp()
        }
    };
    let mut pressure = 0.0;
    let mut degrees = BURN_STARTS;
    const FINE: f64 = 0.1;
    while degrees < EXHAUST_OPENS {
        let (v0, v1) = (volume(degrees), volume(degrees + FINE));
        let heat = burnt(degrees + FINE) - burnt(degrees);
        pressure += (EXPONENT - 1.0) * heat / v0 / 1e3;
        pressure *= (v0 / v1).powf(EXPONENT);
        degrees += FINE;
        let index = (degrees + 720.0) % 720.0;
        if (index - index.round()).abs() < FINE / 2.0 {
            table[index.round() as usize % TABLE] = pressure;
        }
    }
    table[TABLE] = table[0];
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cylinder() -> Cylinder {
        let engine = super::super::scenario::Scenario::named("healthy")
            .unwrap()
            .engine;
        Cylinder::new(&engine.block)
    }

    /// Bore and stroke 86, rod 143.3 mm, ratio 10, closing 50° after bottom dead centre: the effective
    /// ratio is 8.7941 (slider-crank formula of Heywood, section 2.2, evaluated outside this project).
    #[test]
    fn the_trapped_volume_is_that_of_the_slider_crank() {
        let c = cylinder();
        let clearance = c.swept / 9.0;
        assert!((c.trapped_volume / clearance - 8.7941).abs() < 1e-4);
    }

    /// Valves that shut and open symmetrically about TDC give back what compression took.
    #[test]
    fn an_unfired_unthrottled_cycle_costs_no_work() {
        let (fixed, per_kpa, _) = cylinder().work();
        let compression: f64 = (590..720)
            .map(|n| cylinder().torque(f64::from(n), AMBIENT, 0.0))
            .sum::<f64>()
            .abs()
            * 1.0_f64.to_radians();
        assert!((fixed + per_kpa * AMBIENT).abs() < 0.01 * compression);
    }

    /// The Otto cycle of effective ratio 10 and exponent 1.3 would give 1 - 10^-0.3 = 49.9 %.
    #[test]
    fn heat_becomes_work_with_less_than_the_ideal_efficiency() {
        let (_, _, per_joule) = cylinder().work();
        assert!((0.35..0.499).contains(&per_joule), "{per_joule}");
    }
}
