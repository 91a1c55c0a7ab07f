//! Slow figures of a lead: mean, lowest and highest over the last slices. Serves the supply, the current and every lead's level and range.

use crate::extremes::{extremes, sum};
use std::collections::VecDeque;

#[derive(Debug, Clone, Copy)]
struct Slice {
    sum: f64,
    n: f64,
    low: i16,
    high: i16,
}

/// Mean and extremes, in counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Mean.
    pub mean: f64,
    /// Lowest sample.
    pub low: i16,
    /// Highest sample.
    pub high: i16,
}

/// Sums of the last slices of one lead.
#[derive(Debug, Clone)]
pub struct Slices {
    kept: VecDeque<Slice>,
    most: usize,
}

impl Slices {
    /// Keeps at most `most` slices.
    pub fn new(most: usize) -> Self {
        Self {
            kept: VecDeque::with_capacity(most + 1),
            most,
        }
    }

    /// Takes one slice of samples and returns its lowest and highest.
    pub fn push(&mut self, samples: &[i16]) -> Option<(i16, i16)> {
        if samples.is_empty() {
            return None;
        }
        let (low, high) = extremes(samples);
        if self.kept.len() >= self.most {
            let _ = self.kept.pop_front();
        }
        self.kept.push_back(Slice {
            sum: sum(samples) as f64,
            n: samples.len() as f64,
            low,
            high,
        });
        Some((low, high))
    }

    /// Mean and extremes of the last `slices`; `None` before the first.
    pub fn extent(&self, slices: usize) -> Option<Extent> {
        let (mut sum, mut n, mut low, mut high) = (0.0, 0.0, i16::MAX, i16::MIN);
        for s in self.kept.iter().rev().take(slices) {
            sum += s.sum;
            n += s.n;
            low = low.min(s.low);
            high = high.max(s.high);
        }
        (n > 0.0).then(|| Extent {
            mean: sum / n,
            low,
            high,
        })
    }

    /// Means of the last `slices`, oldest first.
    pub fn means(&self, slices: usize) -> impl Iterator<Item = f64> {
        let from = self.kept.len().saturating_sub(slices);
        self.kept.iter().skip(from).map(|s| s.sum / s.n)
    }

    /// Lowest and highest sample of each of the last `slices`, oldest first.
    pub fn spans(&self, slices: usize) -> impl Iterator<Item = [i16; 2]> {
        let from = self.kept.len().saturating_sub(slices);
        self.kept.iter().skip(from).map(|s| [s.low, s.high])
    }

    /// Whether no slice is held.
    pub fn is_empty(&self) -> bool {
        self.kept.is_empty()
    }

    /// Forgets all slices, as after a gap.
    pub fn clear(&mut self) {
        self.kept.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mean_and_extremes_of_the_last_slices() {
        let mut s = Slices::new(3);
        for x in [[0, 100], [10, 20], [20, 40], [-5, 5]] {
            let _ = s.push(&x);
        }
        let e = s.extent(2).expect("two slices");
        assert!((e.mean - 15.0).abs() < 1e-12);
        assert_eq!((e.low, e.high), (-5, 40));
        assert_eq!(s.extent(9).expect("three").high, 40);
    }
}
