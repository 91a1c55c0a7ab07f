//! One cam: its edges in crank angle, each matched with the reference, and the phase they give.

use crate::cycle::{Cycle, Verdict};
use crate::drift::DriftWatch;
use crate::edge::Edge;
use crate::engine::{CamSheet, EdgeKind};
use crate::pattern::{Belief, Pattern, PatternEdge, wrap};
use crate::runout::Runout;
use std::collections::VecDeque;

mod figures;

/// Crank degrees without a matched edge after which a phase is stale: 1.5 cam revolutions.
const STALE_AFTER: f64 = 1.5 * 720.0;
/// And after which it is no longer known: 3 cam revolutions.
const MISSING_AFTER: f64 = 3.0 * 720.0;
/// Seconds for which the last phase is still shown, as stale, when the crank pattern is lost.
const REMEMBERED: f64 = 1.0;
/// Farthest from the phase before that an edge is believed: a fast phaser (150 degrees per second)
/// moves 25 degrees in a cam revolution at 700 rpm.
const REACH: f64 = 25.0;
/// Farthest from it that the edges of a standing cam are believed: the windows' own angles may be off by
/// several degrees from the sheet's, most of all where the sheet is not of a known-good engine.
const STANDING_REACH: f64 = 10.0;
/// What motion adds to that, crank degrees per second: well above the fastest phasers.
const FASTEST: f64 = 250.0;
/// Widest pulse that is taken for a spike, crank degrees: a quarter of the narrowest window, at most this.
/// The narrowest window in use is some ten degrees (from memory); a wider bound would take a chattering edge
/// for a spike as well, a narrower one misses spikes that the input filter has widened.
const SPIKE: f64 = 2.0;
/// A reference edge comes once in 720 degrees; a second within this is another edge.
const AGAIN: f64 = 360.0;
/// A phaser at rest is steady when the mean phase of its revolutions stays within this, crank degrees, for the
/// time below, seconds: one that still creeps home at 8 degrees a second (cold oil) leaves it at once. A narrower
/// band would learn nothing from an engine that shakes at idle.
const STEADY: f64 = 0.5;
const STEADY_FOR: f64 = 1.0;
/// Edges held at most; a cam has no more than some twenty in a revolution, the rest is noise.
const MOST_EDGES: usize = 96;
/// Edges that wait for the crank at most: a block of a few seconds at full speed.
const MOST_WAITING: usize = 8192;

/// A cam edge in crank degrees.
#[derive(Debug, Clone, Copy)]
struct CamEdge {
    at: f64,
    /// In the crank's own count, in which the revolution of the cycle is not known.
    angle: f64,
    kind: EdgeKind,
    /// Reference edge and phase.
    matched: Option<(usize, f64)>,
    /// Phase that was expected before it.
    expected: f64,
}

/// What became of an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Matched {
    /// It is this reference edge, at this phase.
    Reference(usize, f64),
    /// The same, and an edge that had been taken for it before was stray.
    Instead(usize, f64),
    /// It fits none.
    Stray,
    /// Not known yet.
    Unknown,
}

/// What a cam revolution says.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Heard {
    /// Every edge was where it had to be.
    AsExpected,
    /// It had to be looked at in full.
    Fits(Verdict),
}

/// The tracker of one cam.
#[derive(Debug, Clone)]
pub(crate) struct Cam {
    pattern: Pattern,
    /// Half the smallest distance between two reference edges of a kind, at most [`REACH`].
    reach: f64,
    spike: f64,
    /// Whether the phaser is known to be at rest.
    at_rest: bool,
    rate: f64,
    waiting: VecDeque<Edge>,
    edges: VecDeque<CamEdge>,
    /// Phase about which the next edges are expected, and the time of the edge that told.
    about: Option<(f64, f64)>,
    /// Angle from which the next whole cam revolution counts.
    since: Option<f64>,
    mismatch: bool,
    judged: bool,
    /// Last phase and its time, kept when the crank is lost.
    last: Option<(f64, f64)>,
    /// Whether the phaser has been at rest throughout this revolution.
    rested: bool,
    /// When the phase at rest became steady, and about what.
    steady: Option<(f64, f64)>,
    runout: Runout,
    drift: DriftWatch,
}

