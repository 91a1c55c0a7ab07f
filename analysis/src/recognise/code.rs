//! Narrow and wide teeth: where one edge comes evenly and the other says which tooth it is.

use super::rhythm::median;
use crate::edge::Edge;
use crate::engine::EdgeKind;
use crate::wheel::{Wheel, Width};
use crate::wheel_table::PUBLISHED;

/// Two widths must lie at least so far apart, as parts of the pitch: a Hall sensor's own share of high and low varies
/// by a tenth either way (ATS645 data sheet: 43 to 63 %), and does so slowly.
const APART: f64 = 0.15;
/// Share of the teeth whose width may contradict the code: an extra edge spoils two.
const WRONG: f64 = 0.1;
/// Shortest and longest code. The shares of fewer teeth swing with the speed of a cranking engine.
const LENGTHS: std::ops::RangeInclusive<usize> = 12..=60;

/// A code that was read.
#[derive(Debug, Clone)]
pub(super) struct Code {
    /// The wheel.
    pub wheel: Wheel,
    /// Whether the table has it.
    pub is_known: bool,
    /// Teeth it rests on.
    pub teeth: usize,
}

/// Reads the widths of the teeth after each edge of `kind`.
pub(super) fn read(edges: &[Edge], kind: EdgeKind) -> Option<Code> {
    let shares = shares(edges, kind);
    if shares.len() < 2 * LENGTHS.start() {
        return None;
    }
    let (narrow, wide) = two_widths(&shares)?;
    let middle = 0.5 * (narrow + wide);
    let letters: Vec<Width> = (shares.iter())
        .map(|s| {
            if *s < middle {
                Width::Narrow
            } else {
                Width::Wide
            }
        })
        .collect();
    let length = LENGTHS
        .filter(|n| 2 * n <= letters.len())
        .find(|n| contradictions(&letters, *n) < WRONG)?;
    // The turn that the next one, or two, agree with best.
    let turns = (letters.len() / length).min(3);
    let from = (0..=letters.len() - turns * length).min_by_key(|&from| {
        (0..length)
            .filter(|i| (1..turns).any(|t| letters[from + i] != letters[from + i + t * length]))
            .count()
    })?;
    let turn = letters[from..from + length].to_vec();
    // A code that repeats within the turn is a swinging speed, or none.
    let repeats = |d: usize| (0..length).all(|i| turn[i] == turn[(i + d) % length]);
    if (1..length).any(|d| length.is_multiple_of(d) && repeats(d)) {
        return None;
    }
    let known = PUBLISHED.iter().find_map(|row| {
        let wheel = Wheel::parse(row.name).ok()?;
        let is_it = wheel.is_coded()
            && wheel.teeth() == length
            && (0..length).any(|k| {
                (0..length).all(|i| wheel.width(i) == turn.get((i + k) % length).copied())
            });
        is_it.then_some(wheel)
    });
    let is_known = known.is_some();
    let wheel = match known {
        Some(wheel) => wheel,
        None => Wheel::parse(&format!("{length} coded {}", written(&turn))).ok()?,
    };
    Some(Code {
        wheel,
        is_known,
        teeth: letters.len(),
    })
}

/// Share of each pitch from an edge of `kind` to the opposite one.
fn shares(edges: &[Edge], kind: EdgeKind) -> Vec<f64> {
    let pitches: Vec<f64> = {
        let active: Vec<f64> = (edges.iter())
            .filter(|e| e.kind == kind)
            .map(|e| e.at.0)
            .collect();
        active.windows(2).map(|w| w[1] - w[0]).collect()
    };
    let usual = median(pitches);
    let mut shares = Vec::new();
    for three in edges.windows(3) {
        let pitch = three[2].at.0 - three[0].at.0;
        if three[0].kind == kind && three[1].kind != kind && pitch > 0.3 * usual {
            shares.push((three[1].at.0 - three[0].at.0) / pitch);
        }
    }
    shares
}

/// The two widths there are, if there are two.
fn two_widths(shares: &[f64]) -> Option<(f64, f64)> {
    let (mut a, mut b) = shares
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(a, b), s| (a.min(*s), b.max(*s)));
    let (mut near, mut far) = (Vec::new(), Vec::new());
    for _ in 0..8 {
        (near, far) = shares
            .iter()
            .partition(|s| (**s - a).abs() < (**s - b).abs());
        if near.is_empty() || far.is_empty() {
            return None;
        }
        (a, b) = (median(near.clone()), median(far.clone()));
    }
    let spread = |of: &[f64], m: f64| median(of.iter().map(|s| (s - m).abs()).collect());
    let both = spread(&near, a) + spread(&far, b);
    // Both widths are in use, and stay apart: a code in which one stands alone says less than a gap.
    let least = near.len().min(far.len());
    (b - a > APART.max(4.0 * both) && 5 * least > shares.len()).then_some((a, b))
}

/// Share of letters that differ from those one turn later.
fn contradictions(letters: &[Width], n: usize) -> f64 {
    let pairs = letters.len() - n;
    let differ = (letters.iter().zip(&letters[n..]))
        .filter(|(a, b)| a != b)
        .count();
    differ as f64 / pairs as f64
}

/// Letters from the beginning of the longest run of narrow ones, so that the same wheel is always written alike.
fn written(turn: &[Width]) -> String {
    let n = turn.len();
    let text = |k: usize| -> String {
        (0..n)
            .map(|i| match turn[(i + k) % n] {
                Width::Narrow => 'n',
                Width::Wide => 'w',
            })
            .collect()
    };
    (0..n).map(text).min().unwrap_or_default()
}
