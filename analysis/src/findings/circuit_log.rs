//! What the circuit of an actuator was found to be over the session. Times are seconds.

use super::Cause;
use super::lead_log::LeadLog;
use crate::circuit::{CircuitCause, CircuitView, Condition, Flyback, Loss};
use crate::lead::Role;
use crate::units::{Henries, Ohms, Volts};

/// A condition must have been found for this long altogether: two or three looks may stand astride a change.
const FOUND: f64 = 0.5;

/// Below this duty the driver opens long before the current has risen, so that its rise tells inductance rather than
/// resistance: a quarter of a period of 4 ms is 1 ms, and a valve's L/R is 1 to 5 ms (from memory).
const RISES: f64 = 25.0;

/// One condition, all times together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found {
    pub condition: Condition,
    /// First and last time.
    pub from: f64,
    pub last: f64,
    /// Seconds altogether.
    pub seconds: f64,
    /// Seconds for which it was found sound since.
    sound_since: f64,
    pub sentence: String,
    pub possible: Vec<CircuitCause>,
    pub separated_by: Option<String>,
    pub rests_on: Vec<Role>,
}

impl Found {
    /// Found for long enough, and not outweighed by what was found since. A pin that stood, or a command that was lost,
    /// is a fact whatever came after.
    fn is_firm(&self) -> bool {
        let stays = is_standing(self.condition)
            || matches!(self.condition, Condition::Sound | Condition::LostAtTimes);
        self.seconds >= FOUND && (stays || self.seconds >= self.sound_since)
    }

    /// Whether it keeps the command from its effect, rather than only weakening it.
    pub fn is_grave(&self) -> bool {
        !matches!(
            self.condition,
            Condition::Sound | Condition::SupplyLow | Condition::LowLevelHigh
        )
    }
}

/// What was found of one circuit.
#[derive(Debug, Clone, Default)]
pub(crate) struct CircuitLog {
    found: Vec<Found>,
    pub losses: Vec<Loss>,
    /// How many losses the checks have told of, forgiven ones included.
    given: usize,
    /// Times, in samples, at which the technician had it unplugged.
    unplugged: Vec<[f64; 2]>,
    /// The last flyback seen, and when.
    pub flyback: Option<(Flyback, f64)>,
    pub sag: Option<(Volts, f64)>,
    pub resistance: Option<(Ohms, f64)>,
    pub inductance: Option<(Henries, f64)>,
    last: Option<f64>,
}

impl CircuitLog {
    /// Looks while the engine runs.
    pub fn look(&mut self, at: f64, view: &CircuitView, duty: Option<f64>, leads: &LeadLog) {
        let step = self.last.map_or(0.0, |last| (at - last).clamp(0.0, 0.5));
        self.last = Some(at);
        if self.given != view.losses.len() || self.losses.last() != view.losses.last() {
            self.given = view.losses.len();
            let plugged = |l: &&Loss| {
                let inside = |&[from, to]: &[f64; 2]| l.from.0 >= from && l.from.0 <= to;
                !self.unplugged.iter().any(inside)
            };
            self.losses = view.losses.iter().filter(plugged).copied().collect();
        }
        if view.condition == Condition::NotShown || !rests(view, leads, at, step) {
            return;
        }
        if !matches!(view.flyback, Flyback::Unknown(_)) {
            self.flyback = Some((view.flyback, at));
        }
        self.sag = view.sag.valid().map(|v| (v, at)).or(self.sag);
        self.resistance = (view.resistance.valid().map(|v| (v, at))).or(self.resistance);
        self.inductance = (view.inductance.valid().map(|v| (v, at))).or(self.inductance);
        if view.condition == Condition::CurrentWrong && duty.is_none_or(|d| d < RISES) {
            return;
        }
        if view.condition == Condition::Sound {
            self.found.iter_mut().for_each(|f| f.sound_since += step);
        }
        let known = self
            .found
            .iter()
            .position(|f| f.condition == view.condition);
        let index = known.unwrap_or_else(|| {
            self.found.push(Found {
                condition: view.condition,
                from: at,
                last: at,
                seconds: 0.0,
                sound_since: 0.0,
                sentence: String::new(),
                possible: Vec::new(),
                separated_by: None,
                rests_on: Vec::new(),
            });
            self.found.len() - 1
        });
        let found = &mut self.found[index];
        found.last = at;
        found.seconds += step;
        if found.sentence != view.sentence {
            found.sentence.clone_from(&view.sentence);
        }
        if found.separated_by != view.separated_by {
            found.separated_by.clone_from(&view.separated_by);
        }
        for cause in &view.possible {
            if !found.possible.contains(cause) {
                found.possible.push(*cause);
            }
        }
        for role in &view.rests_on {
            if !found.rests_on.contains(role) {
                found.rests_on.push(*role);
            }
        }
    }

