//! Speed ripple: what each cylinder gives while the engine runs, and how it compresses while the starter turns it.
//!
//! Even firing is assumed, every 720/n degrees: the engine sheet cannot say otherwise, and on an engine
//! that fires unevenly these figures mean nothing.
//!
//! Relative figures only. A bank whose intake valves close late, from a phaser out of place or a cam a
//! tooth late, lowers all its cylinders together, and what is relative to the best cylinder of that bank
//! cannot show it (see [`LIMITS`]).
//!
//! Tooth-spacing errors come back every revolution. The two revolutions of a cycle carry them alike, so
//! what differs between the two is free of them: orders 0.5, 1.5 ... and the difference of two cylinders half
//! a cycle apart. This is the published remedy of comparing one tooth with itself (SAE 03-15-03-0021
//! takes two adjacent cycles of one cylinder to find a change; here two revolutions, to find a
//! difference). Orders 1, 2 ... keep the errors: 0.05° over the 12° on which a speed rests (assumed) are 0.8 %
//! of the kinetic energy, some tenth of a cylinder's work at idle. Once the engine has turned faster for a while
//! the errors are learnt and taken out (`spacing`).

use crate::channel::Channel;
use crate::engine::EngineSheet;
use crate::rotation::Rotation;
use crate::rotation::whole_cycle::CycleKey;
use crate::units::{Hertz, Percent, Rpm};
use crate::wheel::Wheel;
use cranking::Cranking;
use running::Running;
use spacing::Spacing;
use std::fmt;
use std::sync::Arc;
use waveform::{LENGTH, PARTS, Waveform};

mod cranking;
mod harmonic;
mod running;
mod spacing;
pub(crate) mod starter;
mod waveform;
mod words;

pub use cranking::{ByCurrent, CrankingEnd, RelativeCompression};
pub use harmonic::{Harmonic, harmonics};
pub use running::{RunningBalance, Weak};

/// What relative figures cannot show.
pub const LIMITS: &str = "Relative figures cannot show what lowers all cylinders of a bank alike, such as a cam that is late.";

/// Below this the starter turns the engine, above it the engine runs: starters reach 150 to 300 rpm, no engine idles
/// below 500 (both from memory).
const CRANKING_MOST: f64 = 400.0;
/// A crank slower than this hardly turns over; the starter or the battery is to be seen to first.
const CRANKING_LEAST: f64 = 50.0;
/// How far above the sheet's idle zone ripple is still taken, as a factor. The kinetic energy grows with the square of
/// speed, the work does not: at twice the idle speed the same error of a tooth counts four times.
const ABOVE_IDLE: f64 = 1.3;
/// How far above that the tooth spacing is learnt, as a factor, up to twice as much: there the work of the cylinders
/// turns the crank by less than a quarter of what it does at the upper end of idle.
const LEARN_ABOVE: f64 = 1.5;
/// Coarsest mean pitch, degrees: 24 teeth. With fewer the six parts that a firing interval of a six-cylinder engine
/// needs are no longer measured but interpolated.
const COARSEST: f64 = 15.0;

/// One cylinder's figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Its number; `None` when it is not known which revolution of the cycle is which.
    pub cylinder: Option<u8>,
    /// Its place in the firing order, from 0.
    pub place: usize,
    /// The figure, mean over the cycles.
    pub value: Percent,
    /// Standard deviation from cycle to cycle.
    pub spread: Percent,
    /// Standard error of the mean.
    pub error: Percent,
}

impl Share {
    /// From mean, standard deviation and standard error.
    fn new(cylinder: Option<u8>, place: usize, [mean, deviation, error]: [f64; 3]) -> Self {
        Self {
            cylinder,
            place,
            value: Percent(mean),
            spread: Percent(deviation),
            error: Percent(error),
        }
    }
}

