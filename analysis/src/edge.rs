//! Edges of a two-state signal: hysteresis decides that there is one, interpolation at the
//! 50 % level decides where (IEEE 181-2011, clause on reference level instants: linear
//! interpolation between the two samples that straddle the mid level).

use crate::dwell::Dwell;
use crate::engine::EdgeKind;
use crate::extremes::extremes;
use crate::units::{Hertz, SampleTime};

/// An edge or zero crossing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// When, to a fraction of a sample.
    pub at: SampleTime,
    /// Which way.
    pub kind: EdgeKind,
}

/// Raw levels that decide edges. `low < mid < high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// Below this the signal is in its low state.
    pub low: i16,
    /// The level at which an edge is timed.
    pub mid: f32,
    /// Above this the signal is in its high state.
    pub high: i16,
}

/// Samples looked at together: their least and greatest tell at vector speed whether any matters.
pub(crate) const STRIDE: usize = 64;

/// Finds edges in consecutive samples.
#[derive(Debug, Clone, Default)]
pub struct TwoState {
    state: Option<EdgeKind>,
    last: Option<i16>,
    /// First and last crossing of the mid level since the signal left its state. With noise there
    /// are several; the first comes too early by as much as the last comes too late.
    crossing: Option<(f64, f64)>,
    qualified: Option<Qualified>,
}

/// What makes a change of level an edge of a sensor.
#[derive(Debug, Clone)]
struct Qualified {
    dwell: Dwell,
    /// Sample at which the signal left its state.
    left: Option<f64>,
    /// Longest way from one threshold to the other, in samples.
    slowest: f64,
    slow: u64,
}

/// A switched output takes no longer from 35 to 65 %, seconds. An open collector with a time constant of 20 µs takes 12 µs;
/// mains hum of any height that the input can hold takes 1.6 ms at 60 Hz. Between them lies a factor of a hundred.
const SLOWEST: f64 = 500e-6;

/// Changes that [`TwoState`] did not take for edges.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PassedOver {
    /// Excursions too brief to be a state.
    pub spikes: u64,
    /// Changes beyond the first within one edge.
    pub chatter: u64,
    /// Changes too slow for a switch.
    pub slow: u64,
}

impl TwoState {
    /// For the switched output of a sensor at `rate` samples a second: a state must last, and change fast.
    /// Without this (`default()`) every change of level is an edge.
    pub fn of_sensor(rate: Hertz) -> Self {
        Self {
            qualified: Some(Qualified {
                dwell: Dwell::new(rate.0),
                left: None,
                slowest: (SLOWEST * rate.0).max(2.0),
                slow: 0,
            }),
            ..Self::default()
        }
    }

    /// What was not taken for an edge so far.
    pub fn passed_over(&self) -> PassedOver {
        self.qualified
            .as_ref()
            .map_or_else(PassedOver::default, |q| PassedOver {
                spikes: q.dwell.spikes,
                chatter: q.dwell.chatter,
                slow: q.slow,
            })
    }

    /// Appends the edges in `samples`, the first of which has index `first`.
    /// Consecutive calls must follow each other without a gap; after a gap call [`Self::reset`].
    /// The first state found after a start or reset is not an edge.
    pub fn push(&mut self, first: u64, samples: &[i16], t: Thresholds, out: &mut Vec<Edge>) {
        let mut index = first;
        for stride in samples.chunks(STRIDE) {
            let (lo, hi) = extremes(stride);
            let stays = match self.state {
                Some(EdgeKind::Rising) => lo >= t.high,
                Some(EdgeKind::Falling) => hi <= t.low,
                None => false,
            };
            if stays {
                self.stay();
                self.last = stride.last().copied();
            } else {
                self.look(index, stride, t, out);
            }
            index += stride.len() as u64;
        }
        // A change under way may be dated back to its first crossing, but not before it.
        let now = self.crossing.map_or(index as f64 - 1.0, |c| c.0);
        if let (Some(q), Some(state)) = (&mut self.qualified, self.state) {
            q.dwell.settle(now, state.other(), out);
        }
    }

