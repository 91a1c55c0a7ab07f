//! Electrical checks of one actuator's circuit: its command pin, its supply and, where there is a clamp, its current.

use crate::channel::Channel;
use crate::duty::Period;
use crate::engine::{EngineSheet, PhaserSheet};
use crate::lead::{CamId, Role};
use crate::proof::ProofState;
use crate::reading::{Reading, Why};
use crate::units::{Henries, Hertz, Ohms, Percent, Rpm, SampleTime, Volts};
use std::sync::Arc;

mod coil;
mod facts;
mod flyback;
mod gatherer;
mod losses;
mod span;
mod steady;
mod verdict;
mod words;

use coil::Estimate;
use facts::Facts;
use gatherer::Gatherer;
use losses::{Around, Losses};
use steady::Steady;
use verdict::{Found, Sheet};

/// Share of the lowest idle speed from which an engine runs by itself; below it cranks, stalls or runs down.
const RUNS: f64 = 0.85;
/// One that runs still does so down to this share: it is being stalled, not switched off.
const STILL_RUNS: f64 = 0.6;
/// Standard errors up to this share leave a figure of use.
const USEFUL: f64 = 0.1;
/// The speed is remembered for so long, seconds, while the crank is not told.
const SPEED_HOLDS: f64 = 1.0;

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
    /// Resistance of coil and driver in series, from the rise of the current; with the feed, as far as the supply lead
    /// is from the valve.
    pub resistance: Reading<Ohms>,
    /// Its standard error, from the scatter between looks; those of probe and clamp are not in it.
    pub resistance_error: Option<Ohms>,
    /// Inductance of the coil, from the rise of the current.
    pub inductance: Reading<Henries>,
    /// Its standard error, likewise.
    pub inductance_error: Option<Henries>,
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
            resistance_error: None,
            inductance: Reading::Missing(Why::NotEnoughYet),
            inductance_error: None,
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
    /// Whether the command lead is being touched to ground and supply on request: what it shows is not its pin.
    pub touched: bool,
}

/// Checks one circuit.
#[derive(Debug, Clone)]
pub struct Checker {
    sheet: Sheet,
    idle: Rpm,
    rate: Hertz,
    gatherer: Gatherer,
    losses: Losses,
    steady: Steady,
    /// Last known speed and when; whether the engine runs by itself.
    speed: Option<(Rpm, SampleTime)>,
    running: Option<bool>,
    view: Arc<CircuitView>,
}

impl Checker {
    /// A checker of the circuit of this cam's actuator.
    pub fn new(engine: &EngineSheet, cam: CamId, phaser: &PhaserSheet, rate: Hertz) -> Self {
        Self {
            sheet: Sheet {
                cam,
                always_driven: phaser.always_driven,
                frequency: phaser.frequency,
                supply: engine.supply,
            },
            idle: engine.idle.low,
            rate,
            gatherer: Gatherer::default(),
            losses: Losses::default(),
            steady: Steady::new(),
            speed: None,
            running: None,
            view: Arc::new(CircuitView::unseen()),
        }
    }

    /// Looks once.
    pub fn look(&mut self, seen: &CircuitLook<'_>) {
        self.follow_speed(seen);
        let facts = self.gatherer.look(seen, self.running, self.rate);
        let found = match seen.command {
            None => Found::not_shown(seen.at, "No command lead is fitted.", Vec::new()),
            Some(_) if seen.touched => {
                self.losses.gap();
                Found::not_shown(seen.at, "The command lead is being tested.", Vec::new())
            }
            Some((_, state)) if state != ProofState::Proven => {
                let leads = vec![Role::Command(self.sheet.cam)];
                Found::not_shown(seen.at, words::unproven(state), leads)
            }
            Some((command, _)) => {
                self.follow_losses(seen, command, &facts);
                verdict::found(&facts, &self.sheet, &self.losses)
            }
        };
        let told = (self.steady).take(found.condition, found.onset, seen.at, self.rate);
        self.tell(seen, &facts, told.then_some(found));
    }

    fn follow_speed(&mut self, seen: &CircuitLook<'_>) {
        if let Some(speed) = seen.speed {
            self.speed = Some((speed, seen.at));
        }
        self.running = match self.speed {
            Some((speed, at)) if seen.at.since(at, self.rate).0 < SPEED_HOLDS => {
                let share = if self.running == Some(true) {
                    STILL_RUNS
                } else {
                    RUNS
                };
                Some(speed.0 > share * self.idle.0)
            }
            _ => None,
        };
    }

    fn follow_losses(&mut self, seen: &CircuitLook<'_>, command: &Channel, facts: &Facts) {
        let Some(meter) = command.meter() else {
            return;
        };
        let idles = seen.speed.is_none_or(|s| s.0 > RUNS * self.idle.0);
        let around = Around {
            at: seen.at,
            rate: self.rate.0,
            speed: seen.speed,
            running: self.running == Some(true) && idles,
            stopping: self.running == Some(false),
            always_driven: self.sheet.always_driven,
            supply: facts.believed,
        };
        self.losses.look(command, meter, seen.periods, &around);
    }

    /// Puts the view together; while another condition has not lasted yet, the one before keeps its words.
    fn tell(&mut self, seen: &CircuitLook<'_>, facts: &Facts, found: Option<Found>) {
        let coil = facts.coil;
        let why = match gatherer::absent(&seen.current) {
            Why::NotEnoughYet => self.gatherer.why_no_coil(),
            why => why,
        };
        // Without a supply lead, what a diode adds is taken for supply.
        let hidden = facts.supply.is_none() && !matches!(facts.flyback, Flyback::Clamped(_));
        let quality = |e: Option<Estimate>| match e {
            Some(e) if e.error <= USEFUL * e.value && hidden => {
                Reading::Suspect(e.value, Why::NoLead)
            }
            Some(e) if e.error <= USEFUL * e.value => Reading::Valid(e.value),
            // The current has risen too little to tell the one from the other.
            Some(_) => Reading::Missing(Why::TooLittleDrive),
            None => Reading::Missing(why),
        };
        let driver = facts.driver.unwrap_or(0.0);
        let view = Arc::make_mut(&mut self.view);
        view.flyback = facts.flyback;
        view.sag = facts.sag;
        view.resistance = quality(coil.map(|c| c.resistance)).map(|r| Ohms(r + driver));
        view.inductance = quality(coil.map(|c| c.inductance)).map(Henries);
        view.resistance_error = coil.map(|c| Ohms(c.resistance.error));
        view.inductance_error = coil.map(|c| Henries(c.inductance.error));
        if view.losses.len() != self.losses.list().len()
            || self.losses.lasting().is_some()
            || view.losses.last() != self.losses.list().last()
        {
            view.losses = self.losses.list().to_vec();
        }
        if let Some(found) = found {
            view.condition = found.condition;
            view.since = self.steady.since();
            view.sentence = found.sentence;
            view.possible = found.possible;
            view.separated_by = found.separated_by;
            view.rests_on = found.rests_on;
        }
    }

    /// Samples were lost.
    pub fn gap(&mut self) {
        self.gatherer.gap();
        self.losses.gap();
    }

    /// What is the case.
    pub fn view(&self) -> Arc<CircuitView> {
        Arc::clone(&self.view)
    }
}

#[cfg(test)]
mod tests;
