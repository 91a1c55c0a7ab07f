//! Zero crossings of a variable-reluctance sensor, whose amplitude grows with speed.
//!
//! A crossing counts only after the signal has passed an arming level on the other side, and that
//! level follows the peaks: the principle of the LM1815 adaptive sense amplifier (National
//! Semiconductor data sheet). The zero level comes from the teeth: the voltage of a coil is the rate of
//! change of its flux, and the flux is the same at every tooth centre, so that the mean from one to the next is zero.
//! All that adapts does so at fixed sample indices, so that the result does not depend on how the samples
//! are cut into blocks.

#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "places within the samples remembered: a few tens, not negative"
)]

use crate::edge::{Edge, STRIDE};
use crate::engine::EdgeKind;
use crate::extremes::{extremes, sum};
use crate::hum::Hum;
use crate::spike_filter::SpikeFilter;
use crate::straight_line;
use crate::units::{Hertz, SampleTime};
use crate::zero_level::ZeroLevel;

mod rhythm;

use rhythm::Rhythm;

/// Arming level as a part of the tracked peak. The LM1815 uses 0.8, which no wheel out of true bears: with peaks 40 % up
/// and down the smallest is 0.43 of the greatest. More loses teeth of such a wheel, less lets ringing above it make teeth.
const ARMING: f32 = 0.4;
/// What is left of the tracked peak from tooth to tooth if the new ones are smaller.
const KEPT_PER_TOOTH: f32 = 0.8;
/// Most by which one tooth raises the tracked peak, so that a disturbance does not hide the teeth after it.
const MOST_GROWTH: f32 = 1.6;
/// The signal must go this far beyond zero, as a part of the peak before, for a crossing to be complete.
const BEYOND: f32 = 0.15;
/// What is left of the peak after each further quarter of the time for which it is held.
const DECAY: f32 = 0.6;
/// Samples a side that the straight line through a crossing takes at most. More would cost time where the noise matters least.
const REACH: usize = 24;
/// Filtered samples remembered for it.
const REMEMBERED: usize = 2 * STRIDE;
/// Teeth over which the smallest is told.
const LATELY: u32 = 64;

#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    /// Waits for the arming level.
    Idle,
    /// Above it, waits for zero.
    Armed,
    /// First and last crossing so far, waits until the signal has gone well beyond.
    Crossing(f64, f64),
}

/// How large the teeth are, and what was not taken for one.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Teeth {
    /// Smallest peak of the last teeth, counts from the zero level.
    pub smallest: Option<f64>,
    /// Least that a peak of them was above the level it had to pass.
    pub reserve: Option<f64>,
    /// Spikes filtered out where teeth are looked for.
    pub spikes: u64,
    /// Crossings that came back, or came too soon after another.
    pub chatter: u64,
    /// Edges withheld because they are mains hum.
    pub withheld: u64,
    /// Whether they are now.
    pub is_hum: bool,
}

/// Finds the crossings that mark tooth centres in consecutive samples.
#[derive(Debug, Clone)]
pub struct ZeroCrossing {
    /// 1 for falling crossings, -1 for rising ones.
    sign: f32,
    active: EdgeKind,
    floor: f32,
    rate: f64,
    state: State,
    filter: SpikeFilter,
    zero: ZeroLevel,
    rhythm: Rhythm,
    hum: Hum,
    /// Peak below which a signal can be hum, counts.
    hum_below: f32,
    /// Tracked peak and peak of this tooth, counts from zero.
    peak: f32,
    tooth: f32,
    /// Last filtered samples without a break.
    recent: Vec<i16>,
    last: Option<i16>,
    /// Smallest tooth and reserve of this and of the earlier lot of teeth.
    lots: [Option<(f32, f32)>; 2],
    in_lot: u32,
    counts: Teeth,
}

