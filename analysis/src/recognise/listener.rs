//! What kind of signal a lead carries, and its edges in both directions as each kind of sensor would have them.

use crate::calibration::Calibration;
use crate::edge::{Edge, Thresholds, TwoState};
use crate::engine::EdgeKind;
use crate::level::{LevelFinder, Levels};
use crate::ring::SampleRing;
use crate::supply::Slices;
use crate::units::{Hertz, SampleTime};
use std::collections::VecDeque;

/// Slices a second, as in the pipeline.
const SLICES: f64 = 200.0;
/// Slices kept for levels and range: a second and a half holds four turns at 160 rpm.
const KEPT: usize = 300;
/// Samples kept, seconds: half a turn at 100 rpm.
const RING: f64 = 0.3;
/// Edges kept in each direction: 10 turns of a 60-2 wheel.
const MOST: usize = 600;
/// Smallest peak, volts, that can be a tooth of a VR sensor: half of what a slow engine gives (0.3 V), five times
/// what the LM1815 data sheet calls silence.
const TOOTH: f64 = 0.15;
/// Smallest distance of two states, volts.
const STATES: f64 = 1.0;
/// Share of samples between the states, in the middle 60 % of the way: a sine has 41 %, a switch of 10 µs with
/// 13,000 edges a second 8 %.
const BETWEEN: f64 = 0.25;
/// Below zero by this part of the swing: no switch to ground does that, with 0.3 V of ground offset on 5 V.
const BELOW: f64 = 0.2;
/// The same for a signal about zero, which a switch is only through a capacitor.
const BIPOLAR: f64 = 0.08;
/// Slices over which the peak of a swinging signal is followed: two turns at 400 rpm, three quarters at 150.
const PEAKS: usize = 60;
/// A tooth passes this part of the usual peak on both sides of the mean. While cranking at 85 to 225 rpm with a wheel
/// out of true by a third, the weakest tooth has a quarter of the strongest; less would count noise in a gap.
const PASSED: f64 = 0.17;
/// And so many times the noise, up to this part of the peak: in a gap of a thousand samples five times is not reached.
const NOISES: f64 = 5.0;
const PASSED_MOST: f64 = 0.35;
/// And this part of the smallest peak.
const PASSED_LEAST: f64 = 0.4;
/// Share of samples at an end of the range that means clipping.
const CLIPPED: f64 = 0.005;
/// Steepness is measured over this part of the shorter interval beside a crossing, on either side of it.
const REACH: f64 = 0.05;
/// Half-life of the shares, samples looked at.
const FORGET: f64 = 20_000.0;

/// An edge and how steep it is there, counts per sample; not a number as long as that is not known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub edge: Edge,
    pub steep: f64,
}

/// What can be said of a signal before any pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Nature {
    /// Too few samples.
    Early,
    /// Moves less than `swing` volts about `level`.
    Still { level: f64, swing: f64 },
    /// Two states, volts; `spike` is the highest value seen.
    TwoStates { low: f64, high: f64, spike: f64 },
    /// Swings through its mean.
    Swinging {
        peak: f64,
        level: f64,
        clipped: bool,
    },
}

/// Listens to one lead.
#[derive(Debug, Clone)]
pub(super) struct Listener {
    calibration: Option<Calibration>,
    rate: Hertz,
    slice: usize,
    pending: Vec<i16>,
    first: u64,
    next: Option<u64>,
    ring: SampleRing,
    slices: Slices,
    crossings: TwoState,
    /// Highest distance from the mean in each of the last slices, counts.
    peaks: VecDeque<f64>,
    /// Smallest peak that can be a tooth, counts.
    floor: f64,
    finder: LevelFinder,
    states: TwoState,
    scratch: Vec<Edge>,
    swung: [VecDeque<Mark>; 2],
    switched: [VecDeque<Mark>; 2],
    /// Samples looked at, those between or below the states, those at the ends of the range.
    shares: [f64; 3],
    has_edges_only: bool,
}

/// Rising first.
pub(super) const KINDS: [EdgeKind; 2] = [EdgeKind::Rising, EdgeKind::Falling];

pub(super) fn place(kind: EdgeKind) -> usize {
    match kind {
        EdgeKind::Rising => 0,
        EdgeKind::Falling => 1,
    }
}

