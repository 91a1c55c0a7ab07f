//! State levels of a two-state signal: the modes of its histogram, lower and upper half
//! (IEEE 181-2011 and IEC 60469:2013, determination of state levels by histogram modes).
//!
//! The pin of a switched coil has a third level: the flyback, at the driver's clamp of 40 to 60 V
//! (TLE8104E, TLE8102SG data sheets) for a good part of a short period. The search is therefore
//! repeated within the lower half while that half itself shows two states.

use crate::edge::Thresholds;
use std::collections::VecDeque;

/// Bins over the range of the input: finer than 0.3 % of the range.
const BINS: usize = 512;
/// Samples taken for the histogram, per second: a pulse of 5 % at 400 Hz (125 µs) still holds one.
const TAKEN_PER_SECOND: f64 = 10_000.0;
/// Share of the samples in the window below which a level is noise or a spike.
const SIGNIFICANT: f64 = 0.012;
/// Levels nearer than this many counts cannot be told from noise of one count each way.
const FEWEST_COUNTS: f64 = 4.0;
/// The histogram closes in on a signal that fills less than one in so many of its bins.
const CLOSE: usize = 8;
/// Share of the rarer level's samples that may lie half-way.
const HOLLOW: f64 = 0.35;
/// Hysteresis, as shares of the distance from low to high.
const LOW_SHARE: f64 = 0.35;
const HIGH_SHARE: f64 = 0.65;

/// What the window shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Levels {
    /// Not enough samples yet.
    Unknown,
    /// One level only, in counts.
    One(f64),
    /// Two states, in counts.
    Two {
        /// Low state.
        low: f64,
        /// High state.
        high: f64,
    },
}

/// The sliding histogram of one lead.
#[derive(Debug, Clone)]
pub struct LevelFinder {
    /// Ends of the input's range, and those of the histogram: the count of its first bin and bins per count.
    range: (f64, f64),
    lowest: f64,
    shift_scale: f64,
    counts: Vec<u32>,
    slices: VecDeque<Vec<i16>>,
    window: usize,
    stride: usize,
    phase: usize,
    total: u32,
    /// For levels that may be close together: their smallest distance, in counts.
    close: Option<f64>,
    /// Smallest distance between two states, in counts.
    least: f64,
    /// The mid level lies at most this far above the low state.
    most_mid: f64,
    thresholds: Option<Thresholds>,
    levels: Levels,
    fresh: u32,
}

impl LevelFinder {
    /// A finder for an input that delivers counts within `ends`; states closer than `least` counts are one level.
    /// `rate` in samples per second, `window` in slices.
    pub fn new(ends: (i16, i16), least: f64, rate: f64, window: usize) -> Self {
        let range = (f64::from(ends.0), f64::from(ends.1));
        let span = (range.1 - range.0).max(1.0);
        Self {
            range,
            lowest: range.0,
            shift_scale: (BINS - 1) as f64 / span,
            close: None,
            counts: vec![0; BINS],
            slices: VecDeque::with_capacity(window + 1),
            window,
            stride: whole(rate / TAKEN_PER_SECOND).max(1),
            phase: 0,
            total: 0,
            least: least.max(2.0 * span / BINS as f64),
            most_mid: f64::INFINITY,
            thresholds: None,
            levels: Levels::Unknown,
            fresh: 0,
        }
    }

    /// Keeps the mid level within `counts` of the low state: where a flyback fills nearly all of the off time,
    /// the level after it is too brief to be a mode, and half-way to the clamp would lie above it.
    pub fn with_mid_at_most(mut self, counts: f64) -> Self {
        self.most_mid = counts;
        self
    }

    /// For a sensor's output, whose two levels may be as close as `counts`: the histogram closes in on them, and
    /// there must be little between them, so that hum and noise are not taken for levels.
    pub fn with_levels_as_close_as(mut self, counts: f64) -> Self {
        self.least = counts.max(FEWEST_COUNTS);
        self.close = Some(self.least);
        self
    }

    /// Takes the samples of one slice, then looks again when enough is new.
    pub fn push(&mut self, samples: &[i16]) {
        let mut taken = if self.slices.len() >= self.window {
            let mut oldest = self.slices.pop_front().unwrap_or_default();
            for &raw in &oldest {
                let bin = self.bin(raw);
                self.counts[bin] -= 1;
            }
            self.total -= u32::try_from(oldest.len()).unwrap_or(0);
            oldest.clear();
            oldest
        } else {
            Vec::new()
        };
        let mut i = self.phase;
        while i < samples.len() {
            let bin = self.bin(samples[i]);
            self.counts[bin] += 1;
            taken.push(samples[i]);
            i += self.stride;
        }
        self.phase = i - samples.len();
        self.total += u32::try_from(taken.len()).unwrap_or(0);
        self.slices.push_back(taken);
        self.fresh += 1;
        // Before the first thresholds every slice may bring them; later ten times a second is often enough.
        if self.thresholds.is_none() || self.fresh >= 20 {
            self.fresh = 0;
            self.look();
        }
    }