impl ZeroCrossing {
    /// `active` is the direction of the crossing to find; `floor` the smallest peak, in counts from
    /// the zero level, that can be a tooth: below it the lead is quiet.
    pub fn new(active: EdgeKind, floor: f32, rate: Hertz) -> Self {
        Self {
            sign: match active {
                EdgeKind::Falling => 1.0,
                EdgeKind::Rising => -1.0,
            },
            active,
            floor: floor.max(1.0),
            rate: rate.0,
            state: State::Idle,
            filter: SpikeFilter::new(rate.0),
            zero: ZeroLevel::new(rate.0),
            rhythm: Rhythm::new(rate.0),
            hum: Hum::default(),
            hum_below: 0.0,
            peak: 0.0,
            tooth: 0.0,
            recent: Vec::with_capacity(2 * REMEMBERED),
            last: None,
            lots: [None; 2],
            in_lot: 0,
            counts: Teeth::default(),
        }
    }

    /// Withholds edges that come as regularly as the mains while the peaks are below `counts`.
    pub fn with_hum_below(mut self, counts: f32) -> Self {
        self.hum_below = counts;
        self
    }

    /// Appends the crossings in `samples`, the first of which has index `first`.
    /// Consecutive calls must follow each other without a gap; after a gap call [`Self::reset`].
    pub fn push(&mut self, first: u64, samples: &[i16], out: &mut Vec<Edge>) {
        let mut index = first;
        let mut rest = samples;
        while !rest.is_empty() {
            let stride = STRIDE as u64 - index % STRIDE as u64;
            let (part, after) = rest.split_at(rest.len().min(stride as usize));
            self.scan(index, part, out);
            self.zero.take(sum(part), part.len());
            index += part.len() as u64;
            rest = after;
            if index.is_multiple_of(STRIDE as u64) {
                self.zero.settle();
                if self.rhythm.is_overdue(index as f64) {
                    self.decay();
                }
            }
        }
    }

    fn scan(&mut self, first: u64, samples: &[i16], out: &mut Vec<Edge>) {
        // Until the first full stride there is no zero level to cross.
        let Some(zero) = self.zero.level() else {
            self.pass_over(samples);
            return;
        };
        let (low, high) = extremes(samples);
        if self.state == State::Idle && self.highest(zero, low, high) <= self.arming() {
            self.pass_over(samples);
            return;
        }
        let filtered = self.filter.apply(samples);
        let (least, greatest) = extremes(filtered);
        let spike = (f32::from(high) - f32::from(greatest)).max(f32::from(least) - f32::from(low));
        if spike > ARMING * self.peak.max(self.floor) {
            self.counts.spikes += 1;
        }
        let excess = (self.recent.len() + filtered.len()).saturating_sub(2 * REMEMBERED);
        if excess > 0 {
            let kept = self.recent.len().min(REMEMBERED);
            let _ = self.recent.drain(..self.recent.len() - kept);
        }
        let began = self.recent.len();
        self.recent.extend_from_slice(filtered);
        if self.state == State::Armed && self.lowest(zero, least, greatest) > 0.0 {
            self.tooth = self.tooth.max(self.highest(zero, least, greatest));
        } else {
            self.look(first, samples, zero, began, out);
        }
        self.last = self.recent.last().copied();
    }

    fn pass_over(&mut self, samples: &[i16]) {
        self.filter.pass_over(samples);
        self.recent.clear();
        self.last = None;
    }

    fn highest(&self, zero: f32, low: i16, high: i16) -> f32 {
        (self.sign * (f32::from(low) - zero)).max(self.sign * (f32::from(high) - zero))
    }

    fn lowest(&self, zero: f32, low: i16, high: i16) -> f32 {
        (self.sign * (f32::from(low) - zero)).min(self.sign * (f32::from(high) - zero))
    }