impl Listener {
    pub fn new(calibration: Option<Calibration>, rate: Hertz) -> Self {
        let slice = whole(rate.0 / SLICES).max(1);
        let (ends, floor, least) = calibration.map_or(((i16::MIN, i16::MAX), 2.0, 2.0), |c| {
            (c.ends(), c.span(TOOTH).max(2.0), c.span(STATES))
        });
        Self {
            calibration,
            rate,
            slice,
            pending: Vec::new(),
            first: 0,
            next: None,
            ring: SampleRing::new(whole(RING * rate.0).max(1024)),
            slices: Slices::new(KEPT),
            crossings: TwoState::default(),
            peaks: VecDeque::with_capacity(PEAKS + 1),
            floor,
            finder: LevelFinder::new(ends, least, rate.0, KEPT),
            states: TwoState::default(),
            scratch: Vec::new(),
            swung: Default::default(),
            switched: Default::default(),
            shares: [0.0; 3],
            has_edges_only: false,
        }
    }

    /// Takes consecutive samples; a jump of the index is a gap.
    pub fn push(&mut self, first: u64, samples: &[i16]) {
        if self.next.is_some_and(|next| next != first) {
            self.gap();
        }
        if self.pending.is_empty() {
            self.first = first;
        }
        self.next = Some(first + samples.len() as u64);
        let mut rest = samples;
        while self.pending.len() + rest.len() >= self.slice {
            let (part, after) = rest.split_at(self.slice - self.pending.len());
            let mut slice = std::mem::take(&mut self.pending);
            slice.extend_from_slice(part);
            self.work(&slice);
            self.first += slice.len() as u64;
            slice.clear();
            self.pending = slice;
            rest = after;
        }
        self.pending.extend_from_slice(rest);
    }

    /// Takes an edge of a lead whose samples are not at hand.
    pub fn push_edge(&mut self, edge: Edge) {
        self.has_edges_only = true;
        keep(
            &mut self.switched[place(edge.kind)],
            Mark { edge, steep: 1.0 },
        );
    }

    /// Samples were lost: what was heard before is forgotten, levels are kept.
    pub fn gap(&mut self) {
        self.pending.clear();
        self.next = None;
        self.crossings.reset();
        self.states.reset();
        self.swung.iter_mut().for_each(VecDeque::clear);
        self.switched.iter_mut().for_each(VecDeque::clear);
    }

    fn work(&mut self, samples: &[i16]) {
        let first = self.first;
        self.ring.push(first, samples);
        let Some(extremes) = self.slices.push(samples) else {
            return;
        };
        if let Some(about) = self.about_zero(samples, extremes) {
            self.crossings
                .push(first, samples, about, &mut self.scratch);
            for edge in self.scratch.drain(..) {
                let swung = &mut self.swung[place(edge.kind)];
                // By now all samples around the one before are there.
                let earlier = swung.iter().rev().nth(1).map(|m| m.edge.at.0);
                if let Some(before) = swung.back_mut() {
                    let at = before.edge.at;
                    let interval = earlier.map_or(f64::INFINITY, |e| at.0 - e);
                    let interval = interval.min(edge.at.0 - at.0);
                    before.steep = steepness(&self.ring, at, interval);
                }
                let steep = f64::NAN;
                keep(swung, Mark { edge, steep });
            }
        }
        self.finder.push(samples);
        if let Some(thresholds) = self.finder.thresholds() {
            self.states
                .push(first, samples, thresholds, &mut self.scratch);
            for edge in self.scratch.drain(..) {
                keep(
                    &mut self.switched[place(edge.kind)],
                    Mark { edge, steep: 1.0 },
                );
            }
        }
        self.share(samples);
    }

    /// Levels about the mean that a tooth must pass: a coil's voltage has no mean of its own.
    fn about_zero(&mut self, samples: &[i16], (low, high): (i16, i16)) -> Option<Thresholds> {
        let mean = self.slices.extent(KEPT)?.mean;
        let peak = (f64::from(high) - mean).max(mean - f64::from(low));
        if self.peaks.len() >= PEAKS {
            let _ = self.peaks.pop_front();
        }
        self.peaks.push_back(peak);
        let mut ranked: Vec<f64> = self.peaks.iter().copied().collect();
        ranked.sort_by(f64::total_cmp);
        // A spike in a slice now and then is no peak.
        let usual = ranked[(ranked.len() - 1) * 4 / 5];
        let reach = (PASSED * usual)
            .max(NOISES * noise(samples))
            .min(PASSED_MOST * usual)
            .max(PASSED_LEAST * self.floor)
            .max(1.0);
        Some(Thresholds {
            low: count(mean - reach),
            mid: single(mean),
            high: count(mean + reach),
        })
    }

