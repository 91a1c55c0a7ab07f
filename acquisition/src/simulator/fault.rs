//! Faults of the simulated engine and of the scope's leads, as data.

mod circuit;
mod course;
mod effect;
mod hookup;
mod hydraulic;
mod when;

use super::blueprint::{Blueprint, Cam};
use super::bounds;
use super::disturbance::Disturbance;
pub use circuit::CircuitFault;
pub use hookup::{HookupFault, Point};
pub use hydraulic::HydraulicFault;
use serde::Deserialize;
pub use when::When;

pub(super) use circuit::CircuitEffect;
pub(super) use course::{Conditions, Faults};
pub(super) use effect::{CYLINDERS, CamEffect, CylinderEffect, DriverState, Effects};

/// A cam or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Drive {
    /// The intake sprocket.
    Intake,
    /// The exhaust sprocket.
    Exhaust,
    /// The crank sprocket, which moves both.
    Both,
}

/// A tone wheel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Wheel {
    /// On the crank.
    Crank,
    /// On the intake cam.
    Intake,
    /// On the exhaust cam.
    Exhaust,
}

const fn whole() -> f64 {
    1.0
}

const fn always() -> f64 {
    f64::NEG_INFINITY
}

const fn for_ever() -> f64 {
    f64::INFINITY
}

const fn floating_hum() -> f64 {
    2.0
}

