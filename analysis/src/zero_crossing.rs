//! Zero crossings of a variable-reluctance sensor, whose amplitude grows with speed.
//!
//! A crossing counts only after the signal has passed an arming level on the other side, and that
//! level follows the peaks: the principle of the LM1815 adaptive sense amplifier (National
//! Semiconductor data sheet). The zero level is the signal's own mean, for the voltage of a coil is
//! the rate of change of its flux and has none. All that adapts does so at fixed sample indices, so
//! that the result does not depend on how the samples are cut into blocks.

#![allow(
    clippy::cast_possible_truncation,
    reason = "the zero level lies within the range of i16, to which f32 adds eight bits of fraction"
)]

use crate::edge::{Edge, STRIDE};
use crate::engine::EdgeKind;
use crate::extremes::extremes;
use crate::units::{Hertz, SampleTime};

/// Arming level as a part of the tracked peak. The LM1815 uses 0.8; less bears a wheel out of true.
const ARMING: f32 = 0.5;
/// What is left of the tracked peak from tooth to tooth if the new ones are smaller.
const KEPT_PER_TOOTH: f32 = 0.8;
/// Most by which one tooth raises the tracked peak, so that a spike does not hide the teeth after it:
/// 1.6 times the arming level is still below the next ordinary peak.
const MOST_GROWTH: f32 = 1.6;
/// The signal must go this far beyond zero, as a part of the peak before, for a crossing to be complete.
const BEYOND: f32 = 0.15;
/// Tooth intervals for which the peak is held without a tooth; the gap of a 60-2 wheel takes three.
const HELD_INTERVALS: f64 = 5.0;
/// What is left of the peak after each further quarter of that time.
const DECAY: f32 = 0.6;
/// Longest hold in seconds, and the hold before an interval is known.
const LONGEST_HOLD: f64 = 0.1;
/// Time constant of the zero level in seconds. The flux swing of a tooth disturbs it by
/// amplitude times tooth period over pi times this: 1/600 of the amplitude while cranking.
const ZERO_SECONDS: f64 = 1.0;

#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    /// Waits for the arming level.
    Idle,
    /// Above it, waits for zero.
    Armed,
    /// First and last crossing so far, waits until the signal has gone well beyond.
    Crossing(f64, f64),
}

/// Finds the crossings that mark tooth centres in consecutive samples.
#[derive(Debug, Clone)]
pub struct ZeroCrossing {
    active: EdgeKind,
    floor: f32,
    rate: f64,
    state: State,
    /// Last sample.
    last: Option<i16>,
    /// Zero level in counts, and the samples it rests on.
    zero: f64,
    seen: f64,
    /// Samples since the zero level was last brought up to date, and their sum.
    fresh: (f64, i32),
    /// Tracked peak and peak of this tooth, counts from zero.
    peak: f32,
    tooth: f32,
    last_edge: Option<f64>,
    hold: f64,
    decays_at: f64,
}

impl ZeroCrossing {
    /// `active` is the direction of the crossing to find; `floor` the smallest peak, in counts from
    /// the zero level, that can be a tooth: below it the lead is quiet.
    pub fn new(active: EdgeKind, floor: f32, rate: Hertz) -> Self {
        Self {
            active,
            floor: floor.max(1.0),
            rate: rate.0,
            state: State::Idle,
            last: None,
            zero: 0.0,
            seen: 0.0,
            fresh: (0.0, 0),
            peak: 0.0,
            tooth: 0.0,
            last_edge: None,
            hold: LONGEST_HOLD * rate.0,
            decays_at: 0.0,
        }
    }

    /// Appends the crossings in `samples`, the first of which has index `first`.
    /// Consecutive calls must follow each other without a gap; after a gap call [`Self::reset`].
    pub fn push(&mut self, first: u64, samples: &[i16], out: &mut Vec<Edge>) {
        let mut index = first;
        let mut rest = samples;
        while !rest.is_empty() {
            let stride = STRIDE as u64 - index % STRIDE as u64;
            let (part, after) = rest.split_at(rest.len().min(stride as usize));
            // Until the first full stride there is no zero level to cross.
            if self.seen > 0.0 {
                self.scan(index, part, out);
            }
            self.last = part.last().copied();
            // At most 64 samples of 16 bits: the sum fits 32 bits.
            self.fresh.0 += part.len() as f64;
            self.fresh.1 += part.iter().map(|&x| i32::from(x)).sum::<i32>();
            index += part.len() as u64;
            rest = after;
            if index.is_multiple_of(STRIDE as u64) {
                self.follow_zero();
                self.decay(index as f64);
            }
        }
    }

