//! The two levels of a sensor's switched output, followed while they move.
//!
//! The histogram finds them; from then on each is measured in the middle of the states themselves, so that a moving ground,
//! a supply that ripples and a warming pull-up are followed within some slices. Where no edge has come for a while, the
//! histogram is asked again.

use crate::edge::{Edge, Thresholds};
use crate::engine::EdgeKind;
use crate::level::{LevelFinder, Levels, thresholds};
use crate::ring::SampleRing;

/// Samples whose median is the level of a state: four spikes among them do no harm.
const PER_STATE: u64 = 9;
/// Weight of a newly measured level.
const WEIGHT: f64 = 0.5;
/// The part of a state that is measured: the edge's slope and ringing come before it.
const LATER: f64 = 0.6;
/// A level further than this from the known one, as a share of their distance, is a disturbance ...
const ASTRAY: f64 = 0.35;
/// ... unless it is found so many times in a row: a tenth of a second and more.
const PATIENCE: u32 = 20;
/// Slices without an edge after which the histogram is believed again: half a second.
const QUIET: u32 = 100;

/// The levels of one lead.
#[derive(Debug, Clone)]
pub struct Slicer {
    finder: LevelFinder,
    /// Low and high level in counts.
    levels: Option<[f64; 2]>,
    last: Option<Edge>,
    quiet: u32,
    /// Times in a row that a level was astray.
    astray: [u32; 2],
}

impl Slicer {
    /// Levels that `finder` finds first.
    pub fn new(finder: LevelFinder) -> Self {
        Self {
            finder,
            levels: None,
            last: None,
            quiet: QUIET,
            astray: [0; 2],
        }
    }

    /// Takes the samples of a slice and returns the thresholds for it.
    pub fn push(&mut self, samples: &[i16]) -> Option<Thresholds> {
        self.finder.push(samples);
        if self.quiet >= QUIET
            && let Levels::Two { low, high } = self.finder.levels()
        {
            self.levels = Some([low, high]);
        }
        self.levels.map(|[low, high]| thresholds(low, high))
    }

    /// Takes the edges found in that slice of `span` samples, which ended at index `end`, and measures the states between them.
    pub fn follow(&mut self, edges: &[Edge], ring: &SampleRing, end: u64, span: f64) {
        self.quiet = if edges.is_empty() {
            self.quiet.saturating_add(1)
        } else {
            0
        };
        // The last state of each kind is enough: levels move slowly against slices.
        let recent = &edges[edges.len().saturating_sub(3)..];
        for pair in recent.windows(2) {
            self.measure(pair[0], pair[1].at.0, span, ring);
        }
        if let (Some(before), [only]) = (self.last, edges) {
            self.measure(before, only.at.0, span, ring);
        }
        self.last = edges.last().copied().or(self.last);
        if let Some(edge) = self.last {
            self.measure(edge, end as f64, span, ring);
        }
    }

    /// Measures the later part of the state from `edge` to `to`, at most `span` of it.
    fn measure(&mut self, edge: Edge, to: f64, span: f64, ring: &SampleRing) {
        let Some(levels) = &mut self.levels else {
            return;
        };
        let lasted = to - edge.at.0;
        let (a, b) = (
            index(to - (LATER * lasted).min(span)) + 1,
            index(to).saturating_sub(1),
        );
        let Some(level) = ring.median(a, b, PER_STATE) else {
            return;
        };
        let apart = levels[1] - levels[0];
        let i = usize::from(edge.kind == EdgeKind::Rising);
        if (level - levels[i]).abs() < ASTRAY * apart {
            self.astray[i] = 0;
            levels[i] += WEIGHT * (level - levels[i]);
            return;
        }
        self.astray[i] += 1;
        // The new level must leave the two the right way round.
        let moved = if i == 0 {
            levels[1] - level
        } else {
            level - levels[0]
        };
        if self.astray[i] > PATIENCE && moved > ASTRAY * apart {
            self.astray[i] = 0;
            levels[i] = level;
        }
    }

    /// Low and high level in counts, once known.
    pub fn levels(&self) -> Option<[f64; 2]> {
        self.levels
    }

    /// Samples were lost: what came before is no state under way any more.
    pub fn gap(&mut self) {
        self.finder.gap();
        self.last = None;
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "sample times are not negative and far below 2^53"
)]
fn index(x: f64) -> u64 {
    x.max(0.0) as u64
}
