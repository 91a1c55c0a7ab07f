//! Faults of a valve's circuit: feed, coil, wires, driver.
//!
//! The circuit goes supply, feed, supply-side pin, coil, control-side pin (where the scope's lead is), wire,
//! driver, controller ground, battery ground.

use super::super::bounds;
use super::super::camshaft::Flyback;
use serde::Deserialize;

const fn solid() -> f64 {
    0.1
}

/// What is wrong with a valve's circuit.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "snake_case",
    deny_unknown_fields
)]
pub enum CircuitFault {
    /// The winding is broken.
    OpenCoil,
    /// The feed of this valve is broken before its supply-side pin.
    OpenFeed,
    /// The wire is broken between the control-side pin, where the lead is, and the driver.
    OpenToDriver,
    /// The wire is broken between the lead and the valve; the lead is on the driver's side of it.
    OpenToValve,
    /// The control side touches ground: the coil is always on.
    ShortToGround {
        /// Ohms of the contact.
        #[serde(default = "solid", deserialize_with = "bounds::positive")]
        ohms: f64,
    },
    /// The control side touches the supply: the driver limits its current and shuts off, and tries again at
    /// the next command.
    ShortToSupply {
        /// Ohms of the contact.
        #[serde(default = "solid", deserialize_with = "bounds::positive")]
        ohms: f64,
    },
    /// The driver conducts badly: its low level is high.
    WeakDriver {
        /// Ohms on top of those of a good one.
        #[serde(deserialize_with = "bounds::not_negative")]
        ohms: f64,
    },
    /// Resistance in the feed of this valve alone.
    FeedResistance {
        /// Ohms.
        #[serde(deserialize_with = "bounds::not_negative")]
        ohms: f64,
    },
    /// Turns of the coil touch each other: resistance falls with the turns left, inductance with their square.
    ShortedTurns {
        /// Part of the turns that is lost, below 1.
        #[serde(deserialize_with = "bounds::fraction")]
        lost: f64,
    },
    /// The current at switch-off goes another way than in a good driver.
    FlybackChanged {
        /// The way it goes now.
        flyback: Flyback,
    },
    /// The driver never conducts.
    DriverDead,
    /// The driver always conducts.
    DriverStuckOn,
}

impl CircuitFault {
    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(&self) -> Result<(), String> {
        match *self {
            Self::ShortedTurns { lost } if lost >= 1.0 => {
                Err("some turns must be left: lost must be below 1".into())
            }
            Self::FlybackChanged { flyback } => flyback.check(),
            _ => Ok(()),
        }
    }
}

/// What the faults make of one valve's circuit at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct CircuitEffect {
    /// No way from the supply to the control-side pin.
    pub coil_open: bool,
    /// That way is broken before the supply-side pin.
    pub feed_open: bool,
    /// No way from the control-side pin to the driver.
    pub driver_open: bool,
    /// Ohms from the control-side pin to ground and to the supply, if it touches them.
    pub to_ground: Option<f64>,
    pub to_supply: Option<f64>,
    /// Ohms on top of the driver's.
    pub driver: f64,
    /// Ohms in the feed of this valve alone.
    pub feed: f64,
    /// Part of the coil's turns that is left.
    pub turns: f64,
    pub flyback: Option<Flyback>,
}

impl CircuitEffect {
    pub const NONE: Self = Self {
        coil_open: false,
        feed_open: false,
        driver_open: false,
        to_ground: None,
        to_supply: None,
        driver: 0.0,
        feed: 0.0,
        turns: 1.0,
        flyback: None,
    };

    /// Takes on a fault; none of the driver's own state.
    pub(super) fn add(&mut self, fault: CircuitFault) {
        // Two contacts to the same conductor carry the current side by side.
        let beside =
            |there: Option<f64>, ohms: f64| Some(there.map_or(ohms, |o| o * ohms / (o + ohms)));
        match fault {
            CircuitFault::OpenCoil | CircuitFault::OpenToValve => self.coil_open = true,
            CircuitFault::OpenFeed => {
                self.coil_open = true;
                self.feed_open = true;
            }
            CircuitFault::OpenToDriver => self.driver_open = true,
            CircuitFault::ShortToGround { ohms } => self.to_ground = beside(self.to_ground, ohms),
            CircuitFault::ShortToSupply { ohms } => self.to_supply = beside(self.to_supply, ohms),
            CircuitFault::WeakDriver { ohms } => self.driver += ohms,
            CircuitFault::FeedResistance { ohms } => self.feed += ohms,
            CircuitFault::ShortedTurns { lost } => self.turns *= 1.0 - lost,
            CircuitFault::FlybackChanged { flyback } => self.flyback = Some(flyback),
            CircuitFault::DriverDead | CircuitFault::DriverStuckOn => {}
        }
    }
}