    fn scan(&mut self, first: u64, samples: &[i16], out: &mut Vec<Edge>) {
        let (lo, hi) = extremes(samples);
        let zero = self.zero as f32;
        let (least, greatest) = match self.active {
            EdgeKind::Falling => (f32::from(lo) - zero, f32::from(hi) - zero),
            EdgeKind::Rising => (zero - f32::from(hi), zero - f32::from(lo)),
        };
        match self.state {
            State::Idle if greatest <= self.arming() => {}
            State::Armed if least > 0.0 => self.tooth = self.tooth.max(greatest),
            State::Idle | State::Armed | State::Crossing(..) => {
                self.look(first, samples, zero, out)
            }
        }
    }

    fn look(&mut self, first: u64, samples: &[i16], zero: f32, out: &mut Vec<Edge>) {
        let sign = match self.active {
            EdgeKind::Falling => 1.0,
            EdgeKind::Rising => -1.0,
        };
        let mut arming = self.arming();
        let mut before = sign * (f32::from(self.last.unwrap_or(samples[0])) - zero);
        for (i, &x) in samples.iter().enumerate() {
            let y = sign * (f32::from(x) - zero);
            match self.state {
                State::Idle => {
                    if y > arming {
                        self.state = State::Armed;
                        self.tooth = y;
                    }
                }
                State::Armed => {
                    self.tooth = self.tooth.max(y);
                    if y <= 0.0 {
                        let at = crossing(first, i, before, y);
                        self.state = State::Crossing(at, at);
                        self.complete(y, out, &mut arming);
                    }
                }
                State::Crossing(from, _) => {
                    if before > 0.0 && y <= 0.0 {
                        self.state = State::Crossing(from, crossing(first, i, before, y));
                    } else if y > arming {
                        self.state = State::Armed;
                    }
                    self.complete(y, out, &mut arming);
                }
            }
            before = y;
        }
    }

    fn complete(&mut self, y: f32, out: &mut Vec<Edge>, arming: &mut f32) {
        let State::Crossing(from, to) = self.state else {
            return;
        };
        // A spike must not ask for a crossing as deep as itself.
        let grown = if self.peak > 0.0 {
            self.tooth.min(MOST_GROWTH * self.peak)
        } else {
            self.tooth
        };
        if y > -BEYOND * grown {
            return;
        }
        let at = 0.5 * (from + to);
        out.push(Edge {
            at: SampleTime(at),
            kind: self.active,
        });
        self.peak = grown.max(KEPT_PER_TOOTH * self.peak);
        *arming = self.arming();
        if let Some(last) = self.last_edge.replace(at) {
            self.hold = (HELD_INTERVALS * (at - last)).min(LONGEST_HOLD * self.rate);
        }
        self.decays_at = at + self.hold;
        self.state = State::Idle;
    }

    fn arming(&self) -> f32 {
        (ARMING * self.peak).max(self.floor)
    }

    /// Lets the peak fall when no tooth comes, so that a slow engine after a fast one is seen again.
    fn decay(&mut self, now: f64) {
        if now < self.decays_at {
            return;
        }
        self.peak = if self.peak > self.floor {
            self.peak * DECAY
        } else {
            0.0
        };
        self.decays_at = now + 0.25 * self.hold;
        self.state = State::Idle;
    }

    fn follow_zero(&mut self) {
        let (n, sum) = std::mem::take(&mut self.fresh);
        self.seen = (self.seen + n).min(ZERO_SECONDS * self.rate).max(n);
        self.zero += (f64::from(sum) - n * self.zero) / self.seen;
    }

    /// Starts anew after a gap; the zero level and the usual peak, which a gap does not change, are kept.
    pub fn reset(&mut self) {
        self.state = State::Idle;
        self.last = None;
        self.fresh = (0.0, 0);
        self.last_edge = None;
        self.hold = LONGEST_HOLD * self.rate;
        self.decays_at = 0.0;
    }
}

fn crossing(first: u64, i: usize, before: f32, after: f32) -> f64 {
    (first + i as u64) as f64 - 1.0 + f64::from(before / (before - after)).clamp(0.0, 1.0)
}
