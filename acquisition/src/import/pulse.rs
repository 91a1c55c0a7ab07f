//! Edges as samples.
//!
//! Each edge is a straight ramp over one sample period before and one after it. The two samples that
//! straddle it then lie on the ramp, so that linear interpolation at the middle level (IEEE 181-2011,
//! reference level instants) gives back the very instant, whatever its place between the samples.

use std::collections::VecDeque;

/// Counts of the high level; the low one is as far below zero, so that the middle level is zero and
/// whoever finds both levels with the same small error finds it there.
const HIGH: f64 = 16_000.0;

/// Error of an instant, in sample periods: half a count on each of the two samples, on a ramp of
/// `HIGH` counts per sample.
pub(crate) const PRECISION: f64 = 1.0 / HIGH;

/// Edges of one column that are this many sample periods apart stay two edges, exactly timed: each
/// ramp takes one to either side, and one remains at the level between them.
pub(crate) const APART: f64 = 3.0;

/// Counts that an input of such levels can reach, beyond the levels so that it is not taken for clipped.
pub(crate) const REACH: f64 = 17_600.0;

/// Units per count, for levels so many units apart.
pub(crate) fn scale(apart: f64) -> f64 {
    apart / (2.0 * HIGH)
}

/// One column of edges on its way to becoming samples.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pulses {
    /// Level before the edges that wait.
    is_high: bool,
    /// Edges by their instants in sample periods; each goes the other way than the one before.
    waiting: VecDeque<f64>,
}

impl Pulses {
    /// A column that begins at this level.
    pub fn new(is_high: bool) -> Self {
        Self {
            is_high,
            waiting: VecDeque::new(),
        }
    }

    /// The level changes at this instant, not before the one before.
    pub fn edge(&mut self, at: f64) {
        self.waiting.push_back(at);
    }

    /// Appends the samples from index `from` to `to`, not including it. All edges before `to` + 1 must be known.
    pub fn samples(&mut self, from: u64, to: u64, out: &mut Vec<i16>) {
        let mut index = from;
        while index < to {
            let here = index as f64;
            while self.waiting.front().is_some_and(|&at| at + 1.0 <= here) {
                let _ = self.waiting.pop_front();
                self.is_high = !self.is_high;
            }
            let level = if self.is_high { HIGH } else { -HIGH };
            match self.waiting.front() {
                Some(&at) if at - 1.0 < here => {
                    let mut value = level;
                    let mut direction = if self.is_high { -1.0 } else { 1.0 };
                    for &at in self.waiting.iter().take_while(|&&at| at - 1.0 < here) {
                        value += direction * HIGH * (here - at + 1.0).clamp(0.0, 2.0);
                        direction = -direction;
                    }
                    out.push(count(value));
                    index += 1;
                }
                next => {
                    // Nothing happens until the next ramp begins.
                    let until = next.map_or(to, |&at| whole((at - 1.0).floor()) + 1).min(to);
                    let until = until.max(index + 1);
                    out.resize(out.len() + length(until - index), count(level));
                    index = until;
                }
            }
        }
    }
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "between the two levels, which are counts"
)]
fn count(x: f64) -> i16 {
    x.round() as i16
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an index; before the start it saturates at 0"
)]
fn whole(x: f64) -> u64 {
    x as u64
}

fn length(n: u64) -> usize {
    usize::try_from(n).unwrap_or(usize::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Instants at which lines between neighbouring samples cross zero.
    fn crossings(samples: &[i16]) -> Vec<f64> {
        samples
            .windows(2)
            .enumerate()
            .filter(|(_, w)| (w[0] < 0) != (w[1] < 0))
            .map(|(i, w)| {
                let (a, b) = (f64::from(w[0]), f64::from(w[1]));
                i as f64 + a / (a - b)
            })
            .collect()
    }

    #[test]
    fn instants_survive_to_a_thousandth_of_a_sample_in_any_blocks() {
        let mut edges = vec![5.0];
        for i in 0..400 {
            // From just under three samples apart upwards, at every fraction.
            let next = edges[i] + APART + 0.0137 * f64::from(u16::try_from(i).unwrap()) % 2.0;
            edges.push(next);
        }
        for block in [1, 7, 64, 10_000] {
            let mut pulses = Pulses::new(false);
            edges.iter().for_each(|&at| pulses.edge(at));
            let (mut samples, mut at) = (Vec::new(), 0);
            while at < 2000 {
                pulses.samples(at, (at + block).min(2000), &mut samples);
                at = (at + block).min(2000);
            }
            assert_eq!(samples.len(), 2000);
            let found = crossings(&samples);
            assert_eq!(found.len(), edges.len());
            for (found, meant) in found.iter().zip(&edges) {
                assert!((found - meant).abs() < 2.0 * PRECISION, "{found} {meant}");
            }
            // Between any two edges a sample stands at the level itself.
            assert!(samples.iter().filter(|&&s| s == 16_000).count() > 190);
        }
    }
}
