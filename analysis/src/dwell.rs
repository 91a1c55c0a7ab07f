//! Which changes of a two-state signal are edges: those after which the new state lasts.
//!
//! Contact chatter, ringing cables and spikes make a signal cross its levels several times. A new state counts when it
//! has lasted for a share of what states usually last; until then nothing is decided. The edge is then the change that
//! leaves the least time on its wrong side, where time before it weighs more than time after it: contacts chatter after an
//! edge, and only a spike comes before it.

use crate::edge::Edge;
use crate::engine::EdgeKind;
use crate::units::SampleTime;

/// A state must last this share of the usual. The narrow state of a coded wheel is about a third of the wide one;
/// a greater share would come near it, a smaller one lets longer chatter through at high speed.
const SHARE: f64 = 0.2;
/// What a time in the new state before the edge weighs against a time in the old state after it ...
const BEFORE: f64 = 8.0;
/// ... and what it weighs while it is no longer than a spike of one sample. More would take a spike shortly before an edge
/// for the edge, less would take the first moment of chatter for a spike.
const SPIKE: f64 = 1.5;
/// Longest time a state is ever asked to last, seconds: contact chatter is over within 100 µs (from memory), and a cam
/// window of 5 crank degrees lasts 128 µs at 6,500 rpm.
const LONGEST: f64 = 100e-6;
/// The same before anything is known, seconds: eight times a spike of 1 µs, a third of the states of a disc of
/// 360 slits at 6,500 rpm.
const SHORTEST: f64 = 8e-6;
/// Samples a state must last at least: a spike of one sample, however high, spends less than two beyond the mid level.
const SAMPLES: f64 = 2.0;
/// What the earlier states weigh in the usual duration from state to state: about the last eight count.
const KEPT: f64 = 0.875;
/// After this many of the times asked without any lasting state it is no chatter but a faster signal.
const PATIENCE: f64 = 8.0;

/// Changes that have not been decided upon.
#[derive(Debug, Clone, Copy)]
struct Doubtful {
    began: f64,
    /// Whether the signal is in the other state now, and since when it is where it is.
    away: bool,
    turned: f64,
    /// The best candidate for the edge, the time on its wrong side, and the time in the other state so far.
    best: f64,
    wrong: f64,
    away_for: f64,
    returns: u64,
}

/// Decides upon changes of state. Times are in samples.
#[derive(Debug, Clone)]
pub struct Dwell {
    shortest: f64,
    longest: f64,
    /// Sums of durations and of their squares: their ratio is the mean duration of the state that a random instant falls into.
    sums: [f64; 2],
    asked: f64,
    since: Option<f64>,
    doubtful: Option<Doubtful>,
    /// Spikes passed over.
    pub spikes: u64,
    /// Changes beyond the first within one edge, there and back counted once.
    pub chatter: u64,
}

impl Dwell {
    /// For `rate` samples a second.
    pub fn new(rate: f64) -> Self {
        let shortest = (SHORTEST * rate).max(SAMPLES);
        Self {
            shortest,
            longest: (LONGEST * rate).max(SAMPLES),
            sums: [0.0; 2],
            asked: shortest,
            since: None,
            doubtful: None,
            spikes: 0,
            chatter: 0,
        }
    }

    /// Takes a change at `at` and appends the edge that it settles, if it does.
    pub fn push(&mut self, change: Edge, out: &mut Vec<Edge>) {
        let at = change.at.0;
        self.settle(at, change.kind, out);
        match &mut self.doubtful {
            None => {
                self.doubtful = Some(Doubtful {
                    began: at,
                    away: true,
                    turned: at,
                    best: at,
                    wrong: 0.0,
                    away_for: 0.0,
                    returns: 0,
                });
            }
            Some(d) => {
                let lasted = at - d.turned;
                d.turned = at;
                if d.away {
                    d.away_for += lasted;
                    d.returns += 1;
                } else {
                    d.wrong += lasted;
                    let weight = if d.away_for < SAMPLES { SPIKE } else { BEFORE };
                    if weight * d.away_for < d.wrong {
                        d.best = at;
                        d.wrong = weight * d.away_for;
                    }
                }
                d.away = !d.away;
                if at - d.began > PATIENCE * self.asked {
                    self.learn_anew(change, out);
                }
            }
        }
    }

