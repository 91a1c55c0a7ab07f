//! One lead on its channel: samples not yet worked on, samples kept, and the detector its role asks for.

use crate::calibration::{Calibration, Input};
use crate::duty::{DutyMeter, Period};
use crate::edge::{Edge, TwoState};
use crate::engine::{CrankSheet, Sensor};
use crate::extremes;
use crate::lead::{Lead, Role};
use crate::level::{LevelFinder, Levels};
use crate::quality::Quality;
use crate::ring::SampleRing;
use crate::supply::Slices;
use crate::units::{Hertz, SampleTime};
use crate::zero_crossing::ZeroCrossing;

/// Raw samples are kept this long: two cycles at 200 rpm, so that a whole one is always among them.
const KEPT: f64 = 1.5;
/// Smallest tooth of a VR sensor, volts: above the hum of a floating lead, below a sensor at 100 rpm (both from memory).
/// The LM1815 data sheet guarantees silence below 0.03 V, which hum exceeds.
const VR_FLOOR: f64 = 0.2;
/// Smallest distance between the states of a Hall sensor, volts; they swing by 5 or 12.
const HALL_LEAST: f64 = 1.0;
/// The same for a switched valve, which swings by the supply: a tenth of it shows through a wrong probe factor.
const COMMAND_LEAST: f64 = 1.0;
/// Half of a 12 V system's charging voltage: the command's edges are timed no higher above its low level.
const COMMAND_MID: f64 = 7.0;
/// A state of the command that moves by more than this, volts, has not settled.
const STEADY: f64 = 0.5;

/// What the role of a lead asks for.
#[derive(Debug, Clone)]
enum Detector {
    Crossings(Box<ZeroCrossing>),
    States(Box<LevelFinder>, TwoState),
    Pulses(Box<LevelFinder>, TwoState, Box<DutyMeter>),
    Nothing,
}

/// A lead that is carried by the stream.
#[derive(Debug, Clone)]
pub struct Channel {
    /// The lead.
    pub role: Role,
    /// Counts to values at the tip.
    pub calibration: Calibration,
    /// Unit of those values.
    pub unit: String,
    /// Place among the channels of a block.
    pub position: usize,
    /// Raw samples of the last second and a half.
    pub ring: SampleRing,
    /// Slices of the last second.
    pub slices: Slices,
    /// Last edge seen, if the role has edges.
    pub last_edge: Option<SampleTime>,
    /// First sample seen.
    pub first: Option<SampleTime>,
    /// Whether it has ever shown what its role should show.
    pub proven: bool,
    pending: Vec<i16>,
    detector: Detector,
    edges: u64,
    clipped: u64,
}

impl Channel {
    /// The channel at `position` in the blocks; `None` when its scale or factor is of no use.
    pub fn new(
        lead: &Lead,
        input: &Input,
        position: usize,
        crank: &CrankSheet,
        rate: Hertz,
    ) -> Option<Self> {
        let calibration = Calibration::new(input, lead)?;
        let ends = calibration.ends();
        let finder = |least: f64, slices: usize| {
            LevelFinder::new(ends, calibration.span(least), rate.0, slices)
        };
        let detector = match lead.role {
            Role::Crank if crank.sensor == Sensor::Vr => {
                let floor = calibration.span(VR_FLOOR).max(2.0);
                Detector::Crossings(Box::new(ZeroCrossing::new(
                    crank.active_edge,
                    single(floor),
                    rate,
                )))
            }
            // A second: at 150 rpm a cam turns once in 0.8 s.
            Role::Crank | Role::Cam(_) => {
                Detector::States(Box::new(finder(HALL_LEAST, 200)), TwoState::default())
            }
            Role::Command(_) => Detector::Pulses(
                Box::new(
                    finder(COMMAND_LEAST, 100).with_mid_at_most(calibration.span(COMMAND_MID)),
                ),
                TwoState::default(),
                Box::new(DutyMeter::new(rate, calibration.span(STEADY).max(2.0))),
            ),
            Role::Current(_)
            | Role::StarterCurrent
            | Role::Supply
            | Role::Pressure
            | Role::Spare => Detector::Nothing,
        };
        Some(Self {
            role: lead.role,
            calibration,
            unit: tip_unit(lead.role, &input.unit),
            position,
            ring: SampleRing::new(index(KEPT * rate.0)),
            slices: Slices::new(200),
            last_edge: None,
            first: None,
            proven: false,
            pending: Vec::new(),
            detector,
            edges: 0,
            clipped: 0,
        })
    }

    /// Keeps samples for the slice under way.
    pub fn wait(&mut self, samples: &[i16]) {
        self.pending.extend_from_slice(samples);
    }