    fn share(&mut self, samples: &[i16]) {
        let Levels::Two { low, high } = self.finder.levels() else {
            return;
        };
        let (from, to) = (low + 0.2 * (high - low), high - 0.2 * (high - low));
        let (lowest, highest) = self.calibration.map_or((i16::MIN, i16::MAX), |c| c.ends());
        for x in samples.iter().step_by((self.slice / 64).max(1)) {
            let x64 = f64::from(*x);
            let between = x64 > from && x64 < to || x64 < low - 0.2 * (high - low);
            let at_end = *x <= lowest || *x >= highest;
            self.shares[0] += 1.0;
            self.shares[1] += f64::from(u8::from(between));
            self.shares[2] += f64::from(u8::from(at_end));
        }
        if self.shares[0] > FORGET {
            self.shares.iter_mut().for_each(|s| *s *= 0.5);
        }
    }

    /// What kind of signal it is.
    pub fn nature(&self) -> Nature {
        if self.has_edges_only {
            return Nature::TwoStates {
                low: f64::NAN,
                high: f64::NAN,
                spike: f64::NAN,
            };
        }
        let Some(extent) = self.slices.extent(KEPT) else {
            return Nature::Early;
        };
        let value = |raw: f64| self.calibration.map_or(raw, |c| c.value(raw));
        let (a, b) = (value(f64::from(extent.low)), value(f64::from(extent.high)));
        let (bottom, top) = (a.min(b), a.max(b));
        let level = value(extent.mean);
        if top - bottom < 2.0 * TOOTH {
            return Nature::Still {
                level,
                swing: top - bottom,
            };
        }
        let [seen, between, at_end] = self.shares;
        let clipped = at_end > CLIPPED * seen.max(1.0);
        if let Levels::Two { low, high } = self.finder.levels() {
            let (a, b) = (value(low), value(high));
            let (low, high) = (a.min(b), a.max(b));
            let is_bipolar = low < -BELOW * (high - low);
            let limit = if is_bipolar { BIPOLAR } else { BETWEEN };
            if between < limit * seen && !(is_bipolar && clipped) {
                return Nature::TwoStates {
                    low,
                    high,
                    spike: top,
                };
            }
        }
        Nature::Swinging {
            peak: (top - level).max(level - bottom),
            level,
            clipped,
        }
    }

    /// Crossings of the mean in one direction, oldest first.
    pub fn swung(&self, kind: EdgeKind) -> &VecDeque<Mark> {
        &self.swung[place(kind)]
    }

    /// Changes of state in one direction, oldest first.
    pub fn switched(&self, kind: EdgeKind) -> &VecDeque<Mark> {
        &self.switched[place(kind)]
    }

    /// Samples per second.
    pub fn rate(&self) -> Hertz {
        self.rate
    }
}

fn keep(list: &mut VecDeque<Mark>, mark: Mark) {
    if list.len() >= MOST {
        let _ = list.pop_front();
    }
    list.push_back(mark);
}

/// Rise over the neighbourhood of a crossing, per sample.
fn steepness(ring: &SampleRing, at: SampleTime, interval: f64) -> f64 {
    let reach = (REACH * interval).clamp(1.0, 2000.0);
    let mean = |from: f64, to: f64| {
        let (from, to) = (whole(from) as u64, whole(to) as u64);
        ring.sampled(from, to.max(from + 1), 16).map(|m| m.0)
    };
    let before = mean(at.0 - 1.5 * reach, at.0 - 0.5 * reach);
    let after = mean(at.0 + 0.5 * reach + 1.0, at.0 + 1.5 * reach + 1.0);
    match (before, after) {
        (Some(a), Some(b)) => (b - a).abs() / (2.0 * reach),
        _ => f64::NAN,
    }
}

/// Noise of one sample: median of second differences, which a signal that is sampled well has little of.
fn noise(samples: &[i16]) -> f64 {
    let bends = (samples.windows(3).step_by((samples.len() / 32).max(1)))
        .map(|w| (f64::from(w[0]) - 2.0 * f64::from(w[1]) + f64::from(w[2])).abs())
        .collect();
    // The median of a bell curve's distances is 0.67 of its width, and three samples of noise add up to a root of 6.
    super::rhythm::median(bends) / (0.6745 * 6.0_f64.sqrt())
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "negative values saturate at the stream's start"
)]
fn whole(x: f64) -> usize {
    x as usize
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a float cast saturates at the ends of the range"
)]
fn count(x: f64) -> i16 {
    x.round() as i16
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a count, exact in f32 to 1/256"
)]
fn single(x: f64) -> f32 {
    x as f32
}