    /// The levels in the window.
    pub fn levels(&self) -> Levels {
        self.levels
    }

    /// The 50 % level with its hysteresis, from the last window that showed two states.
    pub fn thresholds(&self) -> Option<Thresholds> {
        self.thresholds
    }

    /// Forgets the window but keeps the thresholds: a gap in the stream does not move levels.
    pub fn gap(&mut self) {
        self.slices.clear();
        self.counts.fill(0);
        self.total = 0;
        self.phase = 0;
    }

    fn bin(&self, raw: i16) -> usize {
        let x = (f64::from(raw) - self.lowest) * self.shift_scale;
        whole(x + 0.5).min(BINS - 1)
    }

    fn centre(&self, bin: f64) -> f64 {
        self.lowest + bin / self.shift_scale
    }

    /// Counts the samples of the window anew in bins from `low` to `high`.
    fn rebin(&mut self, low: f64, high: f64) {
        self.lowest = low;
        // A bin narrower than a count would stay empty for ever.
        self.shift_scale = ((BINS - 1) as f64 / (high - low).max(1.0)).min(1.0);
        self.counts.fill(0);
        for slice in std::mem::take(&mut self.slices) {
            for &raw in &slice {
                let bin = self.bin(raw);
                self.counts[bin] += 1;
            }
            self.slices.push_back(slice);
        }
    }

    /// Opens the histogram when much lies outside, closes in when all lies in a few bins.
    fn close_in(&mut self, floor: f64) {
        let outside = |bin: usize| f64::from(self.counts[bin]) >= floor;
        if outside(0) || outside(BINS - 1) {
            self.rebin(self.range.0, self.range.1);
        }
        let (a, b) = self.ends(0, BINS - 1, floor);
        if (b - a) < BINS / CLOSE && self.shift_scale < 1.0 {
            let (low, high) = (self.centre(a as f64), self.centre(b as f64));
            let margin = (high - low).max(2.0 / self.shift_scale);
            self.rebin(low - margin, high + margin);
        }
    }

    /// Whether the third in the middle is nearly empty against the other two. In a sine it has 0.55 of theirs, in noise more;
    /// an open collector with a time constant of 20 µs at 7,000 teeth a second leaves a fifth in it.
    fn is_hollow(&self, a: usize, b: usize) -> bool {
        let third = (b - a).div_ceil(3);
        let middle = self.weight(a + third, b.saturating_sub(third));
        let (low, high) = (self.weight(a, a + third - 1), self.weight(b + 1 - third, b));
        middle < HOLLOW * low.min(high)
    }

    fn look(&mut self) {
        if self.total < 100 {
            self.levels = Levels::Unknown;
            return;
        }
        let floor = (f64::from(self.total) * SIGNIFICANT).ceil();
        if self.close.is_some() {
            self.close_in(floor);
        }
        let least_bins = self.least * self.shift_scale;
        let (mut a, mut b) = self.ends(0, BINS - 1, floor);
        let apart = ((b - a) as f64) >= least_bins;
        if !apart || (self.close.is_some() && !self.is_hollow(a, b)) {
            self.levels = Levels::One(self.centre(self.mode(a, b)));
            return;
        }
        // A sensor's pin has no flyback to look below.
        while self.close.is_none() {
            let mid = usize::midpoint(a, b);
            let inner = self.weight(a, mid);
            let (c, d) = self.ends(a, mid, floor);
            let half = usize::midpoint(c, d);
            let two = d > c
                && ((d - c) as f64) >= least_bins.max(0.15 * (b - a) as f64)
                && inner > 2.0 * floor
                && self.weight(c, half) >= floor
                && self.weight(half + 1, d) >= floor
                && self.valley(c, d) < 0.2 * self.peak(c, half).min(self.peak(half + 1, d));
            if !two {
                break;
            }
            (a, b) = (c, d);
        }
        let mid = usize::midpoint(a, b);
        let (low, high) = (
            self.centre(self.mode(a, mid)),
            self.centre(self.mode(mid + 1, b)),
        );
        if high - low < self.least {
            self.levels = Levels::One(self.centre(self.mode(a, b)));
            return;
        }
        self.levels = Levels::Two { low, high };
        let reach = (high - low).min(2.0 * self.most_mid);
        self.thresholds = Some(thresholds(low, low + reach));
    }

