//! Faults of the simulated engine: as data, and what they do at each instant.

use super::blueprint::{Cam, CamPlan};
use super::bounds;
use super::disturbance::Disturbance;
use serde::Deserialize;

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

/// Cylinders that faults can name.
pub(super) const CYLINDERS: usize = 16;

const fn whole() -> f64 {
    1.0
}

const fn always() -> f64 {
    f64::NEG_INFINITY
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
}

impl Fault {
    /// Checks what one figure alone cannot show, on an engine with these marks. The error is one sentence.
    pub(super) fn check(&self, marks: &[f64]) -> Result<(), String> {
        if let Some(n) = self.inputs().into_iter().find(|n| !(1..=8).contains(n)) {
            return Err(format!("the scope has inputs 1 to 8, not {n}"));
        }
        if let Self::WeakCylinder { cylinder, .. } = *self
            && !(1..=CYLINDERS).contains(&usize::from(cylinder))
        {
            return Err(format!(
                "a cylinder has a number from 1 to {CYLINDERS}, not {cylinder}"
            ));
        }
        if let Self::PhaserStuck {
            moved: Some([low, high]),
            ..
        } = *self
            && low > high
        {
            return Err(format!(
                "moved [{low}, {high}] must hold the lower figure first"
            ));
        }
        if let Self::CamSensorDropout { every, lasts, .. } = *self
            && lasts >= every
        {
            return Err(format!(
                "a silence of {lasts} s every {every} s would never end"
            ));
        }
        match *self {
            Self::ToothDamaged { tooth, .. } | Self::ToothMissing { tooth, .. }
                if !(1..=marks.len()).contains(&tooth) =>
            {
                let there = marks.len();
                Err(format!(
                    "the crank's wheel has teeth 1 to {there}, not {tooth}"
                ))
            }
            _ => Ok(()),
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
            Self::LeadOff { input, .. } | Self::ProbeFactor { input, .. } => vec![input],
            Self::LeadsSwapped { input, with } => vec![input, with],
            Self::PhaserStuck { .. }
            | Self::PhaserSlow { .. }
            | Self::PhaserHunting { .. }
            | Self::ChainJump { .. }
            | Self::WheelMoved { .. }
            | Self::NoCommand { .. }
            | Self::CommandStuckOn { .. }
            | Self::CommandLostAbove { .. }
            | Self::CamSensorDropout { .. }
            | Self::WeakCylinder { .. }
            | Self::FeedResistance { .. }
            | Self::ToothDamaged { .. }
            | Self::ToothMissing { .. }
            | Self::ToothExtra { .. }
            | Self::Signal { .. } => Vec::new(),
        }
    }
}

/// What the driver of a valve can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DriverState {
    Works,
    Dead,
    AlwaysOn,
}

/// What the faults do to one cam at an instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct CamEffect {
    pub stuck: bool,
    pub rate_factor: f64,
    pub gain_factor: f64,
    /// Added dead time, seconds.
    pub dead_time: f64,
    pub driver: DriverState,
    pub sensor_silent: bool,
    /// Advance of the cam itself, crank degrees.
    pub jump: f64,
    /// Advance of the sensor's marks beyond that of the cam, crank degrees.
    pub wheel: f64,
}

impl CamEffect {
    const NONE: Self = Self {
        stuck: false,
        rate_factor: 1.0,
        gain_factor: 1.0,
        dead_time: 0.0,
        driver: DriverState::Works,
        sensor_silent: false,
        jump: 0.0,
        wheel: 0.0,
    };
}

/// What the faults leave of one cylinder: fractions of the healthy charge and heat.
#[derive(Debug, Clone, Copy)]
pub(super) struct CylinderEffect {
    pub compression: f64,
    pub combustion: f64,
}

impl CylinderEffect {
    const NONE: Self = Self {
        compression: 1.0,
        combustion: 1.0,
    };
}

/// What all faults together do at an instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effects {
    /// By cylinder number less one.
    pub cylinders: [CylinderEffect; CYLINDERS],
    pub cams: [CamEffect; 2],
    /// Crank degrees by which the crank marks come early.
    pub crank_wheel: f64,
    /// Ohms in the common feed.
    pub feed: f64,
}

impl Effects {
    pub const NONE: Self = Self {
        cylinders: [CylinderEffect::NONE; CYLINDERS],
        cams: [CamEffect::NONE; 2],
        crank_wheel: 0.0,
        feed: 0.0,
    };
}

/// What the faults look at.
#[derive(Debug, Clone, Copy)]
pub(super) struct Conditions {
    pub time: f64,
    pub oil: f64,
    pub rpm: f64,
    /// Travel of each phaser from rest.
    pub travel: [f64; 2],
}