    /// Works on the slice that begins at `first`: what waited, then `rest`. Appends edges and completed PWM periods.
    pub fn work(
        &mut self,
        first: u64,
        rest: &[i16],
        edges: &mut Vec<Edge>,
        periods: &mut Vec<Period>,
    ) {
        if self.pending.is_empty() {
            self.slice(first, rest, edges, periods);
        } else {
            let mut whole = std::mem::take(&mut self.pending);
            whole.extend_from_slice(rest);
            self.slice(first, &whole, edges, periods);
            whole.clear();
            self.pending = whole;
        }
    }

    fn slice(
        &mut self,
        first: u64,
        samples: &[i16],
        edges: &mut Vec<Edge>,
        periods: &mut Vec<Period>,
    ) {
        let _ = self.first.get_or_insert(SampleTime(first as f64));
        self.ring.push(first, samples);
        let (lowest, highest) = self.calibration.ends();
        if let Some((low, high)) = self.slices.push(samples)
            && (low <= lowest || high >= highest)
        {
            self.clipped += extremes::beyond(samples, lowest, highest);
        }
        let before = edges.len();
        match &mut self.detector {
            Detector::Crossings(crossings) => crossings.push(first, samples, edges),
            Detector::States(finder, states) => {
                finder.push(samples);
                if let Some(t) = finder.thresholds() {
                    states.push(first, samples, t, edges);
                }
            }
            Detector::Pulses(finder, states, meter) => {
                finder.push(samples);
                if let Some(t) = finder.thresholds() {
                    states.push(first, samples, t, edges);
                }
                periods.extend(
                    edges[before..]
                        .iter()
                        .filter_map(|&e| meter.push(e, &self.ring)),
                );
                meter.settle(SampleTime((first + samples.len() as u64) as f64));
            }
            Detector::Nothing => {}
        }
        if let Some(edge) = edges.last().filter(|_| edges.len() > before) {
            self.last_edge = Some(edge.at);
            self.edges += (edges.len() - before) as u64;
        }
    }

    /// Samples were lost: no interval is measured across.
    pub fn gap(&mut self) {
        self.slices.clear();
        match &mut self.detector {
            Detector::Crossings(crossings) => crossings.reset(),
            Detector::States(finder, states) => {
                finder.gap();
                states.reset();
            }
            Detector::Pulses(finder, states, meter) => {
                finder.gap();
                states.reset();
                meter.gap();
            }
            Detector::Nothing => {}
        }
    }

    /// The duty meter of a command lead.
    pub fn meter(&self) -> Option<&DutyMeter> {
        match &self.detector {
            Detector::Pulses(_, _, meter) => Some(meter),
            Detector::Crossings(_) | Detector::States(..) | Detector::Nothing => None,
        }
    }

    /// State levels at the tip, if the role has states and two are seen.
    pub fn states(&self) -> Option<[f64; 2]> {
        let finder = match &self.detector {
            Detector::States(finder, _) | Detector::Pulses(finder, ..) => finder,
            Detector::Crossings(_) | Detector::Nothing => return None,
        };
        match finder.levels() {
            Levels::Two { low, high } => {
                Some([self.calibration.value(low), self.calibration.value(high)])
            }
            Levels::One(_) | Levels::Unknown => None,
        }
    }

    /// What the detector met so far, and how large the signal is.
    pub fn quality(&self) -> Quality {
        Quality {
            edges: self.edges,
            clipped: self.clipped,
            swing: self.states().map(|[low, high]| (high - low).abs()),
            ..Quality::default()
        }
    }

    /// Mean at the tip over the last `slices`.
    pub fn mean(&self, slices: usize) -> Option<f64> {
        self.slices
            .extent(slices)
            .map(|e| self.calibration.value(e.mean))
    }

    /// Lowest and highest value at the tip over the last `slices`.
    pub fn range(&self, slices: usize) -> Option<[f64; 2]> {
        self.slices.extent(slices).map(|e| {
            let a = self.calibration.value(f64::from(e.low));
            let b = self.calibration.value(f64::from(e.high));
            [a.min(b), a.max(b)]
        })
    }

    /// Whether the last `slices` reach an end of the input's range.
    pub fn is_clipped(&self, slices: usize) -> bool {
        let (lowest, highest) = self.calibration.ends();
        self.slices
            .extent(slices)
            .is_some_and(|e| e.low <= lowest || e.high >= highest)
    }
}

/// Unit at the tip: a clamp's volts become amperes, a transducer's become kilopascals.
fn tip_unit(role: Role, input: &str) -> String {
    match role {
        Role::Current(_) | Role::StarterCurrent => "A".to_owned(),
        Role::Pressure => "kPa".to_owned(),
        Role::Crank | Role::Cam(_) | Role::Command(_) | Role::Supply | Role::Spare => {
            input.to_owned()
        }
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a positive sample count far below 2^53"
)]
fn index(x: f64) -> usize {
    x.ceil() as usize
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a count, exact in f32 to 1/256"
)]
fn single(x: f64) -> f32 {
    x as f32
}
