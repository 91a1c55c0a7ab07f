//! The faults over time: which of them act now, and since when.

use super::super::blueprint::CamPlan;
use super::Fault;
use super::effect::{Effects, apply};
use super::when::Clock;

/// What the faults look at.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Conditions {
    pub time: f64,
    pub oil: f64,
    pub rpm: f64,
    /// Travel of each phaser from rest.
    pub travel: [f64; 2],
}

/// A fault with what it remembers.
#[derive(Debug, Clone)]
struct Entry {
    fault: Fault,
    clock: Option<Clock>,
    /// The time at which it first took effect.
    onset: Option<f64>,
}

/// The faults of a scenario, in its order.
#[derive(Debug, Clone)]
pub(in super::super) struct Faults {
    list: Vec<Entry>,
}

impl Faults {
    pub fn new(faults: &[Fault], seed: u64) -> Self {
        let entry = |(number, fault): (u64, &Fault)| Entry {
            fault: fault.clone(),
            // Chance of its own for each, so that one never changes another.
            clock: fault
                .when()
                .map(|when| Clock::new(when, seed ^ number.wrapping_mul(0x2545_f491_4f6c_dd1d))),
            onset: None,
        };
        Self {
            // A bit for each: what is beyond that, no checked scenario has.
            list: (1u64..=64).zip(faults).map(entry).collect(),
        }
    }

    pub fn onsets(&self) -> Vec<(Fault, Option<f64>)> {
        let both = |e: &Entry| (e.fault.clone(), e.onset);
        self.list.iter().map(both).collect()
    }

    /// Which of them act now, a bit for each place; asked once a step.
    pub fn acting(&mut self, now: Conditions) -> u64 {
        let mut acting = 0;
        for (place, entry) in self.list.iter_mut().enumerate() {
            let acts = match &mut entry.clock {
                Some(clock) => clock.acts(now),
                None => acts(&entry.fault, entry.onset.is_some(), now),
            };
            if acts {
                let _ = entry.onset.get_or_insert(now.time.max(0.0));
                acting |= 1 << place;
            }
        }
        acting
    }

    /// What those do together.
    pub fn effects(&self, acting: u64, cams: [&CamPlan; 2]) -> Effects {
        let mut all = Effects {
            acting,
            ..Effects::NONE
        };
        for (place, entry) in self.list.iter().enumerate() {
            if acting >> place & 1 == 1 {
                apply(&entry.fault, cams, &mut all);
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
        | Fault::ChainStretch { after, .. }
        | Fault::ToothDamaged { after, .. }
        | Fault::ToothMissing { after, .. }
        | Fault::ToothExtra { after, .. }
        | Fault::Signal { after, .. } => after <= 0.0 || now.time >= after,
        Fault::LeadOff { after, until, .. } => {
            (after <= 0.0 || now.time >= after) && now.time < until
        }
        // Those with a condition of the common kind have a clock instead.
        Fault::LeadsSwapped { .. }
        | Fault::ProbeFactor { .. }
        | Fault::InputRange { .. }
        | Fault::Circuit { .. }
        | Fault::GroundResistance { .. }
        | Fault::Hydraulic { .. }
        | Fault::OilPressureLow { .. }
        | Fault::Hookup { .. }
        | Fault::ScopeGroundMissing { .. } => true,
    }
}
