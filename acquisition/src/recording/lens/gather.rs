//! Gathers samples and extremes into what is seen of each input, with no more in memory than is shown.

use super::window::{Window, whole};
use super::{InputSight, Shape};
use crate::block::ChannelInfo;
use crate::recording::overview::builder::extremes;
use crate::recording::overview::page::Extremes;
use std::collections::BTreeMap;

/// What is seen so far.
#[derive(Debug)]
pub(super) struct Gather {
    window: Window,
    /// Whether there are columns; single samples as long as no input has more than two to a column.
    is_reduced: bool,
    inputs: BTreeMap<(usize, String), Seen>,
}

#[derive(Debug, Default)]
struct Seen {
    samples: Vec<(f64, f32)>,
    columns: Vec<Option<[f32; 2]>>,
}

/// Evenly spaced samples: the time of the first, and how many in a second.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pace {
    pub at: f64,
    pub rate_hz: f64,
}

impl Pace {
    /// Time of a sample.
    pub fn time(self, number: usize) -> f64 {
        self.at + number as f64 / self.rate_hz
    }

    /// The first of `count` samples for which `is_later`, which holds for all after it; it is
    /// searched from about the time `near` on.
    fn first(self, near: f64, count: usize, is_later: impl Fn(f64) -> bool) -> usize {
        let mut number = whole((near - self.at) * self.rate_hz).min(count);
        while number > 0 && is_later(self.time(number - 1)) {
            number -= 1;
        }
        while number < count && !is_later(self.time(number)) {
            number += 1;
        }
        number
    }
}

impl Gather {
    pub fn new(window: Window, is_reduced: bool) -> Self {
        Self {
            window,
            is_reduced,
            inputs: BTreeMap::new(),
        }
    }

    /// The input is recorded here, whether or not a sample falls into the window.
    pub fn input(&mut self, input: usize, unit: &str) {
        let _ = self.seen(input, unit);
    }

    /// Samples of one input.
    pub fn samples(&mut self, input: usize, channel: &ChannelInfo, pace: Pace, samples: &[i16]) {
        let window = self.window;
        let begin = pace.first(window.from, samples.len(), |at| at >= window.from);
        let end = pace.first(window.to, samples.len(), |at| at >= window.to);
        if begin >= end {
            return;
        }
        let is_reduced = self.is_reduced;
        let seen = self.seen(input, &channel.unit);
        if is_reduced {
            let mut from = begin;
            while from < end {
                let column = window.column(pace.time(from));
                let near = window.from + (column + 1) as f64 * window.step();
                let to = pace
                    .first(near, end, |at| window.column(at) > column)
                    .max(from + 1);
                widen(
                    &mut seen.columns[column],
                    scaled(channel, extremes(&samples[from..to])),
                );
                from = to;
            }
        } else {
            let these = samples[begin..end].iter().zip(begin..);
            seen.samples
                .extend(these.map(|(&raw, number)| (pace.time(number), value(channel, raw))));
            if seen.samples.len() > 2 * window.columns {
                self.reduce();
            }
        }
    }

    /// Extremes of one input, with the column of each. There are columns then.
    pub fn extremes(
        &mut self,
        input: usize,
        channel: &ChannelInfo,
        bins: impl Iterator<Item = (usize, Extremes)>,
    ) {
        self.reduce();
        let seen = self.seen(input, &channel.unit);
        for (column, bin) in bins {
            if bin[0] <= bin[1]
                && let Some(column) = seen.columns.get_mut(column)
            {
                widen(column, scaled(channel, bin));
            }
        }
    }

    /// What is seen of each input, in order.
    pub fn end(self) -> Vec<InputSight> {
        let is_reduced = self.is_reduced;
        self.inputs
            .into_iter()
            .map(|((input, unit), seen)| InputSight {
                input,
                unit,
                shape: if is_reduced {
                    Shape::Columns(seen.columns)
                } else {
                    Shape::Samples(seen.samples)
                },
            })
            .collect()
    }

    fn seen(&mut self, input: usize, unit: &str) -> &mut Seen {
        let columns = if self.is_reduced {
            self.window.columns
        } else {
            0
        };
        let key = (input, unit.to_owned());
        self.inputs.entry(key).or_insert_with(|| Seen {
            samples: Vec::new(),
            columns: vec![None; columns],
        })
    }

    fn reduce(&mut self) {
        if std::mem::replace(&mut self.is_reduced, true) {
            return;
        }
        for seen in self.inputs.values_mut() {
            seen.columns = vec![None; self.window.columns];
            for (at, value) in std::mem::take(&mut seen.samples) {
                widen(&mut seen.columns[self.window.column(at)], [value, value]);
            }
        }
    }
}

fn widen(column: &mut Option<[f32; 2]>, by: [f32; 2]) {
    let [low, high] = column.get_or_insert(by);
    *low = low.min(by[0]);
    *high = high.max(by[1]);
}

/// The value at the input.
#[allow(clippy::cast_possible_truncation, reason = "a value that is drawn")]
pub(super) fn value(channel: &ChannelInfo, raw: i16) -> f32 {
    f64::from(raw).mul_add(channel.scale, channel.offset) as f32
}

/// A scale may be negative.
fn scaled(channel: &ChannelInfo, [low, high]: Extremes) -> [f32; 2] {
    let (a, b) = (value(channel, low), value(channel, high));
    [a.min(b), a.max(b)]
}
