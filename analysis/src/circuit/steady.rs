//! A condition is told when it has lasted, so that the screen does not flicker.

use super::Condition;
use crate::units::{Hertz, SampleTime};

/// How long a condition must last, seconds. Less would tell of every misfire of a lead; more would be later.
fn lasting(condition: Condition) -> f64 {
    match condition {
        // The lead is not proven, or the engine stands: nothing may be claimed meanwhile.
        Condition::NotShown => 0.0,
        // The meter has waited for a tenth of a second, and the list of losses has its own test.
        Condition::StandsHigh | Condition::LostAtTimes => 0.2,
        Condition::StandsBetween | Condition::StandsLow => 0.3,
        Condition::Sound => 0.5,
        Condition::NoLoad | Condition::CurrentWrong | Condition::LowLevelHigh => 1.0,
        // The supply moves with every consumer that is switched on.
        Condition::SupplyLow => 2.0,
    }
}

/// The condition that is told, and the one that may follow it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Steady {
    shown: Condition,
    since: SampleTime,
    next: Option<(Condition, SampleTime, SampleTime)>,
}

impl Steady {
    pub fn new() -> Self {
        Self {
            shown: Condition::NotShown,
            since: SampleTime(0.0),
            next: None,
        }
    }

    /// Takes what was found at `at`, which began at `onset`; returns whether that is what is told.
    pub fn take(
        &mut self,
        condition: Condition,
        onset: SampleTime,
        at: SampleTime,
        rate: Hertz,
    ) -> bool {
        if condition == self.shown {
            self.next = None;
            return true;
        }
        let (first, began) = match self.next {
            Some((c, first, began)) if c == condition => (first, began),
            _ => (at, onset),
        };
        self.next = Some((condition, first, began));
        // Two looks at least, but for a lead that may not be relied upon.
        if at.since(first, rate).0 + 1e-9 < lasting(condition) {
            return false;
        }
        self.shown = condition;
        self.since = began;
        self.next = None;
        true
    }

    pub fn since(&self) -> SampleTime {
        self.since
    }
}
