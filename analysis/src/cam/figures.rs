//! What the matched edges of a cam amount to: phase, spread, windows, and what the single edges say.

use super::{Cam, MISSING_AFTER, REACH, REMEMBERED, STALE_AFTER};
use crate::cycle::{Cycle, Doubt};
use crate::engine::EdgeKind;
use crate::pattern::wrap;
use crate::phase::{self, ExtrapolatedPhase, Extrapolation, Front, PhaseDetail, SampleAge};
use crate::reading::{Reading, Why};
use crate::units::{CrankAngle, CrankDegrees, Rpm, Seconds};

impl Cam {
    /// Matched edges of the last cam revolution up to the last one, each reference edge once, newest first.
    fn matches(&self) -> Vec<(usize, Front)> {
        let mut seen = vec![false; self.pattern.edges.len()];
        let mut newest = None;
        let mut matches = Vec::new();
        for e in self.edges.iter().rev() {
            if let Some((reference, phase)) = e.matched {
                let newest = *newest.get_or_insert(e.angle);
                // A moving cam may pass an edge a little more than a revolution after the last time.
                if newest - e.angle < 720.0 + 2.0 * REACH
                    && !std::mem::replace(&mut seen[reference], true)
                {
                    let (at, kind) = (e.at, e.kind);
                    matches.push((reference, Front { at, kind, phase }));
                }
            }
        }
        matches
    }

    fn phases(&self) -> Vec<f64> {
        self.matches().iter().map(|(_, f)| f.phase).collect()
    }

    /// The same edges without what was learnt of each.
    fn cleaned(&self) -> Option<Vec<Front>> {
        self.matches()
            .into_iter()
            .map(|(reference, f)| {
                let phase = f.phase - self.runout.offset(reference)?;
                Some(Front { phase, ..f })
            })
            .collect()
    }

    /// What the single edges say at `at`; `known` while there is a phase.
    pub fn detail(&self, at: f64, speed: Option<Rpm>, known: bool) -> PhaseDetail {
        let kept = PhaseDetail {
            learnt: self.runout.learnt(),
            drift: self.drift.state(),
            ..PhaseDetail::default()
        };
        let raw: Vec<Front> = self.matches().into_iter().map(|(_, f)| f).collect();
        let Some(newest) = raw.first().filter(|_| known) else {
            return kept;
        };
        let of = |kind| phase::figures(raw.iter().filter(move |f| f.kind == kind));
        let (rising, falling) = (of(EdgeKind::Rising), of(EdgeKind::Falling));
        let cleaned = self.cleaned();
        PhaseDetail {
            rising,
            falling,
            difference: rising.zip(falling).map(|(r, f)| r.phase - f.phase),
            age: Some(SampleAge {
                age: Seconds((at - newest.at).max(0.0) / self.rate),
                speed,
            }),
            current: phase::current(cleaned.as_ref().unwrap_or(&raw), self.rate),
            cleaned: cleaned.and_then(|c| phase::figures(c.iter())),
            ..kept
        }
    }

    /// The phase carried on from the newest edge to `at`.
    pub fn extrapolated(&self, at: f64, how: Extrapolation) -> Option<ExtrapolatedPhase> {
        let detail = self.detail(at, None, true);
        let age = detail.age?.age;
        let current = detail.current;
        let from = current.map_or(self.mean()?, |c| c.phase.0);
        let phase = how.carry(from, current.map(|c| c.rate.0), age.0)?;
        Some(ExtrapolatedPhase {
            phase: CrankDegrees(self.pattern.within_travel(phase, from)),
            from: CrankDegrees(from),
            age,
        })
    }

    /// Learnt offset of a reference edge.
    pub fn offset(&self, reference: usize) -> Option<CrankDegrees> {
        self.runout.offset(reference).map(CrankDegrees)
    }

    pub(super) fn mean(&self) -> Option<f64> {
        circular_mean(self.phases().into_iter(), 720.0)
    }

