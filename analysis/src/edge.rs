//! Edges of a two-state signal: hysteresis decides that there is one, interpolation at the
//! 50 % level decides where (IEEE 181-2011, clause on reference level instants: linear
//! interpolation between the two samples that straddle the mid level).

use crate::engine::EdgeKind;
use crate::units::SampleTime;

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

/// Finds edges in consecutive samples.
#[derive(Debug, Clone, Default)]
pub struct TwoState {
    state: Option<EdgeKind>,
    last: Option<i16>,
    /// Latest crossing of the mid level since the state last changed.
    crossing: Option<SampleTime>,
}

impl TwoState {
    /// Appends the edges in `samples`, the first of which has index `first`.
    /// Consecutive calls must follow each other without a gap; after a gap call [`Self::reset`].
    /// The first state found after a start or reset is not an edge.
    pub fn push(&mut self, first: u64, samples: &[i16], t: Thresholds, out: &mut Vec<Edge>) {
        for (i, &x) in samples.iter().enumerate() {
            let kind = match self.state {
                Some(EdgeKind::Falling) => EdgeKind::Rising,
                Some(EdgeKind::Rising) => EdgeKind::Falling,
                None => {
                    self.state = if x > t.high {
                        Some(EdgeKind::Rising)
                    } else if x < t.low {
                        Some(EdgeKind::Falling)
                    } else {
                        None
                    };
                    self.last = Some(x);
                    continue;
                }
            };
            // Most samples stay in their state, far from the mid level: one comparison each.
            let stays = match kind {
                EdgeKind::Rising => x <= t.low,
                EdgeKind::Falling => x >= t.high,
            };
            if stays {
                self.crossing = None;
            } else {
                let (a, b) = (f32::from(self.last.unwrap_or(x)), f32::from(x));
                let crosses = match kind {
                    EdgeKind::Rising => a < t.mid && b >= t.mid,
                    EdgeKind::Falling => a > t.mid && b <= t.mid,
                };
                if crosses && self.crossing.is_none() {
                    let index = (first + i as u64) as f64;
                    self.crossing =
                        Some(SampleTime(index - 1.0 + f64::from((t.mid - a) / (b - a))));
                }
                let done = match kind {
                    EdgeKind::Rising => x > t.high,
                    EdgeKind::Falling => x < t.low,
                };
                if done {
                    // A threshold that moved meanwhile may hide the crossing; the sample itself is then the best instant.
                    let at = self
                        .crossing
                        .take()
                        .unwrap_or(SampleTime((first + i as u64) as f64));
                    out.push(Edge { at, kind });
                    self.state = Some(kind);
                }
            }
            self.last = Some(x);
        }
    }

    /// The present state: `Rising` means high.
    pub fn state(&self) -> Option<EdgeKind> {
        self.state
    }

    /// Forgets everything, as after a gap.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}
