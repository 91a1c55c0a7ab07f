//! One lead on its channel: samples not yet worked on, samples kept, and the detector its role asks for.

use crate::calibration::{Calibration, Input};
use crate::columns::Columns;
use crate::duty::{DutyMeter, Period};
use crate::edge::{Edge, TwoState};
use crate::engine::{CrankSheet, Sensor};
use crate::extremes;
use crate::lead::{Lead, Role};
use crate::level::{LevelFinder, Levels};
use crate::quality::{Doubt, Quality};
use crate::ring::SampleRing;
use crate::ripple::starter::MeanTrain;
use crate::rotation::whole_cycle::WholeCycle;
use crate::slicer::Slicer;
use crate::supply::Slices;
use crate::units::{Hertz, SampleTime};
use crate::zero_crossing::ZeroCrossing;

/// Raw samples are kept this long: two cycles at 200 rpm, so that a whole one is always among them.
const KEPT: f64 = 1.5;
/// Smallest tooth of a VR sensor, volts: above the hum of a floating lead, below a sensor at 100 rpm (both from memory).
/// The LM1815 data sheet guarantees silence below 0.03 V, which hum exceeds.
const VR_FLOOR: f64 = 0.2;
/// Below this peak, volts, a signal as regular as the mains is hum: a floating lead of 10 MΩ shows a volt or two (from memory).
const HUM: f64 = 3.0;
/// Smallest distance between the states of a Hall sensor, volts: they swing by 5 or 12, and a wrong probe shows a tenth of it.
/// More would lose that one, less would let noise in.
const HALL_LEAST: f64 = 0.25;
/// Peaks or swings of fewer counts than this are timed too coarsely to be relied upon: half a count is 6 % of it.
const FEWEST_COUNTS: f64 = 8.0;
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
    States(Box<Slicer>, Box<TwoState>),
    Pulses(Box<LevelFinder>, TwoState, Box<DutyMeter>),
    Means(Box<MeanTrain>),
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
    /// Columns of its trace as last looked at.
    pub columns: Columns,
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
        let detector = match lead.role {
            Role::Crank if crank.sensor == Sensor::Vr => {
                let floor = calibration.span(VR_FLOOR).max(2.0);
                let crossings = ZeroCrossing::new(crank.active_edge, single(floor), rate);
                let hum = single(calibration.span(HUM));
                Detector::Crossings(Box::new(crossings.with_hum_below(hum)))
            }
            // A second: at 150 rpm a cam turns once in 0.8 s.
            Role::Crank | Role::Cam(_) => {
                let least = calibration.span(HALL_LEAST);
                let finder = LevelFinder::new(ends, least, rate.0, 200);
                let slicer = Slicer::new(finder.with_levels_as_close_as(least));
                Detector::States(Box::new(slicer), Box::new(TwoState::of_sensor(rate)))
            }
            Role::Command(_) => {
                let least = calibration.span(COMMAND_LEAST);
                let finder = LevelFinder::new(ends, least, rate.0, 100)
                    .with_mid_at_most(calibration.span(COMMAND_MID));
                let meter = DutyMeter::new(rate, calibration.span(STEADY).max(2.0));
                Detector::Pulses(Box::new(finder), TwoState::default(), Box::new(meter))
            }
            Role::StarterCurrent => Detector::Means(Box::new(MeanTrain::new(rate))),
            Role::Current(_) | Role::Supply | Role::Pressure | Role::Spare => Detector::Nothing,
        };
        Some(Self {
            role: lead.role,
            calibration,
            unit: lead.role.unit_at_tip(&input.unit).to_owned(),
            position,
            ring: SampleRing::new(index(KEPT * rate.0)),
            columns: Columns::default(),
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
            Detector::States(slicer, states) => {
                if let Some(t) = slicer.push(samples) {
                    states.push(first, samples, t, edges);
                    let n = samples.len();
                    slicer.follow(&edges[before..], &self.ring, first + n as u64, n as f64);
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
            Detector::Means(means) => means.push(first, samples),
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
            Detector::States(slicer, states) => {
                slicer.gap();
                states.reset();
            }
            Detector::Pulses(finder, states, meter) => {
                finder.gap();
                states.reset();
                meter.gap();
            }
            Detector::Means(means) => means.forget_part(),
            Detector::Nothing => {}
        }
    }

    /// The duty meter of a command lead.
    pub fn meter(&self) -> Option<&DutyMeter> {
        match &self.detector {
            Detector::Pulses(_, _, meter) => Some(meter),
            Detector::Crossings(_)
            | Detector::States(..)
            | Detector::Means(_)
            | Detector::Nothing => None,
        }
    }

    /// Mean over each part of a cycle at the tip, for the starter's current.
    pub(crate) fn means_over(&self, cycle: &WholeCycle) -> Option<Vec<f64>> {
        let Detector::Means(means) = &self.detector else {
            return None;
        };
        let counts = means.over(cycle)?;
        Some(counts.iter().map(|&c| self.calibration.value(c)).collect())
    }

    /// State levels at the tip, if the role has states and two are seen.
    pub fn states(&self) -> Option<[f64; 2]> {
        let [low, high] = match &self.detector {
            Detector::States(slicer, _) => slicer.levels()?,
            Detector::Pulses(finder, ..) => match finder.levels() {
                Levels::Two { low, high } => [low, high],
                Levels::One(_) | Levels::Unknown => return None,
            },
            Detector::Crossings(_) | Detector::Means(_) | Detector::Nothing => return None,
        };
        Some([self.calibration.value(low), self.calibration.value(high)])
    }

    /// What the detector met so far, and how large the signal is.
    pub fn quality(&self) -> Quality {
        let known = Quality {
            edges: self.edges,
            clipped: self.clipped,
            swing: self.states().map(|[low, high]| (high - low).abs()),
            ..Quality::default()
        };
        match &self.detector {
            Detector::Crossings(crossings) => {
                let teeth = crossings.teeth();
                let small = teeth.smallest.is_some_and(|x| x < FEWEST_COUNTS);
                Quality {
                    spikes: teeth.spikes,
                    chatter: teeth.chatter,
                    withheld: teeth.withheld,
                    swing: teeth.smallest.map(|x| self.calibration.difference(x).abs()),
                    reserve: teeth.reserve,
                    doubt: if teeth.is_hum {
                        Some(Doubt::Hum)
                    } else {
                        small.then_some(Doubt::TooSmall)
                    },
                    ..known
                }
            }
            Detector::States(slicer, states) => {
                let passed = states.passed_over();
                let levels = slicer.levels();
                let small = levels.is_some_and(|[low, high]| high - low < FEWEST_COUNTS);
                let (lowest, highest) = self.calibration.ends();
                let clipped = levels.is_some_and(|[low, high]| {
                    low < f64::from(lowest) + 1.0 && high > f64::from(highest) - 1.0
                });
                Quality {
                    spikes: passed.spikes,
                    chatter: passed.chatter,
                    withheld: passed.slow,
                    doubt: if small {
                        Some(Doubt::TooSmall)
                    } else {
                        clipped.then_some(Doubt::Clipped)
                    },
                    ..known
                }
            }
            Detector::Pulses(..) | Detector::Means(_) | Detector::Nothing => known,
        }
    }

    /// Mean at the tip over the last `slices`.
    pub fn mean(&self, slices: usize) -> Option<f64> {
        self.slices
            .extent(slices)
            .map(|e| self.calibration.value(e.mean))
    }

    /// Means at the tip of the last `slices`, oldest first.
    pub fn means(&self, slices: usize) -> Vec<f64> {
        let means = self.slices.means(slices);
        means.map(|m| self.calibration.value(m)).collect()
    }

    /// Lowest and highest value at the tip of each of the last `slices`, oldest first.
    pub fn spans(&self, slices: usize) -> impl Iterator<Item = [f64; 2]> {
        self.slices.spans(slices).map(|span| {
            let [a, b] = span.map(|x| self.calibration.value(f64::from(x)));
            [a.min(b), a.max(b)]
        })
    }

    /// The least and the greatest value that the input can show at the tip.
    pub fn ends(&self) -> [f64; 2] {
        let (lowest, highest) = self.calibration.ends();
        let [a, b] = [lowest, highest].map(|x| self.calibration.value(f64::from(x)));
        [a.min(b), a.max(b)]
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
