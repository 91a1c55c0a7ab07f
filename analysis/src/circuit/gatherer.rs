//! Puts together what the leads of one circuit show, from one look to the next.

use super::coil::{Coil, Learner, Sight};
use super::facts::{Facts, Pin, Standing, Switching};
use super::flyback::{self, Shown};
use super::span::{self, Cut};
use super::{CircuitLook, Flyback, Seen};
use crate::channel::Channel;
use crate::proof::ProofState;
use crate::reading::{Reading, Why};
use crate::units::{Hertz, SampleTime, Seconds, Volts};
use std::collections::VecDeque;

/// Periods looked at closely in each look: thirty a second are plenty, and what is not looked at costs nothing.
const PERIODS: usize = 3;
/// Figures are means over this window.
const WINDOW: Seconds = Seconds(0.2);
const WINDOW_SLICES: usize = 40;
/// And of a pin that stands, over this, which is less than it takes to be seen to stand.
const STANDING_SLICES: usize = 15;
/// Looks over which the sag is averaged: the alternator's ripple is not in step with the command and goes out.
const SAGS: usize = 15;
/// Looks over which the level of the open pin is taken.
const HIGHS: usize = 15;
/// An off level that moves by more than this, volts, has not settled.
const STEADY: f64 = 1.0;
/// Looks from which a sag is known.
const FEWEST_SAGS: usize = 5;
/// What was seen of the flyback holds for so long, seconds, while the duty hides it.
const REMEMBERED: f64 = 3.0;
/// A low level that rises by so much, volts, while the driver conducts carries a coil's rising current: 0.18 ohms
/// (TLE8102SG data sheet) at a quarter of an ampere; thirty times the noise of the means it is taken from.
const RISES: f64 = 0.045;
/// A coil's figures serve as its own reference when they are known to this share.
const KNOWN: f64 = 0.03;
/// Looks, ten a second, over which that reference follows: copper warms by as much in minutes, not in seconds.
const FOLLOWS: f64 = 600.0;
/// A clamp's offset is taken out up to this, amperes; more is a clamp that was not zeroed, which the proof tells.
const OFFSET: f64 = 0.3;

/// What is kept from one look to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct Gatherer {
    learner: Learner,
    offset: f64,
    sags: VecDeque<f64>,
    flyback: Option<(Flyback, SampleTime)>,
    loaded: Option<(bool, SampleTime)>,
    /// Levels of the open pin, newest last.
    highs: VecDeque<f64>,
    peak: Option<f64>,
    reference: Option<[f64; 2]>,
    running_since: Option<SampleTime>,
    too_few: bool,
}

/// The channel of a lead that is proven.
pub(super) fn proven<'a>(seen: &Seen<'a>) -> Option<&'a Channel> {
    seen.filter(|(_, state)| *state == ProofState::Proven)
        .map(|(channel, _)| channel)
}

impl Gatherer {
    /// Samples were lost.
    pub fn gap(&mut self) {
        self.learner.end_look();
    }

    /// Looks once through proven leads. `runs` says whether the engine runs by itself.
    pub fn look(&mut self, seen: &CircuitLook<'_>, runs: Option<bool>, rate: Hertz) -> Facts {
        match runs {
            Some(true) => {
                let _ = self.running_since.get_or_insert(seen.at);
            }
            Some(false) | None => self.running_since = None,
        }
        let (current, supply) = (proven(&seen.current), proven(&seen.supply));
        let command = proven(&seen.command);
        let mut facts = Facts {
            at: seen.at,
            rate: rate.0,
            pin: Pin::Unknown,
            supply: supply.and_then(|s| s.mean(WINDOW_SLICES)),
            ripple: supply
                .and_then(|s| s.range(WINDOW_SLICES))
                .map(|[low, high]| high - low),
            believed: None,
            current: current.and_then(|c| c.mean(WINDOW_SLICES)),
            peak: None,
            flyback: Flyback::Unknown(Why::NotEnoughYet),
            loaded: None,
            sag: Reading::Missing(absent(&seen.supply)),
            coil: None,
            driver: None,
            change: None,
            running: self.running_since.map(|since| seen.at.since(since, rate).0),
        };
        let Some(command) = command else {
            return facts;
        };
        facts.pin = self.pin(command, seen.at, rate.0);
        facts.believed = facts.supply.or(self.off_level());
        if let Pin::Stands(_) = facts.pin {
            // Since it stands, not before.
            facts.current = current.and_then(|c| c.mean(STANDING_SLICES));
        }
        if let Pin::Switches(switching) = facts.pin {
            let last = seen.periods.last().and_then(Cut::of);
            let high = switching
                .high
                .or_else(|| last.and_then(|c| tail(command, &c)));
            if let Some(high) = high {
                self.highs.push_back(high);
                if self.highs.len() > HIGHS {
                    let _ = self.highs.pop_front();
                }
                facts.believed = facts.supply.or(self.off_level());
            }
            self.periods(seen, command, rate.0);
            self.fill(&mut facts, current.is_some(), supply.is_some(), rate);
        }
        facts
    }