impl Cam {
    pub fn new(sheet: &CamSheet, rate: f64) -> Self {
        let pattern = Pattern::new(sheet);
        let [like, any] = pattern.closest();
        let runout = Runout::new(pattern.edges.iter().map(|e| e.kind));
        Self {
            reach: REACH.min(0.45 * like),
            spike: SPIKE.min(0.25 * any),
            at_rest: sheet.phaser.is_none(),
            pattern,
            rate,
            waiting: VecDeque::new(),
            edges: VecDeque::new(),
            about: None,
            since: None,
            mismatch: false,
            judged: false,
            last: None,
            rested: false,
            steady: None,
            runout,
            drift: DriftWatch::new(rate, sheet.sprocket_teeth.map(|n| 720.0 / f64::from(n))),
        }
    }

    /// Keeps an edge until the crank angle at it is known.
    pub fn wait(&mut self, edge: Edge) {
        if self.waiting.len() == MOST_WAITING {
            let _ = self.waiting.pop_front();
        }
        if edge.at.0.is_finite() {
            self.waiting.push_back(edge);
        }
    }

    pub fn next_waiting(&self) -> Option<Edge> {
        self.waiting.front().copied()
    }

    /// Crank degrees after an edge that must have been seen before it can be dealt with.
    pub fn look_ahead(&self) -> f64 {
        self.spike
    }

    /// Says whether the phaser is known to be at rest.
    pub fn set_at_rest(&mut self, at_rest: bool) {
        self.at_rest = at_rest;
        self.rested &= at_rest;
    }

    /// Takes the next edge away if it and `edge` before it are a spike: too near for a window.
    pub fn is_spike(
        &mut self,
        edge: Edge,
        angle: f64,
        angle_at: impl Fn(f64) -> Option<f64>,
    ) -> bool {
        let ends = self.next_waiting().filter(|next| next.kind != edge.kind);
        let spike = ends
            .and_then(|next| angle_at(next.at.0))
            .is_some_and(|end| end - angle < self.spike);
        if spike {
            let _ = self.waiting.pop_front();
        }
        spike
    }

    pub fn take_waiting(&mut self) -> Option<Edge> {
        self.waiting.pop_front()
    }

    /// The crank count began anew at `angle`: earlier angles mean nothing now.
    pub fn recount(&mut self, angle: f64) {
        self.edges.clear();
        self.about = None;
        self.since = Some(angle);
        self.steady = None;
        self.judged = false;
        self.mismatch = false;
    }

    /// Forgets what was not measured after a loss of samples.
    pub fn gap(&mut self) {
        self.waiting.clear();
        self.recount(0.0);
        self.since = None;
    }

    /// Takes an edge at an angle of the crank's count; `offset` leads to the cycle.
    pub fn take(&mut self, edge: Edge, angle: f64, offset: Option<f64>) -> Matched {
        if self.edges.len() == MOST_EDGES {
            let _ = self.edges.pop_front();
        }
        let expected = self.about.map_or(0.0, |(about, _)| about);
        let matched = self.matching(edge, angle, offset);
        self.edges.push_back(CamEdge {
            at: edge.at.0,
            angle,
            kind: edge.kind,
            expected,
            matched: match matched {
                Matched::Reference(reference, phase) | Matched::Instead(reference, phase) => {
                    Some((reference, phase))
                }
                Matched::Stray | Matched::Unknown => None,
            },
        });
        while self
            .edges
            .front()
            .is_some_and(|e| e.angle <= angle - MISSING_AFTER)
        {
            let _ = self.edges.pop_front();
        }
        if let Matched::Reference(..) | Matched::Instead(..) = matched {
            self.last = self.mean().map(|m| (m, edge.at.0));
        }
        matched
    }