    fn stay(&mut self) {
        self.crossing = None;
        if let Some(q) = &mut self.qualified {
            q.left = None;
        }
    }

    fn look(&mut self, first: u64, samples: &[i16], t: Thresholds, out: &mut Vec<Edge>) {
        for (i, &x) in samples.iter().enumerate() {
            let last = self.last.replace(x).unwrap_or(x);
            let (a, b) = (f32::from(last), f32::from(x));
            let (kind, stays, crosses, done) = match self.state {
                Some(EdgeKind::Falling) => (
                    EdgeKind::Rising,
                    x <= t.low,
                    a < t.mid && b >= t.mid,
                    x > t.high,
                ),
                Some(EdgeKind::Rising) => (
                    EdgeKind::Falling,
                    x >= t.high,
                    a > t.mid && b <= t.mid,
                    x < t.low,
                ),
                None => {
                    if x > t.high {
                        self.state = Some(EdgeKind::Rising);
                    } else if x < t.low {
                        self.state = Some(EdgeKind::Falling);
                    }
                    continue;
                }
            };
            if stays {
                self.stay();
                continue;
            }
            let here = (first + i as u64) as f64;
            if let Some(q) = &mut self.qualified {
                let _ = q.left.get_or_insert(here);
            }
            if crosses {
                let at = here - 1.0 + f64::from((t.mid - a) / (b - a));
                self.crossing = Some((self.crossing.map_or(at, |c| c.0), at));
            }
            if done {
                // A threshold that moved meanwhile may hide the crossing; the sample itself is then the best instant.
                let at = self.crossing.take().map_or(here, |(a, b)| 0.5 * (a + b));
                let edge = Edge {
                    at: SampleTime(at),
                    kind,
                };
                match &mut self.qualified {
                    None => out.push(edge),
                    Some(q) => q.take(edge, here, out),
                }
                self.state = Some(kind);
            }
        }
    }

    /// The present state: `Rising` means high.
    pub fn state(&self) -> Option<EdgeKind> {
        self.state
    }

    /// Forgets the state, as after a gap; what is usual for the signal is kept.
    pub fn reset(&mut self) {
        self.state = None;
        self.last = None;
        self.stay();
        if let Some(q) = &mut self.qualified {
            q.dwell.reset();
        }
    }
}

impl Qualified {
    fn take(&mut self, edge: Edge, here: f64, out: &mut Vec<Edge>) {
        if self
            .left
            .take()
            .is_some_and(|left| here - left > self.slowest)
        {
            self.slow += 1;
            self.dwell.settle(edge.at.0, edge.kind, out);
            self.dwell.reset();
        } else {
            self.dwell.push(edge, out);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const T: Thresholds = Thresholds {
        low: -100,
        mid: 0.0,
        high: 100,
    };

    fn edges(samples: &[i16], split: usize) -> Vec<Edge> {
        let (mut found, mut s) = (Vec::new(), TwoState::default());
        for (i, part) in samples.chunks(split).enumerate() {
            s.push((i * split) as u64, part, T, &mut found);
        }
        found
    }

    #[test]
    fn the_crossing_lies_between_samples_and_noise_makes_no_edge() {
        let mut x = vec![-500; 100];
        x.extend([-90, -20, -110, -300, -100, 300, 500]);
        x.extend([500; 100]);
        x.extend([80, 20, -40, 30, -60, -200]);
        x.extend([-500; 100]);
        for split in [1, 7, 64, 1000] {
            let e = edges(&x, split);
            assert_eq!(e.len(), 2, "{split}");
            assert!((e[0].at.0 - 104.25).abs() < 1e-6 && e[0].kind == EdgeKind::Rising);
            // Between 20 and -40 and again between 30 and -60: the mean of both.
            let (a, b) = (208.0 + 1.0 / 3.0, 210.0 + 1.0 / 3.0);
            assert!((e[1].at.0 - 0.5 * (a + b)).abs() < 1e-5, "{}", e[1].at.0);
        }
    }
}
