//! What all faults together do at an instant.

use super::super::blueprint::{Cam, CamPlan};
use super::{CircuitEffect, CircuitFault, Drive, Fault, HydraulicFault, Wheel};

/// Cylinders that faults can name.
pub(in super::super) const CYLINDERS: usize = 16;

/// What the driver of a valve can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum DriverState {
    Works,
    Dead,
    AlwaysOn,
}

/// What the faults do to one cam at an instant.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct CamEffect {
    pub stuck: bool,
    pub rate_factor: f64,
    pub gain_factor: f64,
    /// Added dead time, seconds.
    pub dead_time: f64,
    pub driver: DriverState,
    pub circuit: CircuitEffect,
    /// Duty at which the spool stands still, percent.
    pub spool: Option<f64>,
    /// Drift towards rest, crank degrees per second.
    pub leak: f64,
    pub lock_fails: bool,
    /// Travel at which it rests instead of 0.
    pub rest: f64,
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
        circuit: CircuitEffect::NONE,
        spool: None,
        leak: 0.0,
        lock_fails: false,
        rest: 0.0,
        sensor_silent: false,
        jump: 0.0,
        wheel: 0.0,
    };
}

/// What the faults leave of one cylinder: fractions of the healthy charge and heat.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct CylinderEffect {
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
pub(in super::super) struct Effects {
    /// By cylinder number less one.
    pub cylinders: [CylinderEffect; CYLINDERS],
    pub cams: [CamEffect; 2],
    /// Crank degrees by which the crank marks come early.
    pub crank_wheel: f64,
    /// Ohms in the common feed.
    pub feed: f64,
    /// Ohms between the controller and ground.
    pub ground: f64,
    /// Amplitude of the hum of a scope without ground, volts.
    pub floating: Option<f64>,
    /// Bit n: the fault at place n of the scenario acts.
    pub acting: u64,
}

impl Effects {
    pub const NONE: Self = Self {
        cylinders: [CylinderEffect::NONE; CYLINDERS],
        cams: [CamEffect::NONE; 2],
        crank_wheel: 0.0,
        feed: 0.0,
        ground: 0.0,
        floating: None,
        acting: 0,
    };
}

pub(super) fn apply(fault: &Fault, cams: [&CamPlan; 2], all: &mut Effects) {
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
        Fault::GroundResistance { ohms, .. } => all.ground += ohms,
        Fault::Circuit { cam, what, .. } => {
            let effect = &mut all.cams[cam.index()];
            match what {
                CircuitFault::DriverDead => effect.driver = DriverState::Dead,
                CircuitFault::DriverStuckOn => effect.driver = DriverState::AlwaysOn,
                _ => effect.circuit.add(what),
            }
        }
        Fault::Hydraulic { cam, what, .. } => {
            let effect = &mut all.cams[cam.index()];
            match what {
                HydraulicFault::SpoolStuck { at } => effect.spool = Some(at),
                HydraulicFault::Leak { rate } => effect.leak += rate,
                HydraulicFault::LockFails => effect.lock_fails = true,
                HydraulicFault::RestShifted { degrees } => effect.rest = effect.rest.max(degrees),
            }
        }
        Fault::OilPressureLow { factor, .. } => {
            all.cams.iter_mut().for_each(|c| c.rate_factor *= factor);
        }
        Fault::ChainStretch { degrees, .. } => all.cams.iter_mut().for_each(|c| c.jump -= degrees),
        Fault::ScopeGroundMissing { hum, .. } => all.floating = Some(hum),
        // These act at the sensors and the scope's inputs; the onset is noted here, the effect is made there.
        Fault::LeadOff { .. }
        | Fault::LeadsSwapped { .. }
        | Fault::ProbeFactor { .. }
        | Fault::Hookup { .. }
        | Fault::InputRange { .. }
        | Fault::ToothDamaged { .. }
        | Fault::ToothMissing { .. }
        | Fault::ToothExtra { .. }
        | Fault::Signal { .. } => {}
    }
}
