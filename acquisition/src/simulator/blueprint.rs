//! The simulated engine as data: everything the physics needs, read from a TOML file.
//!
//! It is the simulator's own description. The sheet a technician fills in describes the same engine
//! in the technician's words; the two are kept apart so that one can be wrong without the other.

use super::bounds;
use serde::Deserialize;

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
    pub block: Block,
    /// Tone wheel and sensor of the crank.
    pub crank: CrankWheel,
    /// Battery and alternator.
    pub supply: SupplyPlan,
    /// Which valve the current clamp sits on.
    pub current_on: Cam,
    /// Intake cam.
    pub intake: CamPlan,
    /// Exhaust cam.
    pub exhaust: CamPlan,
}

impl Blueprint {
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

/// Tone wheel and sensor of the crank.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrankWheel {
    /// Tooth pitches on the circumference.
    pub teeth: u16,
    /// Teeth taken out, all in one place.
    pub missing: u16,
    /// Crank degrees from the mark of the first tooth after the gap to the next TDC of cylinder 1.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub gap_to_tdc: f64,
    /// The sensor.
    pub sensor: CrankSensor,
}

/// The crank sensor. The mark of a tooth is its centre (VR) or the falling edge (Hall).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum CrankSensor {
    /// Coil and magnet; the voltage is the rate of change of the flux.
    Vr {
        /// Peak volts per rpm.
        #[serde(deserialize_with = "bounds::positive")]
        volts_per_rpm: f64,
        /// Change of amplitude over a revolution from an eccentric wheel, fraction of the mean.
        #[serde(deserialize_with = "bounds::fraction")]
        runout: f64,
        /// Whether the two pins are exchanged.
        #[serde(default)]
        inverted: bool,
    },
    /// Open-collector switch, low while a tooth stands before it.
    Hall {
        /// Volts when conducting.
        low: f64,
        /// Volts when open.
        high: f64,
        /// Crank degrees for which one tooth holds it low.
        #[serde(deserialize_with = "bounds::positive")]
        tooth_width: f64,
    },
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
}

/// One cam: sensor, drive, phaser.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CamPlan {
    /// High windows of the sensor with the cam at rest, each [rising, falling] in crank degrees after
    /// firing TDC of cylinder 1.
    pub windows: Vec<[f64; 2]>,
    /// Teeth of the cam sprocket; one tooth is 720 / teeth crank degrees.
    pub sprocket_teeth: u16,
    /// Sensor volts when conducting.
    pub low: f64,
    /// Sensor volts when open.
    pub high: f64,
    /// Standard deviation of each edge from one passage to the next, crank degrees.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub jitter: f64,
    /// Fixed lateness of each edge in the order of the windows (rise, fall, rise, …), crank degrees.
    #[serde(default)]
    pub edge_errors: Vec<f64>,
    /// The phaser with its valve and controller, if the cam has one.
    pub phaser: Option<PhaserPlan>,
}

/// The end stop at which a phaser rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RestStop {
    /// Driven towards advance.
    Retarded,
    /// Driven towards retard.
    Advanced,
}

impl RestStop {
    /// Sign of the phase (advance positive) when driven away from rest.
    pub fn sign(self) -> f64 {
        match self {
            Self::Retarded => 1.0,
            Self::Advanced => -1.0,
        }
    }
}

/// A vane phaser. The rates and the hold band rest on common practice, not on one maker's figures.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhaserPlan {
    /// Where it rests.
    pub rest: RestStop,
    /// Travel from rest to the other stop, crank degrees.
    #[serde(deserialize_with = "bounds::authority")]
    pub authority: f64,
    /// Duty at which it stands still with the coil at 20 °C and 13.5 V, percent.
    #[serde(deserialize_with = "bounds::percent")]
    pub hold_duty: f64,
    /// Half width of the band around it in which nothing moves, percentage points.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub hold_band: f64,
    /// Rate per point of duty beyond the band, crank degrees per second.
    #[serde(deserialize_with = "bounds::positive")]
    pub gain: f64,
    /// Highest rate with oil at 90 °C, crank degrees per second.
    #[serde(deserialize_with = "bounds::positive")]
    pub hot_rate: f64,
    /// Highest rate with oil at 0 °C, crank degrees per second.
    #[serde(deserialize_with = "bounds::positive")]
    pub cold_rate: f64,
    /// Duty that pulls the lock pin, percent.
    #[serde(deserialize_with = "bounds::percent")]
    pub unlock_duty: f64,
    /// Time between a change of duty and the first movement of the spool, milliseconds.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub dead_time: f64,
    /// Amplitude of the movement that the valve springs cause when unlocked, crank degrees.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub flutter: f64,
    /// The valve and its driver.
    pub valve: ValvePlan,
    /// The control loop.
    pub control: ControlPlan,
}

