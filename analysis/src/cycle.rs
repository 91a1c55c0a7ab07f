//! At which of its possible positions the crank's count stands in the cycle, as the cams tell it.
//!
//! The crank's own count is known but for a multiple of a step: 360 degrees where a gap marks the revolution,
//! 720 / 48 degrees with 24 like teeth, 720 for a wheel on a cam. The multiples of the step in 720 degrees are
//! the alternatives. One is taken only when it is the only one that can be believed.
//!
//! What no lead can tell: on a wheel of like teeth a cam that is out by about one of them before it is first seen looks
//! like a cam in its place, one tooth on. There the offset of the cam is known but for a multiple of the step.

use crate::pattern::{Belief, CAP, Fit, Pattern, wrap};

/// By how much, and to what part, the best alternative must beat every other. In degrees squared: 15 is what
/// one edge of eight out of its place by 15 degrees adds. A lower margin would decide by the noise of a sensor
/// (less than 6); a higher one would ask for more than one edge that differs.
const MARGIN: f64 = 15.0;
const MARGIN_PART: f64 = 0.6;
/// Decisive contrary cam revolutions before a decision is turned round.
const TURN_ROUND: u32 = 3;
/// Cam revolutions that agree after which a decision by tolerance alone is not turned round any more: from
/// then on the crank's unbroken count is the better witness, and a cam that moves has moved.
const CONFIRMED: u32 = 3;
/// What a degree outside the travel costs where two phases fit alike; the nearer is the likelier.
const OUTSIDE_COST: f64 = 0.05;

/// What one cam revolution says of each alternative.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Verdict {
    /// Best fit with some teeth out, and the best within the travel (or at rest) and tolerance.
    fits: Vec<[Option<Fit>; 2]>,
}

impl Verdict {
    /// Sorts the fits of a revolution by alternative. `at_rest` where the phaser is known to rest.
    pub fn new(pattern: &Pattern, fits: &[Fit], step: f64, at_rest: bool) -> Self {
        let near = if at_rest {
            Belief::Rest
        } else {
            Belief::Travel
        };
        let best = |offset: f64, belief: Belief| {
            fits.iter()
                .map(|f| Fit {
                    shift: wrap(f.shift - offset),
                    ..*f
                })
                .filter(|f| pattern.believes(f.shift, belief))
                .map(|f| (f.cost + OUTSIDE_COST * pattern.outside(f.shift), f))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, fit)| fit)
        };
        Self {
            fits: offsets(step)
                .map(|offset| [best(offset, Belief::TeethOut), best(offset, near)])
                .collect(),
        }
    }

    /// A revolution that says nothing.
    pub fn mute(step: f64) -> Self {
        Self {
            fits: offsets(step).map(|_| [None; 2]).collect(),
        }
    }

    /// The phase at an alternative, `shift` being the phase.
    pub fn at(&self, alternative: usize) -> Option<Fit> {
        self.fits.get(alternative)?[0]
    }

    /// Whether the edges fit the pattern in one of the alternatives.
    pub fn fits(&self) -> bool {
        self.fits.iter().any(|f| f[0].is_some_and(Fit::is_good))
    }
}

/// The alternatives of a step.
fn offsets(step: f64) -> impl Iterator<Item = f64> {
    let mut next = 0.0;
    std::iter::from_fn(move || {
        // Half a step before the end: whole steps do not add up to exactly 720.
        let offset = next;
        next += step;
        (offset < 720.0 - 0.5 * step).then_some(offset)
    })
}

/// Why no alternative is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doubt {
    /// No cam has said anything that fits.
    Unheard,
    /// Several alternatives can be believed.
    Several,
}

/// Collects the verdicts of all cams.
#[derive(Debug, Clone)]
pub(crate) struct Cycle {
    step: f64,
    taken: Option<usize>,
    heard: Vec<Option<Verdict>>,
    contrary: u32,
    confirmed: u32,
    doubt: Doubt,
}

impl Cycle {
    /// `step`: degrees but for a multiple of which the crank's count is known, in (0, 720].
    pub fn new(cams: usize, step: f64) -> Self {
        Self {
            step,
            // A wheel that knows the cycle leaves nothing to tell.
            taken: (offsets(step).count() == 1).then_some(0),
            heard: vec![None; cams],
            contrary: 0,
            confirmed: 0,
            doubt: Doubt::Unheard,
        }
    }

    /// Starts anew, as when the crank's count begins anew.
    pub fn renewed(&self) -> Self {
        Self::new(self.heard.len(), self.step)
    }

    pub fn step(&self) -> f64 {
        self.step
    }

