//! Electrical checks of one actuator's circuit: its command pin, its supply and, where there is a clamp, its current.

use crate::channel::Channel;
use crate::duty::Period;
use crate::engine::{EngineSheet, PhaserSheet};
use crate::lead::{CamId, Role};
use crate::proof::ProofState;
use crate::reading::{Reading, Why};
use crate::units::{Henries, Hertz, Ohms, Percent, Rpm, SampleTime, Volts};
use std::sync::Arc;

/// What the circuit of an actuator shows.
#[derive(Debug, Clone, PartialEq)]
pub struct CircuitView {
    /// What is the case.
    pub condition: Condition,
    /// Since when.
    pub since: SampleTime,
    /// What is the case in one sentence with its numbers, without the cam's name in front.
    pub sentence: String,
    /// Everything that the leads fitted cannot tell apart; one entry when they can.
    pub possible: Vec<CircuitCause>,
    /// The one measurement that would tell those apart; `None` when nothing has to be.
    pub separated_by: Option<String>,
    /// Leads the condition rests on.
    pub rests_on: Vec<Role>,
    /// What the pin does when the driver opens.
    pub flyback: Flyback,
    /// Drop of the supply lead while this driver conducts, in step with its command.
    pub sag: Reading<Volts>,
    /// Resistance of coil and driver in series, from the rise of the current.
    pub resistance: Reading<Ohms>,
    /// Inductance of the coil, from the rise of the current.
    pub inductance: Reading<Henries>,
    /// Times at which the command was lost, oldest first.
    pub losses: Vec<Loss>,
}

impl CircuitView {
    /// Before anything was seen.
    pub fn unseen() -> Self {
        Self {
            condition: Condition::NotShown,
            since: SampleTime(0.0),
            sentence: "Nothing has been measured yet.".to_owned(),
            possible: Vec::new(),
            separated_by: None,
            rests_on: Vec::new(),
            flyback: Flyback::Unknown(Why::NotEnoughYet),
            sag: Reading::Missing(Why::NotEnoughYet),
            resistance: Reading::Missing(Why::NotEnoughYet),
            inductance: Reading::Missing(Why::NotEnoughYet),
            losses: Vec::new(),
        }
    }
}

/// What is the case with a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Condition {
    /// It switches between near ground and near supply, and what is fitted to see them finds current and flyback in order.
    Sound,
    /// The lead is not proven, or too little was seen.
    NotShown,
    /// The pin stands at supply level.
    StandsHigh,
    /// The pin stands at ground level.
    StandsLow,
    /// The pin stands in between.
    StandsBetween,
    /// It switches, but its low level is too high for a sound driver and ground.
    LowLevelHigh,
    /// It switches, but the supply is below its zone or sags under load.
    SupplyLow,
    /// It switches, but no current flows and no flyback answers.
    NoLoad,
    /// It switches, but the current does not fit a coil: too much, too little or too quick.
    CurrentWrong,
    /// It switches at times: lost and come back.
    LostAtTimes,
}

/// What can be wrong in a circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CircuitCause {
    /// The controller does not ask for it, or its driver never conducts.
    DriverNeverOn,
    /// The driver conducts always.
    DriverAlwaysOn,
    /// The wire between the driver and where the lead is.
    WireTowardsDriver,
    /// The wire between where the lead is and the valve.
    WireTowardsValve,
    /// The coil is open.
    CoilOpen,
    /// The coil has shorted turns, or is another coil.
    CoilShorted,
    /// The feed of the valve is open.
    FeedOpen,
    /// Resistance in the feed, or a weak supply.
    FeedResistance,
    /// Resistance in driver or ground.
    GroundResistance,
    /// The pin is shorted to ground.
    ShortToGround,
    /// The pin is shorted to supply.
    ShortToSupply,
}

/// What the pin does when the driver opens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Flyback {
    /// Not known, and why.
    Unknown(Why),
    /// Rises far above the supply and is clamped there.
    Clamped(Volts),
    /// Rises to a diode's drop above the supply.
    Diode(Volts),
    /// Does not rise above the supply: nothing inductive carries current.
    Absent,
}

/// A time without command.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Last edge before it.
    pub from: SampleTime,
    /// First edge after it; `None` while it lasts.
    pub to: Option<SampleTime>,
    /// Crank revolutions in it, as far as known.
    pub turns: Option<f64>,
    /// Engine speed when it began.
    pub speed: Option<Rpm>,
    /// Duty before it.
    pub duty: Option<Percent>,
    /// Level at which the pin stood.
    pub level: Volts,
}

/// A lead as the checks see it: its channel and whether it is proven.
pub type Seen<'a> = Option<(&'a Channel, ProofState)>;

/// What one look at a circuit looks at, ten times a second.
#[derive(Debug, Clone, Copy)]
pub struct CircuitLook<'a> {
    /// Now.
    pub at: SampleTime,
    /// The command lead.
    pub command: Seen<'a>,
    /// The clamp on this valve's wire.
    pub current: Seen<'a>,
    /// The supply lead.
    pub supply: Seen<'a>,
    /// Engine speed, if known; zero when it is known to stand.
    pub speed: Option<Rpm>,
    /// PWM periods since the last look.
    pub periods: &'a [Period],
}

/// Checks one circuit.
#[derive(Debug, Clone)]
pub struct Checker {
    view: Arc<CircuitView>,
}

impl Checker {
    /// A checker of the circuit of this cam's actuator.
    pub fn new(_engine: &EngineSheet, _cam: CamId, _phaser: &PhaserSheet, _rate: Hertz) -> Self {
        Self {
            view: Arc::new(CircuitView::unseen()),
        }
    }

    /// Looks once.
    pub fn look(&mut self, _seen: &CircuitLook<'_>) {}

    /// Samples were lost.
    pub fn gap(&mut self) {}

    /// What is the case.
    pub fn view(&self) -> Arc<CircuitView> {
        Arc::clone(&self.view)
    }
}
