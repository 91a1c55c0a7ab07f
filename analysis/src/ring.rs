//! The last second or so of raw samples of one lead, addressed by their index in the stream.

use crate::extremes::extremes;
use std::collections::VecDeque;

/// Raw samples by stream index. Only consecutive samples are kept in one piece: a gap starts a new piece.
#[derive(Debug, Clone)]
pub struct SampleRing {
    data: Vec<i16>,
    pieces: VecDeque<Piece>,
    /// Samples ever written.
    written: u64,
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    first: u64,
    end: u64,
    /// Value of `written` at `first`.
    place: u64,
}

impl SampleRing {
    /// Room for `capacity` samples.
    pub fn new(capacity: usize) -> Self {
        Self {
            data: vec![0; capacity.max(1)],
            pieces: VecDeque::new(),
            written: 0,
        }
    }

    /// Appends consecutive samples, the first of which has index `first`.
    pub fn push(&mut self, first: u64, samples: &[i16]) {
        let capacity = self.data.len();
        match self.pieces.back_mut() {
            Some(piece) if piece.end == first => piece.end += samples.len() as u64,
            _ => self.pieces.push_back(Piece {
                first,
                end: first + samples.len() as u64,
                place: self.written,
            }),
        }
        let mut rest = samples;
        while !rest.is_empty() {
            let at = slot(self.written, capacity);
            let n = rest.len().min(capacity - at);
            self.data[at..at + n].copy_from_slice(&rest[..n]);
            self.written += n as u64;
            rest = &rest[n..];
        }
        let oldest = self.written.saturating_sub(capacity as u64);
        while let Some(piece) = self.pieces.front_mut() {
            let lost = oldest.saturating_sub(piece.place);
            if piece.first + lost >= piece.end {
                let _ = self.pieces.pop_front();
            } else {
                piece.first += lost;
                piece.place += lost;
                break;
            }
        }
    }

    /// Index after the last sample.
    pub fn end(&self) -> u64 {
        self.pieces.back().map_or(0, |p| p.end)
    }

    /// Calls `visit` with each run of stored samples in `[from, to)`, oldest first.
    pub fn visit(&self, from: u64, to: u64, mut visit: impl FnMut(u64, &[i16])) {
        let capacity = self.data.len();
        for piece in &self.pieces {
            let (mut a, b) = (from.max(piece.first), to.min(piece.end));
            while a < b {
                let at = slot(piece.place + (a - piece.first), capacity);
                let n = offset(b - a).min(capacity - at);
                visit(a, &self.data[at..at + n]);
                a += n as u64;
            }
        }
    }

    /// Lowest and highest sample of each column, from one of the ascending `bounds` to the next; `None` where none is stored.
    /// One walk over all: what is stored is found once and not per column.
    pub fn columns(&self, bounds: &[u64]) -> Vec<Option<[i16; 2]>> {
        let mut out: Vec<Option<[i16; 2]>> = vec![None; bounds.len().saturating_sub(1)];
        let (Some(&from), Some(&to)) = (bounds.first(), bounds.last()) else {
            return out;
        };
        let mut column = 0;
        self.visit(from, to, |first, samples| {
            let mut rest = samples;
            let mut at = first;
            while !rest.is_empty() {
                while bounds[column + 1] <= at {
                    column += 1;
                }
                let n = rest.len().min(offset(bounds[column + 1] - at));
                let (part, after) = rest.split_at(n);
                let (low, high) = extremes(part);
                out[column] =
                    Some(out[column].map_or([low, high], |[a, b]| [a.min(low), b.max(high)]));
                at += n as u64;
                rest = after;
            }
        });
        out
    }

    /// Mean and half spread of at most `most` samples spread over `[from, to)`; `None` when one of them is not stored.
    pub fn sampled(&self, from: u64, to: u64, most: u64) -> Option<(f64, f64)> {
        let piece = self.pieces.iter().rev().find(|p| p.first <= from)?;
        if to <= from || to > piece.end {
            return None;
        }
        let stride = (to - from).div_ceil(most.max(1));
        let (mut sum, mut n, mut low, mut high) = (0.0, 0.0, i16::MAX, i16::MIN);
        let mut i = from;
        while i < to {
            let x = self.data[slot(piece.place + (i - piece.first), self.data.len())];
            sum += f64::from(x);
            n += 1.0;
            low = low.min(x);
            high = high.max(x);
            i += stride;
        }
        Some((sum / n, 0.5 * (f64::from(high) - f64::from(low))))
    }

    /// Median of at most `most` (at most 9) samples spread over `[from, to)`; `None` when one of them is not stored.
    pub fn median(&self, from: u64, to: u64, most: u64) -> Option<f64> {
        let piece = self.pieces.iter().rev().find(|p| p.first <= from)?;
        if to <= from || to > piece.end {
            return None;
        }
        let stride = (to - from).div_ceil(most.clamp(1, 9));
        let (mut taken, mut n) = ([0; 9], 0);
        let mut i = from;
        while i < to {
            taken[n] = self.data[slot(piece.place + (i - piece.first), self.data.len())];
            n += 1;
            i += stride;
        }
        let taken = &mut taken[..n];
        taken.sort_unstable();
        let (a, b) = (taken[(n - 1) / 2], taken[n / 2]);
        Some(0.5 * (f64::from(a) + f64::from(b)))
    }
}

fn offset(x: u64) -> usize {
    usize::try_from(x).unwrap_or(usize::MAX)
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a remainder of a usize fits one"
)]
fn slot(place: u64, capacity: usize) -> usize {
    (place % capacity as u64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_the_newest_and_knows_its_gaps() {
        let mut ring = SampleRing::new(10);
        ring.push(100, &[1, 2, 3, 4, 5, 6]);
        ring.push(200, &[7, 8, 9, 10, 11, 12]);
        let columns = ring.columns(&[0, 106, 106, 150, 201, 204, 204, 1000]);
        let full = |a, b| Some([a, b]);
        let expected = [
            full(3, 6),
            None,
            None,
            full(7, 7),
            full(8, 10),
            None,
            full(11, 12),
        ];
        assert_eq!(columns, expected);
        assert_eq!(ring.sampled(201, 204, 8), Some((9.0, 1.0)));
        assert_eq!(ring.sampled(199, 204, 8), None);
        assert_eq!(ring.median(200, 205, 9), Some(9.0));
        assert_eq!(ring.median(200, 206, 2), Some(8.5));
        assert_eq!(ring.median(199, 204, 9), None);
    }
}