/// One fault. `after` is in seconds, `oil_above` in °C; without them the fault is there from the start.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "snake_case",
    deny_unknown_fields
)]
pub enum Fault {
    /// The phaser stops where it is.
    PhaserStuck {
        /// Which cam.
        cam: Cam,
        /// Earliest time.
        #[serde(default)]
        after: f64,
        /// Lowest oil temperature.
        #[serde(default = "always")]
        oil_above: f64,
        /// It catches only while its travel from rest lies between these, crank degrees.
        #[serde(default)]
        moved: Option<[f64; 2]>,
    },
    /// The phaser moves at a fraction of its rate.
    PhaserSlow {
        /// Which cam.
        cam: Cam,
        /// Earliest time.
        #[serde(default)]
        after: f64,
        /// Fraction of the healthy rate.
        #[serde(deserialize_with = "bounds::fraction")]
        factor: f64,
    },
    /// Air in the oil: the phaser answers late and then too strongly, and the loop hunts.
    PhaserHunting {
        /// Which cam.
        cam: Cam,
        /// Earliest time.
        #[serde(default)]
        after: f64,
        /// Added dead time, milliseconds.
        #[serde(deserialize_with = "bounds::not_negative")]
        dead_time: f64,
        /// Multiple of the healthy gain.
        #[serde(deserialize_with = "bounds::positive")]
        gain: f64,
    },
    /// The chain has jumped on a sprocket. Positive teeth advance the cam.
    ChainJump {
        /// Which sprocket.
        cam: Drive,
        /// Teeth of the cam sprocket, advance positive.
        teeth: i32,
        /// Time of the jump.
        #[serde(default)]
        after: f64,
    },
    /// A tone wheel has turned on its shaft; nothing else moved.
    WheelMoved {
        /// Which wheel.
        wheel: Wheel,
        /// Crank degrees by which its marks now come early.
        degrees: f64,
        /// Time of the slip.
        #[serde(default)]
        after: f64,
    },
    /// The driver never conducts.
    NoCommand {
        /// Which cam.
        cam: Cam,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// The driver always conducts.
    CommandStuckOn {
        /// Which cam.
        cam: Cam,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// The driver stops conducting above a speed, as with a broken wire that vibrates.
    CommandLostAbove {
        /// Which cam.
        cam: Cam,
        /// The speed.
        #[serde(deserialize_with = "bounds::engine_speed")]
        rpm: f64,
    },
    /// The cam sensor falls silent from time to time; its line stays high.
    CamSensorDropout {
        /// Which cam.
        cam: Cam,
        /// Time of the first silence.
        #[serde(default)]
        after: f64,
        /// Seconds from one silence to the next.
        #[serde(deserialize_with = "bounds::positive")]
        every: f64,
        /// Seconds of silence.
        #[serde(deserialize_with = "bounds::positive")]
        lasts: f64,
    },
    /// One cylinder leaks or burns less than the others.
    WeakCylinder {
        /// Its number.
        cylinder: u8,
        /// Fraction of the healthy charge that it holds when its valves have shut.
        #[serde(default = "whole", deserialize_with = "bounds::fraction")]
        compression: f64,
        /// Fraction of the healthy heat that its charge releases.
        #[serde(default = "whole", deserialize_with = "bounds::fraction")]
        combustion: f64,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// Resistance in the feed that the two valves share.
    FeedResistance {
        /// Ohms.
        #[serde(deserialize_with = "bounds::not_negative")]
        ohms: f64,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// A lead of the scope has fallen off; the engine does not notice.
    LeadOff {
        /// Input, counted from 1.
        input: usize,
        /// Time at which it falls.
        #[serde(default)]
        after: f64,
        /// Time at which it is put on again.
        #[serde(default = "for_ever")]
        until: f64,
    },
    /// Two leads of the scope are exchanged.
    LeadsSwapped {
        /// One input, counted from 1.
        input: usize,
        /// The other.
        with: usize,
    },
    /// A probe divides or multiplies although the plan does not know.
    ProbeFactor {
        /// Input, counted from 1.
        input: usize,
        /// Volts at the input per volt at the probe.
        #[serde(deserialize_with = "bounds::positive")]
        factor: f64,
    },
    /// A tooth of the crank's wheel is chipped or bent.
    ToothDamaged {
        /// Which tooth, counted from 1 among those that are there.
        tooth: usize,
        /// What is left of its height. A Hall sensor does not see one below a half.
        #[serde(deserialize_with = "bounds::fraction")]
        height: f64,
        /// Crank degrees by which its mark comes late.
        #[serde(default)]
        shift: f64,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// A tooth of the crank's wheel has broken off.
    ToothMissing {
        /// Which tooth, counted from 1 among those that are there.
        tooth: usize,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// Something on the crank's wheel is felt as a tooth, such as a chip on the magnet.
    ToothExtra {
        /// Where, crank degrees after tooth 1.
        #[serde(deserialize_with = "bounds::not_negative")]
        at: f64,
        /// Its height as a part of a tooth's. A Hall sensor does not see one below a half.
        #[serde(deserialize_with = "bounds::fraction")]
        height: f64,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// The signal of a sensor is disturbed on its way to the scope; the controller does not notice.
    Signal {
        /// Which sensor.
        wheel: Wheel,
        /// How.
        how: Disturbance,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// Something is wrong with the circuit of a valve.
    Circuit {
        /// Whose valve.
        cam: Cam,
        /// What.
        what: CircuitFault,
        /// When.
        #[serde(default)]
        when: When,
    },
    /// Resistance between the controller and the battery's ground. It lifts the low levels of the drivers and of
    /// the sensors that the controller feeds.
    GroundResistance {
        /// Ohms.
        #[serde(deserialize_with = "bounds::not_negative")]
        ohms: f64,
        /// When.
        #[serde(default)]
        when: When,
    },
    /// Something is wrong with a phaser's hydraulics.
    Hydraulic {
        /// Which cam.
        cam: Cam,
        /// What.
        what: HydraulicFault,
        /// When.
        #[serde(default)]
        when: When,
    },
    /// The oil pump gives less than it should: both phasers move at a fraction of their rate.
    OilPressureLow {
        /// Fraction of the healthy rate.
        #[serde(deserialize_with = "bounds::fraction")]
        factor: f64,
        /// When; below a speed, for a pump that is worn.
        #[serde(default)]
        when: When,
    },
    /// The chain has grown longer: both cams come late, by less than a tooth.
    ChainStretch {
        /// Crank degrees.
        #[serde(deserialize_with = "bounds::not_negative")]
        degrees: f64,
        /// Earliest time.
        #[serde(default)]
        after: f64,
    },
    /// A mistake at one lead of the scope.
    Hookup {
        /// Input, counted from 1.
        input: usize,
        /// What.
        what: HookupFault,
        /// When.
        #[serde(default)]
        when: When,
    },
    /// An input is set to a range that is too small for what it is on.
    InputRange {
        /// Input, counted from 1.
        input: usize,
        /// Full scale on either side, volts.
        #[serde(deserialize_with = "bounds::positive")]
        volts: f64,
    },
    /// No lead of the scope has a ground: it floats with the mean of what its inputs are on, and hums.
    ScopeGroundMissing {
        /// Amplitude of the hum, volts.
        #[serde(default = "floating_hum", deserialize_with = "bounds::not_negative")]
        hum: f64,
        /// When.
        #[serde(default)]
        when: When,
    },
}

impl Fault {
    /// Checks what one figure alone cannot show, on this engine. The error is one sentence.
    pub(super) fn check(&self, engine: &Blueprint) -> Result<(), String> {
        if let Some(n) = self.inputs().into_iter().find(|n| !(1..=8).contains(n)) {
            return Err(format!("the scope has inputs 1 to 8, not {n}"));
        }
        if let Some(when) = self.when() {
            when.check()?;
        }
        match *self {
            Self::WeakCylinder { cylinder, .. }
                if !(1..=CYLINDERS).contains(&usize::from(cylinder)) =>
            {
                Err(format!(
                    "a cylinder has a number from 1 to {CYLINDERS}, not {cylinder}"
                ))
            }
            Self::PhaserStuck {
                moved: Some([low, high]),
                ..
            } if low > high => Err(format!(
                "moved [{low}, {high}] must hold the lower figure first"
            )),
            Self::CamSensorDropout { every, lasts, .. } if lasts >= every => Err(format!(
                "a silence of {lasts} s every {every} s would never end"
            )),
            Self::ToothDamaged { tooth, .. } | Self::ToothMissing { tooth, .. } => {
                let there = engine.crank.all_marks().len();
                if (1..=there).contains(&tooth) {
                    Ok(())
                } else {
                    Err(format!(
                        "the crank's wheel has teeth 1 to {there}, not {tooth}"
                    ))
                }
            }
            Self::LeadOff { after, until, .. } if until <= after => {
                Err(format!("until {until} must come after {after}"))
            }
            Self::Circuit { cam, .. } | Self::Hydraulic { cam, .. }
                if engine.cam(cam).phaser.is_none() =>
            {
                Err("this cam has no phaser and no valve".into())
            }
            Self::Circuit { what, .. } => what.check(),
            _ => Ok(()),
        }
    }

    /// Its condition, if it has one of the common kind.
    fn when(&self) -> Option<When> {
        match *self {
            Self::Circuit { when, .. }
            | Self::GroundResistance { when, .. }
            | Self::Hydraulic { when, .. }
            | Self::OilPressureLow { when, .. }
            | Self::Hookup { when, .. }
            | Self::ScopeGroundMissing { when, .. } => Some(when),
            _ => None,
        }
    }

    /// When a tooth of the crank's wheel is harmed, if that is what it does.
    pub(super) fn harms_tooth_after(&self) -> Option<f64> {
        match *self {
            Self::ToothDamaged { after, .. }
            | Self::ToothMissing { after, .. }
            | Self::ToothExtra { after, .. } => Some(after),
            _ => None,
        }
    }

    /// Inputs of the scope that it names, counted from 1.
    fn inputs(&self) -> Vec<usize> {
        match *self {
            Self::LeadOff { input, .. }
            | Self::ProbeFactor { input, .. }
            | Self::Hookup { input, .. }
            | Self::InputRange { input, .. } => vec![input],
            Self::LeadsSwapped { input, with } => vec![input, with],
            _ => Vec::new(),
        }
    }
}