/// The faults with the time at which each first took effect.
#[derive(Debug, Clone)]
pub(super) struct Faults {
    list: Vec<(Fault, Option<f64>)>,
}

impl Faults {
    pub fn new(faults: &[Fault]) -> Self {
        Self {
            list: faults.iter().map(|f| (f.clone(), None)).collect(),
        }
    }

    pub fn onsets(&self) -> Vec<(Fault, Option<f64>)> {
        self.list.clone()
    }

    pub fn effects(&mut self, now: Conditions, cams: [&CamPlan; 2]) -> Effects {
        let mut all = Effects::NONE;
        for (fault, onset) in &mut self.list {
            if acts(fault, onset.is_some(), now) {
                let _ = onset.get_or_insert(now.time.max(0.0));
                apply(fault, cams, &mut all);
            }
        }
        all
    }
}

fn acts(fault: &Fault, begun: bool, now: Conditions) -> bool {
    match *fault {
        Fault::PhaserStuck {
            cam,
            after,
            oil_above,
            moved,
        } => {
            let travel = now.travel[cam.index()];
            begun
                || (now.time >= after
                    && now.oil >= oil_above
                    && moved.is_none_or(|[low, high]| (low..=high).contains(&travel)))
        }
        Fault::CommandLostAbove { rpm, .. } => now.rpm > rpm,
        Fault::CamSensorDropout {
            after,
            every,
            lasts,
            ..
        } => now.time >= after && (now.time - after) % every < lasts,
        Fault::PhaserSlow { after, .. }
        | Fault::PhaserHunting { after, .. }
        | Fault::ChainJump { after, .. }
        | Fault::WheelMoved { after, .. }
        | Fault::NoCommand { after, .. }
        | Fault::CommandStuckOn { after, .. }
        | Fault::WeakCylinder { after, .. }
        | Fault::FeedResistance { after, .. }
        | Fault::LeadOff { after, .. }
        | Fault::ToothDamaged { after, .. }
        | Fault::ToothMissing { after, .. }
        | Fault::ToothExtra { after, .. }
        | Fault::Signal { after, .. } => after <= 0.0 || now.time >= after,
        Fault::LeadsSwapped { .. } | Fault::ProbeFactor { .. } => true,
    }
}

fn apply(fault: &Fault, cams: [&CamPlan; 2], all: &mut Effects) {
    match *fault {
        Fault::PhaserStuck { cam, .. } => all.cams[cam.index()].stuck = true,
        Fault::PhaserSlow { cam, factor, .. } => all.cams[cam.index()].rate_factor *= factor,
        Fault::PhaserHunting {
            cam,
            dead_time,
            gain,
            ..
        } => {
            let effect = &mut all.cams[cam.index()];
            effect.dead_time += dead_time / 1000.0;
            effect.gain_factor *= gain;
        }
        Fault::ChainJump { cam, teeth, .. } => {
            for which in Cam::ALL {
                let hit = match cam {
                    Drive::Both => true,
                    Drive::Intake => which == Cam::Intake,
                    Drive::Exhaust => which == Cam::Exhaust,
                };
                if hit {
                    let per_tooth = 720.0 / f64::from(cams[which.index()].sprocket_teeth);
                    all.cams[which.index()].jump += f64::from(teeth) * per_tooth;
                }
            }
        }
        Fault::WheelMoved { wheel, degrees, .. } => match wheel {
            Wheel::Crank => all.crank_wheel += degrees,
            Wheel::Intake => all.cams[0].wheel += degrees,
            Wheel::Exhaust => all.cams[1].wheel += degrees,
        },
        Fault::NoCommand { cam, .. } | Fault::CommandLostAbove { cam, .. } => {
            all.cams[cam.index()].driver = DriverState::Dead;
        }
        Fault::CommandStuckOn { cam, .. } => all.cams[cam.index()].driver = DriverState::AlwaysOn,
        Fault::CamSensorDropout { cam, .. } => all.cams[cam.index()].sensor_silent = true,
        Fault::WeakCylinder {
            cylinder,
            compression,
            combustion,
            ..
        } => {
            let index = usize::from(cylinder).wrapping_sub(1);
            if let Some(effect) = all.cylinders.get_mut(index) {
                effect.compression *= compression;
                effect.combustion *= combustion;
            }
        }
        Fault::FeedResistance { ohms, .. } => all.feed += ohms,
        // These act at the sensors and the scope's inputs; the onset is noted here, the effect is made there.
        Fault::LeadOff { .. }
        | Fault::LeadsSwapped { .. }
        | Fault::ProbeFactor { .. }
        | Fault::ToothDamaged { .. }
        | Fault::ToothMissing { .. }
        | Fault::ToothExtra { .. }
        | Fault::Signal { .. } => {}
    }
}