    /// Level of the open pin: the middle of the last ones, since a bad contact spoils some.
    fn off_level(&self) -> Option<f64> {
        let mut highs: Vec<f64> = self.highs.iter().copied().collect();
        highs.sort_by(f64::total_cmp);
        highs.get(highs.len() / 2).copied()
    }

    fn pin(&self, command: &Channel, at: SampleTime, rate: f64) -> Pin {
        let Some(meter) = command.meter() else {
            return Pin::Unknown;
        };
        if let Some(duty) = meter.duty(at, WINDOW) {
            let volts = |raw: f64| command.calibration.value(raw);
            return Pin::Switches(Switching {
                hertz: duty.frequency.0,
                duty: duty.duty,
                low: meter.low(at, WINDOW).map(volts),
                high: meter.high(at, WINDOW).map(volts),
            });
        }
        let since = meter.last_edge().or(command.first);
        match since.filter(|s| meter.is_still(at) && at.0 - s.0 > 0.1 * rate) {
            Some(since) => Standing::of(command, at, since, rate).map_or(Pin::Unknown, Pin::Stands),
            None => Pin::Unknown,
        }
    }

    fn periods(&mut self, seen: &CircuitLook<'_>, command: &Channel, rate: f64) {
        let (current, supply) = (proven(&seen.current), proven(&seen.supply));
        let cuts: Vec<Cut> = (seen.periods.iter().rev().take(PERIODS))
            .filter_map(Cut::of)
            .collect();
        let shown: Vec<Shown> = cuts
            .iter()
            .filter_map(|cut| flyback::shown(command, supply, cut, rate))
            .collect();
        self.hear(command, &cuts, &shown, seen.at);
        let sags: Vec<f64> = (cuts.iter()).filter_map(|cut| sag(supply?, cut)).collect();
        if !sags.is_empty() {
            self.sags
                .push_back(sags.iter().sum::<f64>() / sags.len() as f64);
            if self.sags.len() > SAGS {
                let _ = self.sags.pop_front();
            }
        }
        let off_level = supply
            .and_then(|s| s.mean(WINDOW_SLICES))
            .or(self.off_level());
        let (Some(current), Some(off_level)) = (current, off_level) else {
            return;
        };
        if let (Some(Shown::Clamped(_)), Some(cut)) = (shown.first(), cuts.first()) {
            self.zero(command, current, cut, off_level);
        }
        self.peak = (cuts.iter())
            .filter_map(|cut| span::mean(current, span::between(cut.fall, cut.rise, 0.9), cut.rise))
            .reduce(f64::max)
            .map(|p| p - self.offset);
        let sight = Sight {
            command,
            current,
            supply,
            off_level,
            offset: self.offset,
            whole: supply.is_some() || matches!(self.flyback, Some((Flyback::Clamped(_), _))),
            rate,
        };
        let mut taken = cuts.is_empty();
        for cut in &cuts {
            taken |= self.learner.take(&sight, cut);
        }
        self.too_few = !taken;
        self.learner.end_look();
    }

    /// What the clamp shows after the flyback has taken the current away.
    fn zero(&mut self, command: &Channel, current: &Channel, cut: &Cut, off_level: f64) {
        let from = span::between(cut.rise, cut.end, 0.75);
        let quiet = span::reach(command, from, cut.end.saturating_sub(2))
            .is_some_and(|(_, high)| command.calibration.value(f64::from(high)) < off_level + 2.0);
        if let (true, Some(zero)) = (quiet, span::mean(current, from, cut.end))
            && zero.abs() < OFFSET
        {
            self.offset += 0.1 * (zero - self.offset);
        }
    }

    /// The flyback of the periods looked at, and whether something inductive answers.
    fn hear(&mut self, command: &Channel, cuts: &[Cut], shown: &[Shown], at: SampleTime) {
        let clamped: Vec<f64> = (shown.iter())
            .filter_map(|s| match s {
                Shown::Clamped(v) => Some(*v),
                _ => None,
            })
            .collect();
        let diode: Vec<f64> = (shown.iter())
            .filter_map(|s| match s {
                Shown::Diode(v) => Some(*v),
                _ => None,
            })
            .collect();
        let mean = |v: &[f64]| Volts(v.iter().sum::<f64>() / v.len() as f64);
        let flat = shown.iter().filter(|s| **s == Shown::Flat).count();
        let found = if !clamped.is_empty() {
            Some(Flyback::Clamped(mean(&clamped)))
        } else if let Some(Shown::Beyond(why)) =
            shown.iter().find(|s| matches!(s, Shown::Beyond(_)))
        {
            Some(Flyback::Unknown(*why))
        } else if !diode.is_empty() {
            Some(Flyback::Diode(mean(&diode)))
        } else if flat > 0 && flat == shown.len() {
            Some(Flyback::Absent)
        } else {
            None
        };
        let unclear = shown.iter().find_map(|s| match s {
            Shown::Unclear(why) => Some(Flyback::Unknown(*why)),
            _ => None,
        });
        match (found, unclear) {
            (Some(found), _) => self.flyback = Some((found, at)),
            (None, Some(unclear)) if self.flyback.is_none() => self.flyback = Some((unclear, at)),
            _ => {}
        }
        let loaded = if shown.iter().any(|s| s.answers()) || rises(command, cuts) {
            Some(true)
        } else {
            (found == Some(Flyback::Absent)).then_some(false)
        };
        if let Some(loaded) = loaded {
            self.loaded = Some((loaded, at));
        }
    }