    fn matching(&mut self, edge: Edge, angle: f64, offset: Option<f64>) -> Matched {
        let (Some(offset), Some((about, told))) = (offset, self.about) else {
            return Matched::Unknown;
        };
        let moved = FASTEST * (edge.at.0 - told).max(0.0) / self.rate;
        let reach = (STANDING_REACH + moved).min(self.reach);
        let Some((reference, phase)) = self.match_edge(edge.kind, angle + offset, about, reach)
        else {
            return Matched::Stray;
        };
        // Of two edges for one reference edge the nearer to what was expected before either is it.
        let rival = self.edges.iter_mut().rev().find(|e| {
            angle - e.angle < AGAIN && e.matched.is_some_and(|(other, _)| other == reference)
        });
        let (mut expected, is_instead) = (about, rival.is_some());
        if let Some(rival) = rival {
            expected = rival.expected;
            let off = |phase: f64| wrap(phase - expected).abs();
            if rival
                .matched
                .is_some_and(|(_, other)| off(other) <= off(phase))
            {
                return Matched::Stray;
            }
            rival.matched = None;
        }
        // Half of the way: one edge that is a little off must not move the expectation far.
        self.about = Some((expected + 0.5 * wrap(phase - expected), edge.at.0));
        if is_instead {
            Matched::Instead(reference, phase)
        } else {
            Matched::Reference(reference, phase)
        }
    }

    fn match_edge(
        &self,
        kind: EdgeKind,
        cycle_angle: f64,
        about: f64,
        reach: f64,
    ) -> Option<(usize, f64)> {
        let (i, phase) = self
            .pattern
            .edges
            .iter()
            .enumerate()
            .filter(|(_, r)| r.kind == kind)
            .map(|(i, r)| (i, wrap(r.angle - cycle_angle)))
            .min_by(|(_, a), (_, b)| wrap(a - about).abs().total_cmp(&wrap(b - about).abs()))?;
        (wrap(phase - about).abs() <= reach && self.pattern.believes(phase, Belief::TeethOut))
            .then_some((i, phase))
    }

    /// Once per cam revolution: whether its edges are where they must be, and if not, how they fit the pattern
    /// in each of the crank's alternatives.
    pub fn revolution(&mut self, step: f64, resolved: bool) -> Option<Heard> {
        let now = self.edges.back()?.angle;
        let since = *self.since.get_or_insert(now);
        if now - since < 720.0 {
            return None;
        }
        self.since = Some(now);
        self.judged = true;
        self.learn();
        if resolved && self.is_as_expected() {
            self.mismatch = false;
            return Some(Heard::AsExpected);
        }
        let measured: Vec<PatternEdge> = self
            .last_revolution()
            .map(|e| PatternEdge {
                angle: e.angle,
                kind: e.kind,
            })
            .collect();
        let verdict = if measured.len() > 2 * self.pattern.edges.len() + 4 {
            // Far too many edges fit anything.
            Verdict::mute(step)
        } else {
            let fits = self.pattern.fits(&measured);
            Verdict::new(&self.pattern, &fits, step, self.at_rest)
        };
        // A fast phaser spreads the edges of a revolution; as long as each follows the one before, they fit.
        self.mismatch = !verdict.fits() && !self.is_mostly_matched();
        Some(Heard::Fits(verdict))
    }

    /// Learns from the last revolution if the cam rested steadily and every edge was there.
    fn learn(&mut self) {
        let rested = std::mem::replace(&mut self.rested, self.at_rest);
        let whole = self.whole_revolution().filter(|_| rested);
        let (Some(phases), Some(at)) = (whole, self.edges.back().map(|e| e.at)) else {
            self.steady = None;
            return;
        };
        let (sum, n) = phases.iter().fold((0.0, 0.0), |(s, n), p| (s + p, n + 1.0));
        let mean: f64 = sum / n;
        match self.steady {
            Some((since, about)) if (mean - about).abs() <= STEADY => {
                if at - since >= STEADY_FOR * self.rate {
                    self.runout.learn(&phases);
                    self.drift.push(at, mean);
                }
            }
            _ => self.steady = Some((at, mean)),
        }
    }