    /// The alternative taken.
    pub fn taken(&self) -> Option<usize> {
        self.taken
    }

    /// Degrees to add to the crank's own count, once known.
    pub fn offset(&self) -> Option<f64> {
        offsets(self.step).nth(self.taken?)
    }

    /// Why it is not known.
    pub fn doubt(&self) -> Doubt {
        self.doubt
    }

    /// A cam revolution in which every edge was where it had to be.
    pub fn confirm(&mut self) {
        self.contrary = 0;
        self.confirmed = self.confirmed.saturating_add(1);
    }

    /// Takes a cam revolution into account; true if the offset became known or changed.
    pub fn hear(&mut self, cam: usize, verdict: &Verdict) -> bool {
        // A cam that fits nowhere has no say.
        self.heard[cam] = verdict.fits().then(|| verdict.clone());
        self.doubt = Doubt::Unheard;
        let says = match (self.decide(0), self.taken) {
            (Some(says), _) => Some(says),
            (None, Some(_)) if self.confirmed >= CONFIRMED => None,
            (None, _) => self.decide(1),
        };
        match (says, self.taken) {
            (None, _) => false,
            (Some(says), None) => {
                self.taken = Some(says);
                true
            }
            (Some(says), Some(now)) if says == now => {
                self.confirm();
                false
            }
            (Some(says), Some(_)) => {
                self.contrary += 1;
                let turn = self.contrary >= TURN_ROUND;
                if turn {
                    self.taken = Some(says);
                    self.contrary = 0;
                    self.confirmed = 0;
                }
                turn
            }
        }
    }

