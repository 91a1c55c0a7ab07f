//! Edges of one direction as a rhythm: logarithms of consecutive intervals, after how many they repeat, and one turn
//! of them.

use crate::edge::Edge;

/// An interval shorter than this part of its neighbours' median is a doubled edge or a spike: published wheels go
/// down to a half (an added tooth).
const GLITCH: f64 = 0.2;
/// More than this share of such intervals belongs to the wheel; one doubled edge on seven teeth does not.
const RARE: f64 = 0.15;
/// Intervals on either side that make the neighbourhood.
const NEAR: usize = 4;
/// Most intervals after which a wheel can repeat: teeth of a production timing unit (Freescale AN3769).
const LONGEST: usize = 255;
/// A difference of two logarithms counts at most so much: the logarithm of two, for a tooth more or less.
const CAP: f64 = 0.7;
/// A shorter repeat does as well as a multiple of it if it differs by no more than this factor and this much more:
/// two turns may differ by half orders of the engine.
const AS_WELL: f64 = 1.5;
const SLIGHT: f64 = 0.01;

/// A rhythm.
#[derive(Debug, Clone, Default)]
pub(super) struct Rhythm {
    /// Instants of the edges, samples.
    pub at: Vec<f64>,
    /// Logarithms of the intervals between them, in samples.
    pub y: Vec<f64>,
}

impl Rhythm {
    pub fn of(edges: impl Iterator<Item = Edge>) -> Self {
        let mut at: Vec<f64> = edges.map(|e| e.at.0).collect();
        let intervals: Vec<f64> = at.windows(2).map(|w| w[1] - w[0]).collect();
        let short: Vec<usize> = (0..intervals.len())
            .filter(|&i| intervals[i] < GLITCH * local_median(&intervals, i))
            .collect();
        if (short.len() as f64) < RARE * intervals.len() as f64 {
            // The first edge of a doubled one is kept.
            for i in short.iter().rev() {
                let _ = at.remove(i + 1);
            }
        }
        let y = (at.windows(2))
            .map(|w| (w[1] - w[0]).max(1e-3).ln())
            .collect();
        Self { at, y }
    }

    /// Numbers of intervals after which it may repeat, best first; no multiples of one that does as well.
    pub fn repeats(&self, most: usize) -> Vec<usize> {
        let step: Vec<f64> = self.y.windows(2).map(|w| w[1] - w[0]).collect();
        let mismatch: Vec<f64> = (1..=LONGEST.min(self.y.len() / 2))
            .map(|n| mismatch(&step, n))
            .collect();
        let mut ranked: Vec<usize> = (1..=mismatch.len())
            .filter(|n| {
                !(1..=n / 2).any(|d| {
                    n.is_multiple_of(d) && mismatch[d - 1] <= AS_WELL * mismatch[n - 1] + SLIGHT
                })
            })
            .collect();
        ranked.sort_by(|a, b| mismatch[a - 1].total_cmp(&mismatch[b - 1]));
        ranked.truncate(most);
        ranked
    }

    /// One turn of `n` intervals as logarithms about their mean: the mean of the two consecutive turns that agree
    /// best. The second value is how far they disagree, as a part of an interval.
    pub fn turn(&self, n: usize) -> Option<(Vec<f64>, f64)> {
        let centred = |from: usize| -> Vec<f64> {
            let y = &self.y[from..from + n];
            let mean = y.iter().sum::<f64>() / n as f64;
            y.iter().map(|y| y - mean).collect()
        };
        let last = self.y.len().checked_sub(2 * n)?;
        let stride = (n / 4).max(1);
        let mut best: Option<(Vec<f64>, f64)> = None;
        for from in (0..=last).step_by(stride) {
            let (a, b) = (centred(from), centred(from + n));
            let squares: f64 = a.iter().zip(&b).map(|(a, b)| (a - b).powi(2)).sum();
            let differ = (squares / (2.0 * n as f64)).sqrt();
            if best.as_ref().is_none_or(|(_, d)| differ < *d) {
                let mean = a.iter().zip(&b).map(|(a, b)| 0.5 * (a + b)).collect();
                best = Some((mean, differ));
            }
        }
        best
    }
}

/// Mean difference of the steps from interval to interval to those `n` later.
fn mismatch(step: &[f64], n: usize) -> f64 {
    let pairs = step.len().saturating_sub(n).max(1);
    step.iter()
        .zip(step.iter().skip(n))
        .map(|(a, b)| (a - b).abs().min(CAP))
        .sum::<f64>()
        / pairs as f64
}

/// Median of the values around number `i`.
pub(super) fn local_median(values: &[f64], i: usize) -> f64 {
    let from = i.saturating_sub(NEAR);
    let to = (i + NEAR + 1).min(values.len());
    median(values[from..to].to_vec())
}

/// The middle of some values, the lower of two.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values
        .get(values.len().saturating_sub(1) / 2)
        .copied()
        .unwrap_or(f64::NAN)
}
