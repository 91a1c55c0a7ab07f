//! Watches one cam come to rest: each time it does so is a look, and only looks between which the cam was driven away
//! show that it comes back to the same place.

use crate::repeats::{Repeats, ends, student};
use std::collections::VecDeque;

/// Rest must have been commanded for this long: a warm phaser is home from full travel by then (50 degrees at 40 a
/// second and more); a slower one still moves and is caught by the stillness below.
const REST_TIME: f64 = 1.2;
/// And the phase must have stayed within this for [`STILL_FOR`], crank degrees and seconds. A narrower band sees
/// nothing on an engine that shakes at idle; in a wider one oil that creeps home at a degree a second would stand still.
const STILL: f64 = 0.75;
const STILL_FOR: f64 = 1.0;
/// The same at the starter, where every compression twists chain and crank.
const STILL_CRANKING: f64 = 2.5;
/// Cam revolutions that make a look, running and at the starter.
const LEAST: usize = 5;
const LEAST_CRANKING: usize = 3;
/// Cam revolutions in a look at most: some six seconds at idle. More would only smear what creeps.
const MOST: usize = 40;
/// Motion between two looks that makes the second one of its own, crank degrees: well above any play at rest.
const DRIVEN: f64 = 5.0;
/// Looks kept.
const KEPT: usize = 12;
/// Looks that differ by no more than this agree, crank degrees: lock pins have play, chains hang differently
/// (from memory); a tooth is 14 degrees and more.
const AGREE: f64 = 1.5;
/// What one edge may be off by whatever the wheel, crank degrees: falling edge of a Hall sensor (Allegro ATS673 data
/// sheet: 1.2 degrees of the cam). Bounds what a few edges would make of their own spread.
const EDGE: f64 = 2.4;
/// What the uneven speed at the starter adds, crank degrees: half a tooth of 60 on either side of an edge, over which
/// the speed may swing by a third. More would leave a tooth of 50 undecided, less rests on a smooth starter.
const CRANKING: f64 = 3.0;

/// What is seen of a cam at one instant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Seconds.
    pub at: f64,
    pub rpm: f64,
    pub cranking: bool,
    /// Mean phase of the last cam revolution.
    pub phase: f64,
    /// Standard deviation of the edges about it: of what was learnt of them, else as they are.
    pub spread: f64,
    /// Whether its command lets it rest.
    pub at_rest: bool,
}

/// One look at rest.
#[derive(Debug, Clone)]
struct Look {
    phases: Vec<f64>,
    spread: f64,
    cranking: bool,
    taken: f64,
}

impl Look {
    fn is_whole(&self) -> bool {
        let least = if self.cranking { LEAST_CRANKING } else { LEAST };
        self.phases.len() >= least
    }

    fn mean(&self) -> f64 {
        Repeats::of(&self.phases).map_or(0.0, |r| r.mean)
    }

    /// Half the way from its first to its second half: what still moved.
    fn motion(&self) -> f64 {
        let (first, second) = self.phases.split_at(self.phases.len() / 2);
        match (Repeats::of(first), Repeats::of(second)) {
            (Some(a), Some(b)) => 0.5 * (b.mean - a.mean).abs(),
            _ => 0.0,
        }
    }
}

/// Where a cam rests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rest {
    pub offset: f64,
    /// Half width of its 95 % range, the tolerance of the reference not included.
    pub half: f64,
    /// The same without what its edges disagree with the pattern of the sheet: how well the place itself is known.
    pub place: f64,
    /// Looks that agree with the newest, it included.
    pub looks: usize,
    /// Where it rested before, if that was elsewhere.
    pub elsewhere: Option<[f64; 2]>,
    pub cranking: bool,
}

/// The watch on one cam.
#[derive(Debug, Clone)]
pub(super) struct RestWatch {
    edges: usize,
    track: VecDeque<(f64, f64)>,
    rest_since: Option<f64>,
    looks: VecDeque<Look>,
    /// Whether the newest look goes on.
    open: bool,
    /// Whether it was driven away since.
    driven: bool,
}

impl RestWatch {
    /// Of a cam with so many edges in a revolution.
    pub fn new(edges: usize) -> Self {
        Self {
            edges,
            track: VecDeque::new(),
            rest_since: None,
            looks: VecDeque::new(),
            open: false,
            driven: true,
        }
    }

