//! Edges of a two-state signal: hysteresis decides that there is one, interpolation at the
//! 50 % level decides where (IEEE 181-2011, clause on reference level instants: linear
//! interpolation between the two samples that straddle the mid level).

use crate::engine::EdgeKind;
use crate::extremes::extremes;
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
}

impl TwoState {
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
                self.crossing = None;
                self.last = stride.last().copied();
            } else {
                self.look(index, stride, t, out);
            }
            index += stride.len() as u64;
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
                self.crossing = None;
                continue;
            }
            let here = (first + i as u64) as f64;
            if crosses {
                let at = here - 1.0 + f64::from((t.mid - a) / (b - a));
                self.crossing = Some((self.crossing.map_or(at, |c| c.0), at));
            }
            if done {
                // A threshold that moved meanwhile may hide the crossing; the sample itself is then the best instant.
                let at = self.crossing.take().map_or(here, |(a, b)| 0.5 * (a + b));
                out.push(Edge {
                    at: SampleTime(at),
                    kind,
                });
                self.state = Some(kind);
            }
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