    /// Looks at the filtered samples from `began` on, one by one; `raw` are those they come from.
    fn look(&mut self, first: u64, raw: &[i16], zero: f32, began: usize, out: &mut Vec<Edge>) {
        let mut arming = self.arming();
        let start = first as f64 - self.filter.delay() as f64;
        let height = |x: i16| self.sign * (f32::from(x) - zero);
        let mut before = height(self.last.unwrap_or(self.recent[began]));
        for i in 0..raw.len() {
            let y = self.sign * (f32::from(self.recent[began + i]) - zero);
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
                        let at = crossing(start, i, before, y);
                        self.state = State::Crossing(at, at);
                        self.zero.mark(&raw[..i]);
                    }
                }
                State::Crossing(from, _) => {
                    if before > 0.0 && y <= 0.0 {
                        self.state = State::Crossing(from, crossing(start, i, before, y));
                    } else if y > arming {
                        self.state = State::Armed;
                        self.counts.chatter += 1;
                    }
                }
            }
            if let State::Crossing(from, to) = self.state
                && y <= -BEYOND * self.grown()
            {
                self.complete(0.5 * (from + to), start + i as f64, zero, began + i, out);
                arming = self.arming();
            }
            before = y;
        }
    }

    /// The tooth's peak as far as it is believed: a disturbance must not ask for a crossing as deep as itself.
    fn grown(&self) -> f32 {
        if self.peak > 0.0 {
            self.tooth.min(MOST_GROWTH * self.peak)
        } else {
            self.tooth
        }
    }

    /// The crossing at `at` is complete at `now`, the time of the remembered sample number `place`.
    fn complete(&mut self, at: f64, now: f64, zero: f32, place: usize, out: &mut Vec<Edge>) {
        self.state = State::Idle;
        if self.rhythm.is_too_soon(at) {
            self.counts.chatter += 1;
            return;
        }
        let at = self.refine(at, now, zero, place);
        let grown = self.grown();
        self.tell(grown);
        self.zero.hear(f64::from(self.peak));
        self.peak = grown.max(KEPT_PER_TOOTH * self.peak);
        if let Some(interval) = self.rhythm.hear(at) {
            let small = self.peak < self.hum_below;
            self.hum.hear(interval / self.rate, small);
        }
        if self.hum.is_heard() {
            self.counts.withheld += 1;
            return;
        }
        out.push(Edge {
            at: SampleTime(at),
            kind: self.active,
        });
    }

    /// The zero of a straight line through the samples as long before the crossing as they reach after it: noise and steps
    /// of the converter weigh less than in the two samples beside it. Near the crossing the signal is straight.
    fn refine(&self, at: f64, now: f64, zero: f32, place: usize) -> f64 {
        let ago = now - at;
        let reach = ago.min(REACH as f64);
        // Remembered samples from `at - reach` to `at + reach`.
        let (back, ahead) = (
            (ago + reach).floor() as usize,
            (ago - reach).ceil() as usize,
        );
        let Some(from) = place.checked_sub(back) else {
            return at;
        };
        let samples = &self.recent[from..=place - ahead];
        straight_line::zero(samples, f64::from(zero))
            .map(|x| now - back as f64 + x)
            .filter(|x| (x - at).abs() < 0.5 * reach)
            .unwrap_or(at)
    }

    /// Keeps the smallest of the last teeth.
    fn tell(&mut self, tooth: f32) {
        let reserve = tooth / self.arming();
        let now = self.lots[0].map_or((tooth, reserve), |(t, r)| (t.min(tooth), r.min(reserve)));
        self.lots[0] = Some(now);
        self.in_lot += 1;
        if self.in_lot >= LATELY {
            self.in_lot = 0;
            self.lots = [None, self.lots[0]];
        }
    }

    fn arming(&self) -> f32 {
        (ARMING * self.peak).max(self.floor)
    }

    /// Lets the peak fall when no tooth comes, so that a slow engine after a fast one is seen again.
    fn decay(&mut self) {
        self.peak = if self.peak > self.floor {
            self.peak * DECAY
        } else {
            0.0
        };
        self.state = State::Idle;
        self.zero.doubt();
    }

    /// How large the teeth are, and what was not taken for one.
    pub fn teeth(&self) -> Teeth {
        let known = self.lots.iter().flatten();
        let least = known.copied().reduce(|a, b| (a.0.min(b.0), a.1.min(b.1)));
        Teeth {
            smallest: least.map(|l| f64::from(l.0)),
            reserve: least.map(|l| f64::from(l.1)),
            is_hum: self.hum.is_heard(),
            ..self.counts
        }
    }

    /// Starts anew after a gap; the zero level and the usual peak, which a gap does not change, are kept.
    pub fn reset(&mut self) {
        self.state = State::Idle;
        self.filter.reset();
        self.recent.clear();
        self.last = None;
        self.zero.gap();
        self.rhythm.gap();
    }
}

fn crossing(start: f64, i: usize, before: f32, after: f32) -> f64 {
    start + i as f64 - 1.0 + f64::from(before / (before - after)).clamp(0.0, 1.0)
}
