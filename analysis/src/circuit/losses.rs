//! Times at which the command was lost and came back.
//!
//! A controller that always drives its valve gives a pulse in every period. Pulses that are missing, between pulses at
//! one frequency, were lost on the way; so were any during which the pin floats, which no command makes it do.

use super::Loss;
use super::facts::Standing;
use crate::channel::Channel;
use crate::duty::{DutyMeter, Period};
use crate::units::{Percent, Rpm, SampleTime, Volts};
use std::collections::VecDeque;

/// A period so many times as long as those before lacks a pulse; less would take a change of frequency for one.
const LONG: f64 = 2.5;
/// The next within this share of the usual length shows that the frequency has not changed.
const USUAL: f64 = 1.5;
/// Periods from which the usual length is known.
const KNOWN: usize = 5;
/// Losses kept.
const MOST: usize = 200;
/// A command that ends this long, seconds, before the engine is seen to stop ended with it: the ignition was switched off
/// (an engine runs down within a second or two, from memory).
const WITH_ENGINE: f64 = 3.0;

/// What is known beside the pin.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around {
    pub at: SampleTime,
    pub rate: f64,
    pub speed: Option<Rpm>,
    /// Whether the engine runs by itself; a loss begins only then.
    pub running: bool,
    /// Whether the engine is known to stand or to run down.
    pub stopping: bool,
    /// Whether this controller drives the valve whenever the engine runs.
    pub always_driven: bool,
    /// Supply, if known.
    pub supply: Option<f64>,
}

/// Keeps the list.
#[derive(Debug, Clone, Default)]
pub(super) struct Losses {
    list: Vec<Loss>,
    usual: VecDeque<f64>,
    duty: Option<f64>,
    /// Long periods that wait for the next to show whether the frequency has changed.
    waiting: Vec<Loss>,
    open: bool,
}

impl Losses {
    pub fn list(&self) -> &[Loss] {
        &self.list
    }

    /// The loss that lasts, if one does.
    pub fn lasting(&self) -> Option<&Loss> {
        self.list.last().filter(|_| self.open)
    }

    /// Samples were lost: what lasts ends unseen.
    pub fn gap(&mut self) {
        self.waiting.clear();
        self.usual.clear();
        self.drop_open();
    }

    /// Takes the periods since the last look.
    pub fn look(
        &mut self,
        command: &Channel,
        meter: &DutyMeter,
        periods: &[Period],
        around: &Around,
    ) {
        for period in periods {
            self.period(command, period, around);
        }
        if self.open && around.stopping {
            let began = self.list.last().map_or(around.at, |l| l.from);
            if around.at.0 - began.0 < WITH_ENGINE * around.rate {
                self.drop_open();
            } else {
                self.open = false;
            }
        }
        let still = meter.last_edge().filter(|_| meter.is_still(around.at));
        match still {
            Some(edge) if !self.open && self.usual.len() >= KNOWN && around.running => {
                self.begin(command, edge, around);
            }
            _ => {}
        }
        if let (true, Some(loss)) = (self.open, self.list.last_mut())
            && loss.to.is_none()
        {
            loss.turns = turns(loss, around, around.at);
        }
    }

    fn begin(&mut self, command: &Channel, edge: SampleTime, around: &Around) {
        let Some(standing) = Standing::of(command, around.at, edge, around.rate) else {
            return;
        };
        let level = standing.told();
        if !self.counts(level, around) {
            return;
        }
        self.open = true;
        self.waiting.clear();
        self.push(Loss {
            from: edge,
            to: None,
            turns: None,
            speed: around.speed,
            duty: self.duty.map(Percent),
            level: Volts(level),
        });
    }

    /// Whether a pin at this level has lost its command. At ground it may be driven fully.
    fn counts(&self, level: f64, around: &Around) -> bool {
        let supply = around
            .supply
            .unwrap_or(super::facts::LEAST_SUPPLY + super::facts::BELOW);
        if level > supply - super::facts::BELOW {
            around.always_driven
        } else {
            level > super::facts::NEAR_GROUND
        }
    }

    fn period(&mut self, command: &Channel, period: &Period, around: &Around) {
        let start = SampleTime(period.end.0 - period.length);
        if self.open {
            self.open = false;
            if let Some(loss) = self.list.last_mut() {
                loss.to = Some(start);
                loss.turns = turns(loss, around, start);
            }
        }
        let usual = self.median();
        match usual {
            Some(usual) if period.length > LONG * usual => {
                self.waiting.extend(self.missing(command, period, around));
                // So many in a row are a new frequency.
                if self.waiting.len() >= KNOWN {
                    self.waiting.clear();
                    self.usual.clear();
                }
            }
            Some(usual) if period.length < USUAL * usual => {
                for loss in std::mem::take(&mut self.waiting) {
                    self.push(loss);
                }
                self.note(period);
            }
            _ => {
                self.waiting.clear();
                self.note(period);
            }
        }
    }

    /// The loss within a period that is too long.
    fn missing(&self, command: &Channel, period: &Period, around: &Around) -> Option<Loss> {
        // Where the pin floats low, the driver or the meter takes it for low.
        let rise = period.end.0 - period.length + period.low;
        let (from, to) = if period.low > 0.5 * period.length {
            (period.end.0 - period.length, rise)
        } else {
            (rise, period.end.0)
        };
        let level = Standing::within(command, from, to)?.told();
        let (from, to) = (SampleTime(from), SampleTime(to));
        if !around.running || !self.counts(level, around) {
            return None;
        }
        let loss = Loss {
            from,
            to: Some(to),
            turns: None,
            speed: around.speed,
            duty: self.duty.map(Percent),
            level: Volts(level),
        };
        Some(Loss {
            turns: turns(&loss, around, to),
            ..loss
        })
    }

    fn note(&mut self, period: &Period) {
        self.duty = Some(100.0 * period.low / period.length);
        self.usual.push_back(period.length);
        if self.usual.len() > 9 {
            let _ = self.usual.pop_front();
        }
    }

    fn median(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.usual.iter().copied().collect();
        if all.len() < KNOWN {
            return None;
        }
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    }

    fn push(&mut self, loss: Loss) {
        if self.list.len() >= MOST {
            let _ = self.list.remove(0);
        }
        self.list.push(loss);
    }

    fn drop_open(&mut self) {
        if self.open {
            let _ = self.list.pop();
        }
        self.open = false;
    }
}

/// Revolutions from the beginning of a loss to `to`, at the mean of the speeds then and now.
fn turns(loss: &Loss, around: &Around, to: SampleTime) -> Option<f64> {
    let seconds = (to.0 - loss.from.0) / around.rate;
    let then = loss.speed?;
    let now = around.speed.unwrap_or(then);
    Some(0.5 * (then.0 + now.0) / 60.0 * seconds)
}