    /// Nothing can be seen now.
    pub fn pause(&mut self) {
        self.track.clear();
        self.rest_since = None;
        self.open = false;
    }

    pub fn look(&mut self, seen: &Seen) {
        let now = seen.at;
        self.track.push_back((now, seen.phase));
        while self.track.front().is_some_and(|p| now - p.0 > STILL_FOR) {
            let _ = self.track.pop_front();
        }
        let away = (self.looks.back()).is_some_and(|l| (seen.phase - l.mean()).abs() > DRIVEN);
        if !seen.at_rest {
            self.rest_since = None;
            self.open = false;
            self.driven |= away;
            return;
        }
        let since = *self.rest_since.get_or_insert(now);
        if now - since < REST_TIME + STILL_FOR || !self.is_still(now, seen.cranking) {
            self.open = false;
            return;
        }
        self.take(seen, away);
    }

    fn is_still(&self, now: f64, cranking: bool) -> bool {
        let covered = (self.track.front()).is_some_and(|p| now - p.0 > 0.8 * STILL_FOR);
        let most = if cranking { STILL_CRANKING } else { STILL };
        let ends = ends(self.track.iter().map(|p| p.1));
        covered && ends.is_some_and(|[low, high]| high - low <= most)
    }

    /// One phase for each cam revolution: it is a mean over the last.
    fn take(&mut self, seen: &Seen, away: bool) {
        // Another place without having been driven there is a look of its own as well: a chain may have jumped.
        let fresh = self.driven || away || self.looks.is_empty();
        // What was seen at the starter gives way to what is seen running.
        let better = (self.looks.back()).is_some_and(|l| l.cranking && !seen.cranking);
        if fresh || better {
            if better {
                self.looks.retain(|l| !l.cranking);
            }
            if self.looks.len() == KEPT {
                let _ = self.looks.pop_front();
            }
            self.looks.push_back(Look {
                phases: Vec::new(),
                spread: 0.0,
                cranking: seen.cranking,
                taken: f64::NEG_INFINITY,
            });
            self.driven = false;
        }
        self.open = true;
        let Some(look) = self.looks.back_mut() else {
            return;
        };
        if look.cranking != seen.cranking || seen.at - look.taken < 120.0 / seen.rpm.max(1.0) {
            return;
        }
        look.taken = seen.at;
        look.spread = seen.spread;
        if look.phases.len() == MOST {
            let _ = look.phases.remove(0);
        }
        look.phases.push(seen.phase);
    }

    /// Whether it rests now, the engine running.
    pub fn is_resting(&self) -> bool {
        self.open && self.looks.back().is_some_and(|l| !l.cranking)
    }

    /// Where it rests, once a look is whole.
    pub fn rest(&self) -> Option<Rest> {
        let whole: Vec<&Look> = self.looks.iter().filter(|l| l.is_whole()).collect();
        let newest = *whole.last()?;
        let about = newest.mean();
        let run = (whole.iter().rev())
            .take_while(|l| (l.mean() - about).abs() <= AGREE)
            .count();
        let (before, run) = whole.split_at(whole.len() - run);
        let means: Vec<f64> = run.iter().map(|l| l.mean()).collect();
        let repeats = Repeats::of(&means)?;
        // Three looks and more tell by themselves how well it comes back; fewer are known from within.
        let scatter = match repeats.half_width().filter(|_| means.len() > 2) {
            Some(half) => half,
            None => {
                let within = Repeats::of(&newest.phases).and_then(|r| r.half_width());
                let apart = ends(means.iter().copied()).map_or(0.0, |[a, b]| 0.5 * (b - a));
                within.unwrap_or(EDGE).max(apart)
            }
        };
        let n = (0..self.edges).map(|_| 1.0).sum::<f64>().max(1.0);
        let edges = student(self.edges.saturating_sub(1)) * newest.spread / n.sqrt();
        let edges = edges.min(EDGE);
        let starter = if newest.cranking { CRANKING } else { 0.0 };
        let place = scatter.hypot(newest.motion()).hypot(starter);
        Some(Rest {
            offset: repeats.mean,
            half: place.hypot(edges),
            place,
            looks: run.len(),
            elsewhere: ends(before.iter().map(|l| l.mean())),
            cranking: newest.cranking,
        })
    }
}
