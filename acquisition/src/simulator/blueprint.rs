//! The simulated engine as data: everything the physics needs, read from a TOML file.
//!
//! It is the simulator's own description. The sheet a technician fills in describes the same engine
//! in the technician's words; the two are kept apart so that one can be wrong without the other.

mod limits;

use super::bounds;
pub use super::camshaft::{
    CamPlan, ControlPlan, Flyback, OutputStage, PhaserPlan, RestStop, ValvePlan,
};
pub use super::crankwheel::{CrankSensor, CrankWheel};
use serde::de::Error;
use serde::{Deserialize, Deserializer};

/// Intake or exhaust cam of the simulated engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Cam {
    /// Intake cam.
    Intake,
    /// Exhaust cam.
    Exhaust,
}

impl Cam {
    /// Both cams in the order in which all arrays of the simulator hold them.
    pub const ALL: [Self; 2] = [Self::Intake, Self::Exhaust];

    /// Place in such an array.
    pub fn index(self) -> usize {
        match self {
            Self::Intake => 0,
            Self::Exhaust => 1,
        }
    }
}

/// A whole engine.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Blueprint {
    /// How the engine is called.
    pub name: String,
    /// Cylinders, crank and what turns them.
    #[serde(deserialize_with = "checked_block")]
    pub block: Block,
    /// Tone wheel and sensor of the crank.
    #[serde(deserialize_with = "checked_wheel")]
    pub crank: CrankWheel,
    /// Battery and alternator.
    pub supply: SupplyPlan,
    /// Which valve the current clamp sits on.
    pub current_on: Cam,
    /// Intake cam.
    #[serde(deserialize_with = "checked_cam")]
    pub intake: CamPlan,
    /// Exhaust cam.
    #[serde(deserialize_with = "checked_cam")]
    pub exhaust: CamPlan,
}

impl Blueprint {
    /// Checks an engine that was changed in memory as a file is checked when it is read.
    ///
    /// # Errors
    /// One sentence that says what is wrong.
    pub fn check(&self) -> Result<(), String> {
        limits::check(self)?;
        self.block.check()?;
        self.crank.check()?;
        for (cam, plan) in [("intake", &self.intake), ("exhaust", &self.exhaust)] {
            plan.check().map_err(|why| format!("{cam}: {why}"))?;
        }
        Ok(())
    }

    /// The plan of one cam.
    pub fn cam(&self, cam: Cam) -> &CamPlan {
        match cam {
            Cam::Intake => &self.intake,
            Cam::Exhaust => &self.exhaust,
        }
    }
}

/// Cylinders, crank and what turns them.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// Cylinder numbers in the order in which they fire, evenly spaced over 720 degrees.
    pub firing_order: Vec<u8>,
    /// Bore in millimetres.
    #[serde(deserialize_with = "bounds::positive")]
    pub bore: f64,
    /// Stroke in millimetres.
    #[serde(deserialize_with = "bounds::positive")]
    pub stroke: f64,
    /// Connecting rod between centres in millimetres.
    #[serde(deserialize_with = "bounds::positive")]
    pub rod: f64,
    /// Geometric compression ratio.
    #[serde(deserialize_with = "bounds::positive")]
    pub compression_ratio: f64,
    /// Inertia of crank, flywheel and all that turns with them, kg m².
    #[serde(deserialize_with = "bounds::positive")]
    pub inertia: f64,
    /// Friction and accessories as mean effective pressure near standstill, bar.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub friction: f64,
    /// Rise of that pressure per 1000 rpm, bar.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub friction_rise: f64,
    /// Manifold volume in litres.
    #[serde(deserialize_with = "bounds::positive")]
    pub manifold: f64,
    /// Air through the open throttle at the speed of sound, g/s.
    #[serde(deserialize_with = "bounds::positive")]
    pub throttle: f64,
    /// Governed idle speed, rpm.
    #[serde(deserialize_with = "bounds::engine_speed")]
    pub idle: f64,
    /// Speed at which fuel is cut, rpm.
    #[serde(deserialize_with = "bounds::engine_speed")]
    pub limit: f64,
    /// Spread of the heat of one combustion (standard deviation over mean).
    #[serde(deserialize_with = "bounds::fraction")]
    pub unevenness: f64,
    /// Starter torque at the crank at standstill, Nm.
    #[serde(deserialize_with = "bounds::positive")]
    pub starter_torque: f64,
    /// Crank speed at which the starter's torque is gone, rpm.
    #[serde(deserialize_with = "bounds::engine_speed")]
    pub starter_speed: f64,
}

/// Battery and alternator.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplyPlan {
    /// Open-circuit battery voltage.
    #[serde(deserialize_with = "bounds::positive")]
    pub battery: f64,
    /// Voltage the alternator holds with the engine running.
    #[serde(deserialize_with = "bounds::positive")]
    pub alternator: f64,
    /// Amplitude of the alternator's ripple, volts.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub ripple: f64,
    /// Ripple periods per crank revolution (pole pairs times six times the belt ratio).
    #[serde(deserialize_with = "bounds::positive")]
    pub ripple_per_turn: f64,
    /// Battery voltage lost when the starter stands still, volts.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub starter_sag: f64,
    /// Current with the starter at standstill, amperes. When it is given, the last input of the scope
    /// carries a clamp around the battery cable; without it that input is spare.
    #[serde(default, deserialize_with = "optional_current")]
    pub starter_current: Option<f64>,
}

fn optional_current<'de, D: Deserializer<'de>>(d: D) -> Result<Option<f64>, D::Error> {
    bounds::positive(d).map(Some)
}

// A part is checked as it is read, so that the error names the line where the part begins.

fn checked_block<'de, D: Deserializer<'de>>(d: D) -> Result<Block, D::Error> {
    let block = Block::deserialize(d)?;
    block.check().map_err(D::Error::custom)?;
    Ok(block)
}

fn checked_wheel<'de, D: Deserializer<'de>>(d: D) -> Result<CrankWheel, D::Error> {
    let wheel = CrankWheel::deserialize(d)?;
    wheel.check().map_err(D::Error::custom)?;
    Ok(wheel)
}

fn checked_cam<'de, D: Deserializer<'de>>(d: D) -> Result<CamPlan, D::Error> {
    let cam = CamPlan::deserialize(d)?;
    cam.check().map_err(D::Error::custom)?;
    Ok(cam)
}

impl Block {
    /// Checks what one figure alone cannot show. The error is one sentence.
    fn check(&self) -> Result<(), String> {
        let order = &self.firing_order;
        let mut sorted = order.clone();
        sorted.sort_unstable();
        if order.is_empty() || sorted.iter().zip(1u8..).any(|(&have, want)| have != want) {
            return Err(format!(
                "firing_order {order:?} must name every cylinder from 1 exactly once"
            ));
        }
        if self.compression_ratio <= 1.0 {
            return Err("compression_ratio must be above 1".into());
        }
        if self.rod * 2.0 <= self.stroke {
            return Err("rod must be longer than half the stroke".into());
        }
        Ok(())
    }
}