    /// Phase now, `angle` and `at` being the crank's last tooth.
    pub fn phase(&self, angle: f64, since: f64, at: f64, cycle: &Cycle) -> Reading<CrankDegrees> {
        let silent = self.edges.back().map_or(since, |e| e.angle);
        if self.edges.is_empty() && angle - silent > STALE_AFTER || angle - silent > MISSING_AFTER {
            return Reading::Missing(Why::NoEdges);
        }
        let newest = self.edges.iter().rev().find(|e| e.matched.is_some());
        let (Some(newest), Some(mean)) = (newest, self.mean()) else {
            return Reading::Missing(if self.mismatch {
                Why::PatternMismatch
            } else if self.judged && cycle.taken().is_none() {
                unresolved(cycle)
            } else {
                Why::NotEnoughYet
            });
        };
        let mean = CrankDegrees(mean);
        let age = angle - newest.angle;
        if age > MISSING_AFTER {
            Reading::Missing(Why::PatternMismatch)
        } else if age > STALE_AFTER {
            Reading::Stale(mean, Seconds((at - newest.at).max(0.0) / self.rate))
        } else if self.mismatch || 2 * self.phases().len() < self.pattern.edges.len() {
            Reading::Suspect(mean, Why::PatternMismatch)
        } else {
            Reading::Valid(mean)
        }
    }

    /// The last phase while the crank is lost.
    pub fn remembered(&self, at: f64) -> Option<Reading<CrankDegrees>> {
        let (phase, when) = self.last?;
        let age = (at - when).max(0.0) / self.rate;
        (age < REMEMBERED).then_some(Reading::Stale(CrankDegrees(phase), Seconds(age)))
    }

    /// Forgets the phase of before.
    pub fn forget(&mut self) {
        self.last = None;
    }

    /// Standard deviation of the phases in the mean.
    pub fn spread(&self) -> Option<CrankDegrees> {
        let phases = self.phases();
        let mean = circular_mean(phases.iter().copied(), 720.0)?;
        let (sum, n) = phases.iter().fold((0.0, 0.0), |(s, n), p| {
            (s + wrap(p - mean).powi(2), n + 1.0)
        });
        (n > 1.0).then(|| CrankDegrees((sum / (n - 1.0_f64)).sqrt()))
    }

    /// Windows of the cycle that ended at the last edge.
    pub fn windows(&self, angle: f64, offset: f64) -> Vec<[CrankAngle; 2]> {
        let from = angle - STALE_AFTER;
        let first = self.last_revolution().next().map_or(0.0, |e| e.angle);
        let mut windows: Vec<[CrankAngle; 2]> = Vec::new();
        let mut rising: Option<f64> = None;
        for e in self.edges.iter().filter(|e| e.angle > from) {
            match e.kind {
                EdgeKind::Rising => rising = Some(e.angle),
                EdgeKind::Falling => {
                    if let Some(r) = rising.take().filter(|_| e.angle >= first) {
                        windows.push([r, e.angle].map(|a| CrankAngle::wrapped(a + offset)));
                    }
                }
            }
        }
        windows
    }

    pub fn window_count(&self) -> usize {
        self.last_revolution()
            .filter(|e| e.kind == EdgeKind::Falling)
            .count()
    }

    pub fn is_mismatch(&self) -> bool {
        self.mismatch
    }
}

/// Why the position in the cycle is not known although the cam has been heard.
fn unresolved(cycle: &Cycle) -> Why {
    match cycle.doubt() {
        Doubt::Several if cycle.step() < 360.0 => Why::SeveralPositions,
        Doubt::Several | Doubt::Unheard => Why::CycleUnresolved,
    }
}

/// Mean direction of angles in degrees on a circle of `period` degrees, in (-period/2, period/2]:
/// the argument of the sum of unit vectors (Mardia and Jupp, Directional Statistics).
/// `None` without angles or when they cancel.
pub(crate) fn circular_mean(angles: impl Iterator<Item = f64>, period: f64) -> Option<f64> {
    let k = std::f64::consts::TAU / period;
    let (s, c) = angles.fold((0.0, 0.0), |(s, c), a| {
        (s + (a * k).sin(), c + (a * k).cos())
    });
    (s.hypot(c) > 1e-9).then(|| s.atan2(c) / k)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circular_mean_as_published() {
        // Documentation of scipy.stats.circmean: 20, 30 and 330 degrees.
        let mean = circular_mean([20.0, 30.0, 330.0].into_iter(), 360.0);
        assert!(mean.is_some_and(|m| (m - 7.294_976_657_784).abs() < 1e-9));
        assert_eq!(circular_mean([0.0, 180.0].into_iter(), 360.0), None);
    }
}
