//! Cycles as they are found, of which only so many are kept, evenly spread.

use std::collections::VecDeque;

/// Latest cycles that may still be replaced: the analysis gives up to six once more when it has found out
/// which revolution is which.
const OPEN: usize = 16;

/// A complete cycle.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// The stream.
    pub generation: u64,
    /// Seconds since the start of the recording.
    pub begin: f64,
    pub end: f64,
    pub is_known: bool,
    /// Instants of the bounds of the columns, in samples of the stream.
    pub times: Vec<f64>,
}

/// Of all that were pushed every first, second, fourth, eighth ..., never more than twice as many as wanted.
#[derive(Debug, Clone)]
pub(super) struct Thinned {
    most: usize,
    stride: usize,
    /// Cycles pushed.
    seen: usize,
    /// Seconds they cover together.
    covered: f64,
    kept: VecDeque<(usize, Found)>,
    /// Begin and end of the latest.
    open: VecDeque<(f64, f64)>,
    /// Seconds of the longest.
    longest: f64,
}

impl Thinned {
    pub fn new(most: usize) -> Self {
        Self {
            most,
            stride: 1,
            seen: 0,
            covered: 0.0,
            kept: VecDeque::new(),
            open: VecDeque::new(),
            longest: 0.0,
        }
    }

    /// Takes a cycle; those that reach into it were known less well and go.
    pub fn push(&mut self, cycle: Found) {
        self.remove_from(cycle.begin);
        let (begin, end) = (cycle.begin, cycle.end);
        if self.seen.is_multiple_of(self.stride) {
            self.kept.push_back((self.seen, cycle));
        }
        self.seen += 1;
        self.covered += end - begin;
        self.longest = self.longest.max(end - begin);
        self.open.push_back((begin, end));
        if self.open.len() > OPEN {
            let _ = self.open.pop_front();
        }
        if self.kept.len() > 2 * self.most {
            self.stride *= 2;
            self.kept.retain(|(n, _)| n.is_multiple_of(self.stride));
        }
    }

    /// Takes back the latest cycles that reach beyond an instant.
    pub fn remove_from(&mut self, instant: f64) {
        // A cycle ends where the next begins but for rounding.
        while let Some(&(begin, end)) = self.open.back()
            && end > instant + 0.01 * (end - begin)
        {
            let _ = self.open.pop_back();
            self.seen -= 1;
            self.covered -= end - begin;
        }
        while self.kept.back().is_some_and(|(n, _)| *n >= self.seen) {
            let _ = self.kept.pop_back();
        }
    }

    pub fn seen(&self) -> usize {
        self.seen
    }

    pub fn covered(&self) -> f64 {
        self.covered
    }

    pub fn longest(&self) -> f64 {
        self.longest
    }

    /// At most as many as wanted, from the first to the last that were kept.
    pub fn chosen(self) -> Vec<Found> {
        let count = self.kept.len();
        if count <= self.most {
            return self.kept.into_iter().map(|(_, c)| c).collect();
        }
        let mut wanted = (0..self.most)
            .map(|i| (2 * i * (count - 1) + self.most.max(2) - 1) / (2 * (self.most.max(2) - 1)))
            .peekable();
        let mut chosen = Vec::with_capacity(self.most);
        for (place, (_, cycle)) in self.kept.into_iter().enumerate() {
            if wanted.next_if_eq(&place).is_some() {
                chosen.push(cycle);
            }
        }
        chosen
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cycle(begin: f64) -> Found {
        Found {
            generation: 0,
            begin,
            end: begin + 1.0,
            is_known: true,
            times: Vec::new(),
        }
    }

    #[test]
    fn of_many_as_many_as_wanted_are_chosen_from_begin_to_end() {
        for (seen, most) in [
            (10, 1),
            (10, 3),
            (7, 7),
            (1000, 10),
            (999, 64),
            (130, 64),
            (2, 5),
        ] {
            let mut thinned = Thinned::new(most);
            for n in 0..seen {
                thinned.push(cycle(f64::from(n)));
                assert!(thinned.kept.len() <= 2 * most + 1);
            }
            let chosen: Vec<f64> = thinned.chosen().iter().map(|c| c.begin).collect();
            let wanted = most.min(usize::try_from(seen).expect("few"));
            assert_eq!(chosen.len(), wanted, "{most} of {seen}: {chosen:?}");
            if wanted > 1 {
                let even = f64::from(seen) / wanted as f64;
                for pair in chosen.windows(2) {
                    let step = pair[1] - pair[0];
                    assert!(step >= 1.0 && step < 2.0 * even + 1.0, "{chosen:?}");
                }
                assert!(chosen[0] < 0.5 && f64::from(seen) - chosen[wanted - 1] <= 2.0 * even);
            }
        }
    }

    #[test]
    fn a_cycle_that_is_known_better_replaces_what_it_overlaps() {
        let mut thinned = Thinned::new(4);
        for n in 0..20 {
            thinned.push(cycle(f64::from(n)));
        }
        thinned.push(cycle(16.5));
        assert_eq!(thinned.seen(), 17);
        assert!((thinned.covered() - 17.0).abs() < 1e-9);
        let chosen = thinned.chosen();
        assert!(chosen.windows(2).all(|w| w[1].begin >= w[0].end));
        assert!(chosen.last().is_some_and(|c| c.begin < 17.0));
    }
}