/// A solenoid valve switched to ground.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ValvePlan {
    /// PWM frequency, Hz.
    #[serde(deserialize_with = "bounds::positive")]
    pub frequency: f64,
    /// Coil resistance at 20 °C, ohms.
    #[serde(deserialize_with = "bounds::positive")]
    pub resistance: f64,
    /// Coil inductance, millihenries.
    #[serde(deserialize_with = "bounds::positive")]
    pub inductance: f64,
    /// Resistance of the conducting driver, ohms.
    #[serde(deserialize_with = "bounds::positive")]
    pub driver: f64,
    /// What happens to the current at switch-off.
    pub flyback: Flyback,
}

/// Where the coil current goes when the driver opens.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum Flyback {
    /// The driver clamps the pin at this voltage.
    Clamp {
        /// Volts against ground; must be above any supply voltage.
        #[serde(deserialize_with = "bounds::positive")]
        volts: f64,
    },
    /// A diode leads it back to the supply.
    Diode,
}

/// The control loop of one cam.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ControlPlan {
    /// Wanted travel from rest over speed: [rpm, crank degrees] in rising speed, straight lines between.
    pub targets: Vec<[f64; 2]>,
    /// Points of duty per crank degree of error.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub proportional: f64,
    /// Points of duty per crank degree and second.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub integral: f64,
    /// Duty the controller has learned as holding, at 13.5 V, percent.
    #[serde(deserialize_with = "bounds::percent")]
    pub learned_hold: f64,
    /// Duty sent at rest with the engine running, percent.
    #[serde(deserialize_with = "bounds::percent")]
    pub keep_alive: f64,
    /// Highest duty, percent.
    #[serde(deserialize_with = "bounds::percent")]
    pub highest: f64,
}

impl Blueprint {
    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(&self) -> Result<(), String> {
        let order = &self.block.firing_order;
        let mut sorted = order.clone();
        sorted.sort_unstable();
        if order.is_empty() || sorted.iter().zip(1u8..).any(|(&have, want)| have != want) {
            return Err(format!(
                "firing_order {order:?} must name every cylinder from 1 exactly once"
            ));
        }
        if self.block.compression_ratio <= 1.0 {
            return Err("compression_ratio must be above 1".into());
        }
        if self.block.rod * 2.0 <= self.block.stroke {
            return Err("rod must be longer than half the stroke".into());
        }
        let wheel = &self.crank;
        if wheel.teeth < 8 || wheel.missing >= wheel.teeth / 2 {
            return Err(format!(
                "a wheel of {} teeth with {} missing cannot be built: at least 8 teeth, fewer than half missing",
                wheel.teeth, wheel.missing
            ));
        }
        if wheel.gap_to_tdc >= 360.0 {
            return Err("gap_to_tdc must be below 360".into());
        }
        for (name, cam) in [("intake", &self.intake), ("exhaust", &self.exhaust)] {
            cam.check().map_err(|what| format!("{name}: {what}"))?;
        }
        Ok(())
    }
}

impl CamPlan {
    fn check(&self) -> Result<(), String> {
        if self.windows.is_empty() {
            return Err("windows must hold at least one [rising, falling] pair".into());
        }
        if self.sprocket_teeth == 0 {
            return Err("sprocket_teeth must be above 0".into());
        }
        for pair in self.windows.windows(2) {
            if pair[1][0] <= pair[0][1] {
                return Err(format!(
                    "the window that rises at {} must come after the one that falls at {}",
                    pair[1][0], pair[0][1]
                ));
            }
        }
        if let Some([rise, fall]) = self.windows.iter().find(|w| w[1] <= w[0]) {
            return Err(format!("the window [{rise}, {fall}] falls before it rises"));
        }
        let first = self.windows[0][0];
        let last = self.windows[self.windows.len() - 1][1];
        if !(0.0..720.0).contains(&first) || last - first >= 720.0 {
            return Err("windows must start within 0 to 720 and span less than 720 degrees".into());
        }
        if !self.edge_errors.is_empty() && self.edge_errors.len() != self.windows.len() * 2 {
            return Err(format!(
                "edge_errors must hold {} figures, two for each window",
                self.windows.len() * 2
            ));
        }
        let Some(phaser) = &self.phaser else {
            return Ok(());
        };
        let targets = &phaser.control.targets;
        if targets.is_empty() || targets.windows(2).any(|p| p[1][0] <= p[0][0]) {
            return Err("control.targets must be pairs [rpm, degrees] in rising speed".into());
        }
        if targets
            .iter()
            .any(|t| t[1] < 0.0 || t[1] > phaser.authority)
        {
            return Err(format!(
                "control.targets must lie between 0 and the authority of {} degrees",
                phaser.authority
            ));
        }
        if let Flyback::Clamp { volts } = phaser.valve.flyback
            && volts < 20.0
        {
            return Err("the clamp must lie above any supply voltage, at least 20 V".into());
        }
        Ok(())
    }
}
