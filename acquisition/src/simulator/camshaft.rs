//! A cam of the simulated engine as data: sensor, drive, phaser, valve, control loop.

use super::bounds;
use serde::Deserialize;

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
    /// What the driver does when something is wrong behind its pin.
    #[serde(default)]
    pub stage: OutputStage,
}

/// A driver's protection and diagnosis. The defaults are typical figures of the TLE8102SG (data sheet 1.5,
/// pages 16 to 18) where nothing else is said.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct OutputStage {
    /// Current above which it limits, amperes.
    #[serde(deserialize_with = "bounds::positive")]
    pub limit: f64,
    /// Time for which it bears the limit before it shuts off until the next command, microseconds (assumed).
    #[serde(deserialize_with = "bounds::positive")]
    pub shut_off: f64,
    /// Volts to which its diagnostic currents bring a pin with nothing on it.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub bias: f64,
    /// Current with which they pull the pin up to that, microamperes; 0 in a driver without diagnosis.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub pull_up: f64,
    /// Current with which they pull it down to that, microamperes.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub pull_down: f64,
    /// Capacitance at the pin, nanofarads (a usual capacitor against interference; assumed).
    #[serde(deserialize_with = "bounds::positive")]
    pub capacitance: f64,
}

impl Default for OutputStage {
    fn default() -> Self {
        Self {
            limit: 6.5,
            shut_off: 60.0,
            bias: 2.5,
            pull_up: 100.0,
            pull_down: 50.0,
            capacitance: 10.0,
        }
    }
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
    /// Nothing takes it on: the transistor breaks through at this voltage.
    Absent {
        /// Volts against ground (a transistor for 100 V holds some 115; assumed).
        #[serde(default = "breakthrough", deserialize_with = "bounds::positive")]
        volts: f64,
    },
}

const fn breakthrough() -> f64 {
    115.0
}

impl Flyback {
    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(self) -> Result<(), String> {
        match self {
            Self::Clamp { volts } | Self::Absent { volts } if volts < 20.0 => {
                Err("the clamp must lie above any supply voltage, at least 20 V".into())
            }
            _ => Ok(()),
        }
    }

    /// The voltage at which the pin is held, if it is held against ground.
    pub(super) fn level(self) -> Option<f64> {
        match self {
            Self::Clamp { volts } | Self::Absent { volts } => Some(volts),
            Self::Diode => None,
        }
    }
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

impl CamPlan {
    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(&self) -> Result<(), String> {
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
        phaser.valve.flyback.check()
    }
}
