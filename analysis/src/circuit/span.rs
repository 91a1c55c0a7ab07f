//! Means of raw samples over stretches of time, at the probe tip.

use crate::channel::Channel;
use crate::duty::Period;
use crate::extremes::{extremes, sum};

/// One PWM period in whole samples: the driver conducts from `fall` to `rise` and not from there to `end`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cut {
    pub fall: u64,
    pub rise: u64,
    pub end: u64,
}

impl Cut {
    /// The first whole sample after each edge.
    pub fn of(period: &Period) -> Option<Self> {
        let fall = period.end.0 - period.length;
        let cut = Self {
            fall: index(fall),
            rise: index(fall + period.low),
            end: index(period.end.0),
        };
        (fall >= 0.0 && cut.fall < cut.rise && cut.rise < cut.end).then_some(cut)
    }

    pub fn on(&self) -> u64 {
        self.rise - self.fall
    }

    pub fn off(&self) -> u64 {
        self.end - self.rise
    }
}

/// Mean over `[from, to)`; `None` when a sample of it is not stored.
pub(super) fn mean(channel: &Channel, from: u64, to: u64) -> Option<f64> {
    let (mut total, mut n) = (0, 0);
    channel.ring.visit(from, to, |_, samples| {
        total += sum(samples);
        n += samples.len() as u64;
    });
    (to > from && n == to - from).then(|| channel.calibration.value(total as f64 / n as f64))
}

/// Lowest and highest count in `[from, to)`; `None` when a sample of it is not stored.
pub(super) fn reach(channel: &Channel, from: u64, to: u64) -> Option<(i16, i16)> {
    let (mut low, mut high, mut n) = (i16::MAX, i16::MIN, 0);
    channel.ring.visit(from, to, |_, samples| {
        let (a, b) = extremes(samples);
        (low, high) = (low.min(a), high.max(b));
        n += samples.len() as u64;
    });
    (to > from && n == to - from).then_some((low, high))
}

/// The samples of `[from, to)`; `None` when one of them is not stored.
pub(super) fn samples(channel: &Channel, from: u64, to: u64) -> Option<Vec<i16>> {
    let mut all = Vec::new();
    channel
        .ring
        .visit(from, to, |_, samples| all.extend_from_slice(samples));
    (to > from && all.len() as u64 == to - from).then_some(all)
}

/// The place at a share of the way from one sample to another.
pub(super) fn between(from: u64, to: u64, share: f64) -> u64 {
    from + index(share * (to - from) as f64)
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "sample times are not negative and far below 2^53"
)]
pub(super) fn index(x: f64) -> u64 {
    x.max(0.0).ceil() as u64
}

/// The least of some samples.
pub(super) fn lowest(samples: &[i16]) -> i16 {
    extremes(samples).0
}