    /// Losses between these, in samples, were the technician's own.
    pub fn forgive(&mut self, from: f64, to: f64) {
        self.unplugged.push([from, to]);
    }

    /// The engine does not run: times are not carried on.
    pub fn pause(&mut self) {
        self.last = None;
    }

    /// A condition, if it was found for long enough.
    pub fn found(&self, condition: Condition) -> Option<&Found> {
        (self.found.iter()).find(|f| f.condition == condition && f.is_firm())
    }

    /// The first of these conditions that was found.
    pub fn any_of(&self, conditions: &[Condition]) -> Option<&Found> {
        conditions.iter().find_map(|&c| self.found(c))
    }

    /// Everything that was found wrong.
    pub fn faults(&self) -> impl Iterator<Item = &Found> {
        (self.found.iter()).filter(|f| f.condition != Condition::Sound && f.is_firm())
    }
}

/// Whether all it rests on is proven, or known in the case of a level at which a pin stands.
fn rests(view: &CircuitView, leads: &LeadLog, at: f64, step: f64) -> bool {
    let stands = is_standing(view.condition) || view.condition == Condition::LostAtTimes;
    view.rests_on.iter().all(|&role| {
        leads.proven(role)
            || (stands && matches!(role, Role::Command(_)) && leads.known_over(role, at - step, at))
    })
}

/// Whether the pin stands.
pub(super) fn is_standing(condition: Condition) -> bool {
    matches!(
        condition,
        Condition::StandsHigh | Condition::StandsLow | Condition::StandsBetween
    )
}

/// Whether nothing of the command can reach the spool. A pin at ground may be one that is driven fully because the cam
/// does not come.
pub(super) fn is_without_power(condition: Condition) -> bool {
    matches!(
        condition,
        Condition::StandsHigh | Condition::StandsBetween | Condition::NoLoad
    )
}

/// The rows of the table that something wrong in a circuit belongs to.
pub(super) fn causes(possible: &[CircuitCause]) -> Vec<Cause> {
    let mut all = Vec::new();
    for cause in possible {
        let of: &[Cause] = match cause {
            CircuitCause::DriverNeverOn => &[Cause::NoCommand, Cause::WiringOrDriver],
            CircuitCause::DriverAlwaysOn
            | CircuitCause::WireTowardsDriver
            | CircuitCause::WireTowardsValve
            | CircuitCause::ShortToGround
            | CircuitCause::ShortToSupply => &[Cause::WiringOrDriver],
            CircuitCause::CoilOpen | CircuitCause::CoilShorted => &[Cause::Valve],
            CircuitCause::FeedOpen | CircuitCause::FeedResistance => &[Cause::SupplyOrGround],
            CircuitCause::GroundResistance => &[Cause::SupplyOrGround, Cause::WiringOrDriver],
        };
        for &cause in of {
            if !all.contains(&cause) {
                all.push(cause);
            }
        }
    }
    all.sort_unstable();
    all
}