    fn fill(&mut self, facts: &mut Facts, clamp: bool, supply: bool, rate: Hertz) {
        let fresh = |at: SampleTime| facts.at.since(at, rate).0 < REMEMBERED;
        if let Some((flyback, _)) = self.flyback.filter(|(_, at)| fresh(*at)) {
            facts.flyback = flyback;
        }
        facts.loaded = self.loaded.filter(|(_, at)| fresh(*at)).map(|(is, _)| is);
        if !fresh(self.flyback.map_or(facts.at, |(_, at)| at)) {
            self.flyback = None;
        }
        if supply {
            facts.sag = if self.sags.len() >= FEWEST_SAGS {
                Reading::Valid(Volts(
                    self.sags.iter().sum::<f64>() / self.sags.len() as f64,
                ))
            } else {
                Reading::Missing(Why::NotEnoughYet)
            };
        } else {
            self.sags.clear();
        }
        if !clamp {
            self.learner.clear();
            return;
        }
        facts.peak = self.peak;
        facts.coil = self.learner.coil();
        facts.driver = self.learner.driver();
        facts.change = facts.coil.and_then(|coil| self.compare(&coil));
    }

    /// The coil against what it was before; what it was follows slowly.
    fn compare(&mut self, coil: &Coil) -> Option<[f64; 2]> {
        let (r, l) = (coil.resistance, coil.inductance);
        if r.error > KNOWN * r.value || l.error > KNOWN * l.value {
            return None;
        }
        let reference = self.reference.get_or_insert([r.value, l.value]);
        let change = [r.value / reference[0], l.value / reference[1]];
        for (is, was) in [r.value, l.value].into_iter().zip(reference.iter_mut()) {
            *was += (is - *was) / FOLLOWS;
        }
        Some(change)
    }

    /// Why resistance and inductance are not known, where a clamp is fitted.
    pub fn why_no_coil(&self) -> Why {
        if self.too_few {
            Why::TooFewSamples
        } else {
            Why::NotEnoughYet
        }
    }
}

/// Why a lead that is not proven shows nothing.
pub(super) fn absent(seen: &Seen<'_>) -> Why {
    match seen {
        None => Why::NoLead,
        Some((_, ProofState::Proven)) => Why::NotEnoughYet,
        Some((_, ProofState::Doubtful)) => Why::NotProven,
        Some((_, ProofState::Silent | ProofState::Spare)) => Why::Silent,
    }
}

/// Level of the pin at the very end of the off time, where the flyback fills most of it.
fn tail(command: &Channel, cut: &Cut) -> Option<f64> {
    let (from, to) = (
        span::between(cut.rise, cut.end, 0.9),
        cut.end.saturating_sub(2),
    );
    let (low, high) = span::reach(command, from, to)?;
    let steady = command
        .calibration
        .difference(f64::from(high) - f64::from(low))
        .abs()
        < STEADY;
    span::mean(command, from, to).filter(|_| steady && to >= from + 4)
}

/// Drop of the supply at the end of the conduction against the end of the off time.
fn sag(supply: &Channel, cut: &Cut) -> Option<f64> {
    let on = span::mean(supply, span::between(cut.fall, cut.rise, 0.75), cut.rise)?;
    let off = span::mean(supply, span::between(cut.rise, cut.end, 0.75), cut.end)?;
    Some(off - on)
}

/// Whether the low level rises as the driver conducts.
fn rises(command: &Channel, cuts: &[Cut]) -> bool {
    let rise: Vec<f64> = cuts
        .iter()
        .filter(|cut| cut.on() >= 30)
        .filter_map(|cut| {
            let part = |a: f64, b: f64| {
                let (a, b) = (
                    span::between(cut.fall, cut.rise, a),
                    span::between(cut.fall, cut.rise, b),
                );
                span::mean(command, a, b)
            };
            Some(part(0.7, 0.97)? - part(0.1, 0.35)?)
        })
        .collect();
    let least = RISES.max(0.3 * command.calibration.difference(1.0).abs());
    !rise.is_empty() && rise.iter().sum::<f64>() / rise.len() as f64 > least
}
