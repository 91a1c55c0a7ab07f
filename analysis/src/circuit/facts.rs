//! What the leads of one circuit show now.

use super::Flyback;
use super::coil::Coil;
use super::span;
use crate::channel::Channel;
use crate::reading::Reading;
use crate::units::{Percent, SampleTime, Volts};

/// A pin below this, volts, is near ground: driver and wire drop under a volt at 2 A (TLE8104E data sheet), plus margin.
pub(super) const NEAR_GROUND: f64 = crate::proof::GROUND;
/// A pin that is no further below the supply than this, volts, is at the supply: fuse, feed and coil lose less while no
/// current flows.
pub(super) const BELOW: f64 = 1.5;
/// Supply where none is known: the least of a cranking battery (9.6 V, common practice) less some.
pub(super) const LEAST_SUPPLY: f64 = 9.0;
/// A pin that stands but moves by more than this, volts, is not held by anything: wider than noise and ripple.
const MOVES: f64 = 1.0;
/// Samples looked at over a tenth of a second of a standing pin.
const SAMPLED: u64 = 500;
/// Dips of a pin that is held at the supply, volts: a driver at its limit of 3 A and more (TLE8104E data sheet) pulls a
/// short of 0.1 ohm down by that.
const DIP: f64 = 0.3;
/// Share of the time that a driver bears a short before it shuts off: below a twentieth of a period, or it is no dip.
const BRIEF: f64 = 0.05;

/// What the command pin does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Pin {
    /// Nothing can be said yet.
    Unknown,
    /// It switches.
    Switches(Switching),
    /// No edge for long, and where it stands.
    Stands(Standing),
}

/// A pin that switches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Switching {
    pub hertz: f64,
    pub duty: Percent,
    /// Settled levels, volts.
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// A pin that stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Standing {
    /// Middle, and where nearly all of it lies; volts.
    pub level: f64,
    pub range: [f64; 2],
    pub since: SampleTime,
    /// Brief dips a second, as of a driver that shuts off because of a short.
    pub dips: f64,
}

/// Where a standing pin stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Supply,
    Ground,
    Between,
}

impl Standing {
    /// The last tenth of a second of `command` before `now`.
    pub fn of(command: &Channel, now: SampleTime, since: SampleTime, rate: f64) -> Option<Self> {
        let (from, to) = (now.0 - 0.1 * rate, now.0);
        let standing = Self {
            since,
            ..Self::within(command, from, to)?
        };
        let [low, high] = standing.range;
        let (from, to) = (span::index(from), span::index(to));
        let dips = dips(command, from, to, standing.level, high - low, rate);
        Some(Self { dips, ..standing })
    }

    /// What lies between two instants.
    pub fn within(command: &Channel, from: f64, to: f64) -> Option<Self> {
        let (since, from, to) = (SampleTime(from), span::index(from), span::index(to));
        let stride = (to.saturating_sub(from) / SAMPLED).max(1);
        let (mut taken, mut next) = (Vec::new(), from);
        command.ring.visit(from, to, |first, samples| {
            let mut at = next.max(first);
            while let Some(&x) = usize::try_from(at - first)
                .ok()
                .and_then(|i| samples.get(i))
            {
                taken.push(x);
                at += stride;
            }
            next = at;
        });
        if taken.len() < 20 {
            return None;
        }
        taken.sort_unstable();
        let volts = |share: f64| {
            let last = taken.len() - 1;
            let at = usize::try_from(span::index(share * last as f64)).unwrap_or(last);
            command.calibration.value(f64::from(taken[at.min(last)]))
        };
        // Spikes and noise lie outside.
        let (low, high) = (volts(0.03), volts(0.97));
        Some(Self {
            level: volts(0.5),
            range: [low.min(high), low.max(high)],
            since,
            dips: 0.0,
        })
    }

    /// The level that tells where it stands: of a pin that moves, where it is let go.
    pub fn told(&self) -> f64 {
        let [low, high] = self.range;
        if high - low > MOVES { high } else { self.level }
    }

    /// Where it stands, with the supply as far as known.
    pub fn place(&self, supply: Option<f64>) -> Place {
        let high = supply.map_or(LEAST_SUPPLY, |v| v - BELOW);
        let [low, top] = self.range;
        let moves = top - low > MOVES;
        if self.level > high && !moves {
            Place::Supply
        } else if top < NEAR_GROUND || (self.level < NEAR_GROUND && !moves) {
            Place::Ground
        } else {
            Place::Between
        }
    }
}

/// Brief dips a second below a level.
fn dips(command: &Channel, from: u64, to: u64, level: f64, spread: f64, rate: f64) -> f64 {
    let below = command.calibration.raw(level - DIP.max(spread));
    let (mut n, mut low, mut total) = (0.0, 0.0, 0.0);
    let mut inside = false;
    command.ring.visit(from, to, |_, samples| {
        total += samples.len() as f64;
        if span::lowest(samples) >= below {
            inside = false;
            return;
        }
        for &x in samples {
            let under = x < below;
            low += f64::from(u8::from(under));
            n += f64::from(u8::from(under && !inside));
            inside = under;
        }
    });
    if total <= 0.0 || low > BRIEF * total {
        return 0.0;
    }
    n * rate / total
}

/// What all leads of one circuit show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Facts {
    pub at: SampleTime,
    pub rate: f64,
    pub pin: Pin,
    /// Mean supply by a proven lead, volts, and its peak to peak.
    pub supply: Option<f64>,
    pub ripple: Option<f64>,
    /// The supply as far as known, from that lead or the open pin.
    pub believed: Option<f64>,
    /// Mean current by a proven clamp, amperes, and the highest within a period.
    pub current: Option<f64>,
    pub peak: Option<f64>,
    pub flyback: Flyback,
    /// Whether the pin alone shows that a coil carries current: it answers when the driver opens, or its low level rises.
    pub loaded: Option<bool>,
    pub sag: Reading<Volts>,
    pub coil: Option<Coil>,
    /// Ohms of the conducting driver and its ground.
    pub driver: Option<f64>,
    /// The coil against itself as learnt earlier: resistance now over then, inductance now over then.
    pub change: Option<[f64; 2]>,
    /// Whether the engine runs by itself, and for how long, seconds.
    pub running: Option<f64>,
}