/// Why cylinders are not compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotJudged {
    /// The sheet's firing order does not name each cylinder once, or has a number of cylinders that does not divide 120.
    FiringOrder,
    /// The wheel has too few teeth.
    CoarseWheel,
    /// The engine has not done it yet.
    NotSeen,
    /// Cycles seen and cycles needed.
    FewCycles {
        /// Seen so far.
        have: usize,
        /// Needed.
        need: usize,
    },
    /// The speed changes too much.
    Unsteady,
    /// The cycle is not known, and this number of cylinders does not repeat after one revolution.
    CycleUnresolved,
    /// The crank is not slowed by any compression.
    NoCompression,
}

impl fmt::Display for NotJudged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FiringOrder => f.write_str("the engine sheet's firing order cannot be used"),
            Self::CoarseWheel => f.write_str("the crank wheel has fewer than 24 teeth"),
            Self::NotSeen => f.write_str("not seen yet"),
            Self::FewCycles { have, need } => {
                write!(f, "{have} steady cycles seen, {need} are needed")
            }
            Self::Unsteady => f.write_str("the speed is not steady"),
            Self::CycleUnresolved => f.write_str("the cam has not told the cycle"),
            Self::NoCompression => f.write_str("the crank is not slowed by compression"),
        }
    }
}

/// The cylinders compared with each other.
#[derive(Debug, Clone, PartialEq)]
pub struct CylinderView {
    /// While the engine runs at idle, the latest.
    pub running: Result<RunningBalance, NotJudged>,
    /// While the starter turns it, the latest.
    pub cranking: Result<RelativeCompression, NotJudged>,
}

impl Default for CylinderView {
    fn default() -> Self {
        Self {
            running: Err(NotJudged::NotSeen),
            cranking: Err(NotJudged::NotSeen),
        }
    }
}

/// Takes every complete cycle once and compares the cylinders.
#[derive(Debug, Clone)]
pub struct Ripple {
    order: Result<Vec<u8>, NotJudged>,
    rate: Hertz,
    idle_most: f64,
    last: Option<CycleKey>,
    phase: Phase,
    spacing: Spacing,
    running: Running,
    cranking: Cranking,
    view: Arc<CylinderView>,
}

/// What the engine did in the last cycle taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Elsewhere,
    Cranking,
    Idle,
}

impl Ripple {
    /// Starts with nothing seen. A sheet that does not serve is told in [`Self::view`].
    pub fn new(sheet: &EngineSheet, rate: Hertz) -> Self {
        let order = usable(sheet);
        let why = order.as_ref().err().copied().unwrap_or(NotJudged::NotSeen);
        Self {
            spacing: Spacing::new(order.as_ref().map_or(1, Vec::len)),
            order,
            rate,
            idle_most: sheet.idle.high.0 * ABOVE_IDLE,
            last: None,
            phase: Phase::Elsewhere,
            running: Running::default(),
            cranking: Cranking::default(),
            view: Arc::new(CylinderView {
                running: Err(why),
                cranking: Err(why),
            }),
        }
    }

    /// What has been found so far.
    pub fn view(&self) -> Arc<CylinderView> {
        Arc::clone(&self.view)
    }