    /// Says that there was no change before `now`, the next one being of kind `next`.
    pub fn settle(&mut self, now: f64, next: EdgeKind, out: &mut Vec<Edge>) {
        let Some(d) = self.doubtful.filter(|d| now - d.turned >= self.asked) else {
            return;
        };
        self.doubtful = None;
        if d.away {
            let kind = next.other();
            self.chatter += d.returns;
            self.accept(d.best, kind, out);
        } else {
            self.spikes += d.returns;
        }
    }

    fn accept(&mut self, at: f64, kind: EdgeKind, out: &mut Vec<Edge>) {
        out.push(Edge {
            at: SampleTime(at),
            kind,
        });
        if let Some(since) = self.since.replace(at) {
            // A longer one would ask for no more, and a standstill would be remembered for long.
            let lasted = (at - since).min(self.longest / SHARE);
            self.sums[0] = KEPT * self.sums[0] + lasted;
            self.sums[1] = KEPT * self.sums[1] + lasted * lasted;
            self.asked = (SHARE * self.sums[1] / self.sums[0]).clamp(self.shortest, self.longest);
        }
    }

    /// Nothing lasts as long as was usual: the signal has become faster while it was not seen.
    fn learn_anew(&mut self, change: Edge, out: &mut Vec<Edge>) {
        let away = self.doubtful.take().is_some_and(|d| d.away);
        self.sums = [0.0; 2];
        self.asked = self.shortest;
        self.since = None;
        if away {
            self.accept(change.at.0, change.kind, out);
        }
    }

    /// Forgets what is undecided, as after a gap; what is usual is kept.
    pub fn reset(&mut self) {
        self.doubtful = None;
        self.since = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Edges that are left of changes at `times`, the first one rising.
    fn edges(dwell: &mut Dwell, times: &[f64]) -> Vec<f64> {
        let mut out = Vec::new();
        let kinds = [EdgeKind::Rising, EdgeKind::Falling];
        for (i, &t) in times.iter().enumerate() {
            let (at, kind) = (SampleTime(t), kinds[i % 2]);
            dwell.push(Edge { at, kind }, &mut out);
        }
        let last = times.last().copied().unwrap_or(0.0);
        dwell.settle(last + 1000.0, kinds[times.len() % 2], &mut out);
        out.iter().map(|e| e.at.0).collect()
    }

    #[test]
    fn chatter_counts_once_where_it_begins_and_a_spike_not_at_all() {
        let mut d = Dwell::new(1e6);
        let steady: Vec<f64> = (1..=20).map(|i| 500.0 * f64::from(i)).collect();
        assert_eq!(edges(&mut d, &steady), steady);
        let found = edges(
            &mut d,
            &[
                10_500.0, 10_510.0, 10_515.0, 10_540.0, 10_545.0, // chatter after the edge
                10_700.0, 10_702.0, // a spike
                10_980.0, 10_981.0, 11_000.0, // a spike before the edge
            ],
        );
        assert_eq!(found, [10_500.0, 11_000.0]);
        assert_eq!((d.chatter, d.spikes), (3, 1));
    }

    #[test]
    fn a_signal_that_has_become_faster_is_learnt_anew() {
        let mut d = Dwell::new(1e6);
        let slow: Vec<f64> = (1..=20).map(|i| 2000.0 * f64::from(i)).collect();
        let _ = edges(&mut d, &slow);
        let fast: Vec<f64> = (0..101).map(|i| 60_000.0 + 30.0 * f64::from(i)).collect();
        let found = edges(&mut d, &fast);
        assert!((70..=101).contains(&found.len()), "{}", found.len());
    }
}