    /// The one alternative that all cams together believe, by the wider or the nearer of their beliefs.
    fn decide(&mut self, belief: usize) -> Option<usize> {
        let count: f64 = self.heard.iter().flatten().map(|_| 1.0).sum();
        let sums: Vec<f64> = offsets(self.step)
            .enumerate()
            .map(|(k, _)| {
                let cost = |v: &Verdict| v.fits[k][belief].map_or(CAP * CAP, |f| f.cost);
                self.heard.iter().flatten().map(cost).sum()
            })
            .collect();
        let (best, least) = sums
            .iter()
            .copied()
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1))?;
        let joint = Fit {
            shift: 0.0,
            cost: least / count,
        };
        if count < 1.0 || !joint.is_good() {
            return None;
        }
        let rival = |sum: f64| sum - least <= MARGIN || least >= MARGIN_PART * sum;
        if (sums.iter().enumerate()).any(|(k, &sum)| k != best && rival(sum)) {
            self.doubt = Doubt::Several;
            return None;
        }
        Some(best)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::EdgeKind::{Falling, Rising};
    use crate::pattern::PatternEdge;

    const GAP: f64 = 360.0;

    fn pattern(edges: &[(f64, f64)], travel: [f64; 2]) -> Pattern {
        let edges = edges
            .iter()
            .flat_map(|&(r, f)| [(r, Rising), (f, Falling)])
            .map(|(angle, kind)| PatternEdge { angle, kind })
            .collect();
        Pattern::of(edges, travel, 3.0, 51.4)
    }

    fn van() -> Pattern {
        pattern(&[(40.0, 130.0), (400.0, 520.0)], [0.0, 50.0])
    }

    /// What a cam at `phase` says when the count lags the cycle by `offset`.
    fn says(p: &Pattern, phase: f64, offset: f64, step: f64, at_rest: bool) -> Verdict {
        let seen: Vec<PatternEdge> = p
            .edges
            .iter()
            .map(|e| PatternEdge {
                angle: e.angle - phase - offset,
                ..*e
            })
            .collect();
        Verdict::new(p, &p.fits(&seen), step, at_rest)
    }

    #[test]
    fn every_believed_phase_is_found_and_the_revolution_told() {
        let p = van();
        for phase in [-45.0, -10.0, 0.0, 25.0, 50.0, 95.0] {
            for offset in [0.0, 360.0] {
                let mut c = Cycle::new(1, GAP);
                let v = says(&p, phase, offset, GAP, false);
                assert!(c.hear(0, &v), "{phase}");
                assert_eq!(c.offset(), Some(offset), "{phase}");
                let fit = v.at(c.taken().expect("taken")).expect("a fit");
                assert!((fit.shift - phase).abs() < 1e-9 && fit.cost < 1e-9);
            }
        }
    }

    #[test]
    fn a_symmetric_pattern_decides_nothing() {
        let p = pattern(&[(40.0, 130.0), (400.0, 490.0)], [0.0, 50.0]);
        let mut c = Cycle::new(1, GAP);
        let v = says(&p, 0.0, 0.0, GAP, false);
        assert!(v.fits() && !c.hear(0, &v));
        assert_eq!((c.offset(), c.doubt()), (None, Doubt::Several));
    }

    #[test]
    fn a_wheel_that_knows_the_cycle_needs_no_cam() {
        assert_eq!(Cycle::new(0, 720.0).offset(), Some(0.0));
        assert_eq!(Cycle::new(0, 360.0).offset(), None);
    }

    /// 24 like teeth on the crank. A cam without phaser tells the tooth, unless it is out by half a tooth.
    #[test]
    fn an_even_wheel_is_told_by_a_fixed_cam() {
        let p = pattern(&[(40.0, 130.0), (400.0, 520.0)], [0.0, 0.0]);
        let step = 15.0;
        for (phase, known) in [(0.0, true), (2.9, true), (-2.9, true), (7.5, false)] {
            for alternative in 0..48_u32 {
                let offset = f64::from(alternative) * step;
                let mut c = Cycle::new(1, step);
                let told = c.hear(0, &says(&p, phase, offset, step, false));
                assert_eq!(told, known, "{phase} {offset}");
                if known {
                    assert!((c.offset().expect("known") - offset).abs() < 1e-9);
                }
            }
        }
    }

    /// Where the phaser reaches over more than a tooth, nothing tells the tooth but a known rest position.
    #[test]
    fn an_even_wheel_is_not_told_by_a_phaser_that_reaches_over_its_teeth() {
        let step = 15.0;
        let mut c = Cycle::new(1, step);
        for phase in [0.0, 25.0, 50.0] {
            assert!(!c.hear(0, &says(&van(), phase, 30.0, step, false)));
            assert_eq!((c.offset(), c.doubt()), (None, Doubt::Several));
        }
        assert!(c.hear(0, &says(&van(), 1.0, 30.0, step, true)));
        assert_eq!(c.offset(), Some(30.0));
    }

    /// An intake cam at rest bounds the position from one side, an exhaust cam at rest from the other.
    #[test]
    fn two_cams_tell_what_neither_can_alone() {
        let step = 15.0;
        let exhaust = pattern(&[(70.0, 180.0), (430.0, 490.0)], [-45.0, 0.0]);
        let mut c = Cycle::new(2, step);
        assert!(!c.hear(0, &says(&van(), 0.0, 300.0, step, false)));
        assert!(c.hear(1, &says(&exhaust, 0.0, 300.0, step, false)));
        assert_eq!(c.offset(), Some(300.0));
    }

    /// A phaser within half of the step: 180 degrees between like parts of the wheel.
    #[test]
    fn a_wheel_of_two_parts_is_told_at_any_phase() {
        for phase in [0.0, 20.0, 50.0, -17.0] {
            let mut c = Cycle::new(1, 180.0);
            assert!(
                c.hear(0, &says(&van(), phase, 540.0, 180.0, false)),
                "{phase}"
            );
            assert_eq!(c.offset(), Some(540.0));
        }
    }

    /// Once confirmed, a cam that jumps by about a tooth of the crank wheel has jumped: the count went on.
    #[test]
    fn a_jump_of_the_cam_does_not_move_the_crank() {
        let p = pattern(&[(40.0, 130.0), (400.0, 520.0)], [0.0, 0.0]);
        let mut c = Cycle::new(1, 15.0);
        for _ in 0..5 {
            let _ = c.hear(0, &says(&p, 0.0, 60.0, 15.0, true));
        }
        for _ in 0..20 {
            let v = says(&p, -17.14, 60.0, 15.0, true);
            assert!(!c.hear(0, &v));
            assert_eq!(c.offset(), Some(60.0));
            let fit = v.at(c.taken().expect("taken")).expect("a fit");
            assert!((fit.shift + 17.14).abs() < 1e-6);
        }
    }

    #[test]
    fn a_decision_turns_only_on_repeated_contradiction() {
        let p = van();
        let sure = |offset: f64| says(&p, 0.0, offset, GAP, false);
        let mut c = Cycle::new(1, GAP);
        assert!(c.hear(0, &sure(0.0)));
        assert!(!c.hear(0, &sure(360.0)) && !c.hear(0, &sure(360.0)) && !c.hear(0, &sure(0.0)));
        assert_eq!(c.offset(), Some(0.0));
        assert!(!c.hear(0, &sure(360.0)) && !c.hear(0, &sure(360.0)) && c.hear(0, &sure(360.0)));
        assert_eq!(c.offset(), Some(360.0));
    }
}