    /// Takes the cycles completed since the last call: the rotation keeps six. `starter` is the lead with the starter's
    /// current, if there is one.
    pub fn observe(&mut self, rotation: &Rotation, starter: Option<&Channel>) {
        let Ok(order) = &self.order else {
            return;
        };
        let order = order.clone();
        // Above idle only the wheel is learnt: spare the work of interpolating.
        let rpm = rotation.revolution_speed().any().unwrap_or(Rpm(0.0)).0;
        let is_fast = rpm > self.idle_most * LEARN_ABOVE * 2.0;
        if is_fast || (rpm > self.idle_most * LEARN_ABOVE && self.spacing.is_full()) {
            self.phase = Phase::Elsewhere;
            return;
        }
        for mut cycle in rotation.whole_cycles(PARTS, self.last) {
            let before = self.last.replace(cycle.key);
            if before.is_some_and(|b| !cycle.key.compares(b)) {
                // Places in the firing order may have become others.
                self.running.clear();
                if self.phase == Phase::Cranking {
                    self.cranking.clear();
                }
            }
            let is_next = before.is_some_and(|b| cycle.key.follows(b));
            let Some(raw) = Waveform::new(&cycle, self.rate) else {
                continue;
            };
            if raw.mean.0 > self.idle_most * LEARN_ABOVE {
                self.phase = Phase::Elsewhere;
                self.spacing.take(&cycle);
                continue;
            }
            self.spacing.correct(&mut cycle);
            let Some(waveform) = Waveform::new(&cycle, self.rate) else {
                continue;
            };
            let phase = match waveform.mean.0 {
                v if (CRANKING_LEAST..CRANKING_MOST).contains(&v) => Phase::Cranking,
                v if (CRANKING_MOST..self.idle_most).contains(&v) => Phase::Idle,
                _ => Phase::Elsewhere,
            };
            let was = std::mem::replace(&mut self.phase, phase);
            let numbers = numbers(&order, cycle.key.is_known);
            let at = cycle.times[LENGTH + 1];
            match phase {
                Phase::Cranking => {
                    if was != Phase::Cranking {
                        self.cranking.clear();
                    }
                    let current = starter.and_then(|c| c.means_over(&cycle));
                    if self.cranking.take(at, &waveform, current) {
                        self.publish_cranking(numbers);
                    }
                }
                Phase::Idle => {
                    if was == Phase::Cranking {
                        self.cranking.fired();
                        self.publish_end();
                    }
                    if was == Phase::Idle && is_next {
                        self.running.take(at, &waveform);
                        self.publish_running(numbers);
                    } else {
                        // The first cycle there is still half the way there.
                        self.running.clear();
                    }
                }
                Phase::Elsewhere => {}
            }
        }
    }

    fn publish_running(&mut self, numbers: Result<Vec<Option<u8>>, NotJudged>) {
        let learnt = self.spacing.learnt();
        let new = numbers.and_then(|n| self.running.balance(&n, learnt));
        // What was found stays until there is something better.
        if new.is_ok() || self.view.running.is_err() {
            Arc::make_mut(&mut self.view).running = new;
        }
    }

    fn publish_cranking(&mut self, numbers: Result<Vec<Option<u8>>, NotJudged>) {
        let new = numbers.and_then(|n| self.cranking.compression(&n));
        if new.is_ok() || self.view.cranking.is_err() {
            Arc::make_mut(&mut self.view).cranking = new;
        }
    }

    fn publish_end(&mut self) {
        let end = self.cranking.end();
        if self.view.cranking.as_ref().is_ok_and(|c| c.end != end) {
            let view = Arc::make_mut(&mut self.view);
            if let Ok(cranking) = &mut view.cranking {
                cranking.end = end;
            }
        }
    }
}

/// The cylinder at each place, if the cycle tells it.
fn numbers(order: &[u8], is_known: bool) -> Result<Vec<Option<u8>>, NotJudged> {
    if is_known {
        Ok(order.iter().copied().map(Some).collect())
    } else if order.len().is_multiple_of(2) {
        Ok(vec![None; order.len()])
    } else {
        Err(NotJudged::CycleUnresolved)
    }
}

/// The firing order, if cylinders can be told apart by it and by the wheel.
fn usable(sheet: &EngineSheet) -> Result<Vec<u8>, NotJudged> {
    let order = &sheet.firing_order;
    let mut sorted = order.clone();
    sorted.sort_unstable();
    sorted.dedup();
    let is_whole = sorted.len() == order.len() && order.len() == usize::from(sheet.cylinders);
    if !is_whole || order.len() < 2 || !LENGTH.is_multiple_of(order.len()) {
        return Err(NotJudged::FiringOrder);
    }
    let teeth = Wheel::parse(&sheet.crank.wheel).map_or(0, |w| w.teeth());
    if (teeth as f64) * COARSEST < 345.0 {
        // A tooth may be missing for the gap.
        return Err(NotJudged::CoarseWheel);
    }
    Ok(order.clone())
}

#[cfg(test)]
mod tests;
