//! Edges against the truth: missed, extra, and how far off in crank degrees.

use crate::motion::Motion;
use keyway_analysis::edge::Edge;
use keyway_analysis::engine::EdgeKind;

/// A true edge.
#[derive(Debug, Clone, Copy)]
pub struct True {
    pub seconds: f64,
    pub kind: EdgeKind,
}

/// What became of the true edges of one row.
#[derive(Debug, Clone, Copy, Default)]
pub struct Score {
    pub edges: usize,
    pub missed: usize,
    pub extra: usize,
    /// Worst error, degrees.
    pub worst: f64,
    /// Mean error and standard deviation about it.
    pub mean: f64,
    pub rms: f64,
}

/// Compares from `from` seconds on to `to`. An edge belongs to the nearest true one of its kind within half the way to the next.
pub fn score(
    truth: &[True],
    found: &[Edge],
    rate: f64,
    motion: &Motion,
    from: f64,
    to: f64,
) -> Score {
    let mut out = Score::default();
    let (mut sum, mut squares) = (0.0, 0.0);
    for kind in [EdgeKind::Rising, EdgeKind::Falling] {
        let truth: Vec<f64> = truth
            .iter()
            .filter(|t| t.kind == kind)
            .map(|t| t.seconds)
            .collect();
        let found: Vec<f64> = found
            .iter()
            .filter(|e| e.kind == kind)
            .map(|e| e.at.0 / rate)
            .collect();
        if truth.is_empty() {
            out.extra += found.iter().filter(|&&t| t >= from && t < to).count();
            continue;
        }
        let mut hits = vec![Vec::new(); truth.len()];
        for &t in &found {
            let next = truth.partition_point(|&x| x < t);
            let near = match (next.checked_sub(1), truth.get(next)) {
                (Some(i), Some(&after)) if t - truth[i] < after - t => i,
                (Some(i), None) => i,
                _ => next,
            };
            hits[near].push(t);
        }
        for (&t, hits) in truth.iter().zip(&hits) {
            if t < from || t >= to {
                continue;
            }
            out.edges += 1;
            let Some(&best) = hits
                .iter()
                .min_by(|a, b| (*a - t).abs().total_cmp(&(*b - t).abs()))
            else {
                out.missed += 1;
                continue;
            };
            out.extra += hits.len() - 1;
            let degrees = (best - t) * 6.0 * motion.rpm_at(t);
            out.worst = out.worst.max(degrees.abs());
            sum += degrees;
            squares += degrees * degrees;
        }
    }
    let n = (out.edges - out.missed).max(1) as f64;
    out.mean = sum / n;
    out.rms = (squares / n - out.mean * out.mean).max(0.0).sqrt();
    out
}