    /// The phase at each reference edge if the last revolution had every one of them and no other.
    fn whole_revolution(&self) -> Option<Vec<f64>> {
        let mut phases = vec![None; self.pattern.edges.len()];
        for e in self.last_revolution() {
            let (reference, phase) = e.matched?;
            phases[reference] = Some(phase);
        }
        phases.into_iter().collect()
    }

    /// Whether the last revolution was whole, and its phase one that the phaser can have.
    fn is_as_expected(&self) -> bool {
        let mean = self.whole_revolution().and_then(|_| self.mean());
        mean.is_some_and(|m| self.pattern.believes(m, Belief::Travel))
    }

    /// Compares the expectation with the fit of the last revolution, and matches that revolution
    /// anew if they differ. Returns the phases of edges that were not matched before.
    pub fn expect(&mut self, verdict: &Verdict, cycle: &Cycle) -> Vec<(f64, usize, f64)> {
        let fit = cycle.taken().and_then(|k| verdict.at(k));
        let (Some(offset), Some(fit)) = (cycle.offset(), fit.filter(|f| f.is_good())) else {
            return Vec::new();
        };
        let agrees = self
            .about
            .is_some_and(|(a, _)| wrap(fit.shift - a).abs() < 0.5 * self.reach);
        if agrees || (self.about.is_some() && self.is_mostly_matched()) {
            return Vec::new();
        }
        let Some((now, at)) = self.edges.back().map(|e| (e.angle, e.at)) else {
            return Vec::new();
        };
        self.about = Some((fit.shift, at));
        let mut found = Vec::new();
        for i in 0..self.edges.len() {
            let e = self.edges[i];
            if e.angle <= now - 720.0 {
                continue;
            }
            let matched = self.match_edge(e.kind, e.angle + offset, fit.shift, self.reach);
            if let (None, Some((reference, phase))) = (e.matched, matched) {
                found.push((e.at, reference, phase));
            }
            self.edges[i].matched = matched;
        }
        self.last = self.mean().zip(self.edges.back().map(|e| e.at));
        found
    }

    /// The cycle was turned round: no match holds.
    pub fn unmatch(&mut self) {
        self.about = None;
        for e in &mut self.edges {
            e.matched = None;
        }
        // What was learnt belongs to other edges.
        self.steady = None;
        self.runout = Runout::new(self.pattern.edges.iter().map(|e| e.kind));
        self.drift = self.drift.renewed();
    }

    /// Edges of the last cam revolution: backwards from the newest until a reference edge comes again.
    /// Not by angle alone: the edge one revolution ago lies a hair more or less than 720 degrees back.
    fn last_revolution(&self) -> impl Iterator<Item = &CamEdge> {
        let newest = self.edges.back().map_or(0.0, |e| e.angle);
        let mut seen = vec![false; self.pattern.edges.len()];
        let repeats = self.edges.iter().rposition(|e| match e.matched {
            Some((edge, _)) => {
                e.angle <= newest - 720.0 - REACH || std::mem::replace(&mut seen[edge], true)
            }
            None => e.angle <= newest - 720.0 + 1e-6,
        });
        self.edges.iter().skip(repeats.map_or(0, |i| i + 1))
    }

    fn is_mostly_matched(&self) -> bool {
        let (all, matched) = self.last_revolution().fold((0, 0), |(n, m), e| {
            (n + 1, m + usize::from(e.matched.is_some()))
        });
        2 * matched > all.max(self.pattern.edges.len())
    }
}