    /// The bins between which all but a spike's share of the samples of `[a, b]` lie at either end.
    fn ends(&self, a: usize, b: usize, floor: f64) -> (usize, usize) {
        let mut sum = 0.0;
        let low = (a..=b).find(|&i| {
            sum += f64::from(self.counts[i]);
            sum >= floor
        });
        sum = 0.0;
        let high = (a..=b).rev().find(|&i| {
            sum += f64::from(self.counts[i]);
            sum >= floor
        });
        match (low, high) {
            (Some(low), Some(high)) if high >= low => (low, high),
            _ => (a, a),
        }
    }

    fn weight(&self, a: usize, b: usize) -> f64 {
        f64::from(self.counts[a..=b].iter().sum::<u32>())
    }

    fn peak(&self, a: usize, b: usize) -> f64 {
        f64::from(self.counts[a..=b].iter().copied().max().unwrap_or(0))
    }

    /// Mean population of the middle third: near nothing between two states, plenty within one.
    fn valley(&self, a: usize, b: usize) -> f64 {
        let third = (b - a) / 3;
        if third == 0 {
            return f64::INFINITY;
        }
        self.weight(a + third, b - third) / (b - a - 2 * third + 1) as f64
    }

    /// The most populated bin, refined by its neighbours' centre of gravity.
    fn mode(&self, a: usize, b: usize) -> f64 {
        let top = (a..=b).max_by_key(|&i| self.counts[i]).unwrap_or(a);
        let (from, to) = (top.saturating_sub(1).max(a), (top + 1).min(b));
        let (mut sum, mut moment) = (0.0, 0.0);
        for i in from..=to {
            sum += f64::from(self.counts[i]);
            moment += f64::from(self.counts[i]) * i as f64;
        }
        if sum > 0.0 { moment / sum } else { top as f64 }
    }
}

/// The 50 % level between two states, with its hysteresis.
pub fn thresholds(low: f64, high: f64) -> Thresholds {
    let at = |share: f64| low + share * (high - low);
    Thresholds {
        low: count(at(LOW_SHARE)),
        mid: narrow(at(0.5)),
        high: count(at(HIGH_SHARE)),
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "negative and huge values saturate, which is the nearest bin"
)]
fn whole(x: f64) -> usize {
    x as usize
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "lies between two levels that are counts"
)]
fn count(x: f64) -> i16 {
    x.round() as i16
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "f32 holds every count exactly and fractions to 1/256"
)]
fn narrow(x: f64) -> f32 {
    x as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finder(samples: impl Fn(usize) -> f64) -> LevelFinder {
        let mut f = LevelFinder::new((-4000, 4000), 50.0, 200_000.0, 100);
        let all: Vec<i16> = (0..100_000)
            .map(|i| count(samples(i) * 50.0 + ((i * 7919) % 7) as f64 - 3.0))
            .collect();
        all.chunks(1000).for_each(|c| f.push(c));
        f
    }

    /// Pin voltage of a coil switched at 250 Hz: low for `duty`, clamped at 53 V for `flyback` s, then at 13.7 V.
    fn pin(i: usize, duty: f64, flyback: f64) -> f64 {
        let t = (i % 800) as f64 / 800.0;
        if t < duty {
            0.4
        } else if (t - duty) / 250.0 < flyback {
            53.0
        } else {
            13.7
        }
    }

    #[test]
    fn modes_are_found_under_a_flyback_from_5_to_95_percent() {
        for duty in [0.05, 0.2, 0.5, 0.8] {
            for flyback in [0.0, 1e-4, 4e-4] {
                match finder(|i| pin(i, duty, flyback)).levels() {
                    Levels::Two { low, high } => {
                        assert!((low / 50.0 - 0.4).abs() < 0.3, "{duty} {flyback}: {low}");
                        assert!((high / 50.0 - 13.7).abs() < 0.3, "{duty} {flyback}: {high}");
                    }
                    other => panic!("{duty} {flyback}: {other:?}"),
                }
            }
        }
        // At 95 % the off time is all flyback: the clamp is then the upper state.
        assert!(matches!(
            finder(|i| pin(i, 0.95, 4e-4)).levels(),
            Levels::Two { low, .. } if (low / 50.0 - 0.4).abs() < 0.3
        ));
    }

    #[test]
    fn a_still_lead_has_one_level_and_no_thresholds() {
        let f = finder(|_| 13.7);
        assert!(matches!(f.levels(), Levels::One(v) if (v / 50.0 - 13.7).abs() < 0.2));
        assert_eq!(f.thresholds(), None);
    }
}
