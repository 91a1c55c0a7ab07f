//! Offsets of the single cam edges, learnt while the phaser rests.
//!
//! US 6,915,767 learns a base position for each tooth at the reference position of the phaser and measures against it.
//! Here only the offset of each edge from the mean of its kind is learnt: those of a kind add up to zero, and where
//! the cam stands as a whole is left to be measured.

use crate::engine::EdgeKind;
use crate::phase::{EdgeOffset, Learnt};
use crate::units::CrankDegrees;

/// Revolutions before offsets are used. The mean of eight has a third of the noise of a single edge;
/// with fewer, cleaning would add more of it than it takes.
const LEAST: u32 = 8;
/// Revolutions after which the oldest are slowly forgotten, so that a wheel that warms up is followed: half a
/// minute at idle and more. More would make it slower, fewer noisier.
const MOST: u32 = 400;

/// The learner of one cam.
#[derive(Debug, Clone)]
pub(crate) struct Runout {
    edges: Vec<Edge>,
    revolutions: u32,
}

#[derive(Debug, Clone, Copy)]
struct Edge {
    kind: EdgeKind,
    mean: f64,
    variance: f64,
}

impl Runout {
    /// Nothing learnt, for reference edges of these kinds.
    pub fn new(kinds: impl Iterator<Item = EdgeKind>) -> Self {
        Self {
            edges: kinds
                .map(|kind| Edge {
                    kind,
                    mean: 0.0,
                    variance: 0.0,
                })
                .collect(),
            revolutions: 0,
        }
    }

    /// Learns from the phases of one whole revolution, one for each reference edge.
    pub fn learn(&mut self, phases: &[f64]) {
        if phases.len() != self.edges.len() {
            return;
        }
        self.revolutions = self.revolutions.saturating_add(1);
        let weight = 1.0 / f64::from(self.revolutions.min(MOST));
        for kind in [EdgeKind::Rising, EdgeKind::Falling] {
            let is_own = |e: &Edge| e.kind == kind;
            let (sum, n) = (self.edges.iter().zip(phases))
                .filter(|(e, _)| is_own(e))
                .fold((0.0, 0.0), |(s, n), (_, p)| (s + p, n + 1.0));
            for (e, phase) in self.edges.iter_mut().zip(phases).filter(|(e, _)| is_own(e)) {
                let off = phase - sum / n - e.mean;
                e.mean += weight * off;
                // Welford's recurrence with the weight of the mean.
                e.variance += weight * ((1.0 - weight) * off * off - e.variance);
            }
        }
    }

    /// What to take from a phase measured at an edge, once enough is learnt.
    pub fn offset(&self, edge: usize) -> Option<f64> {
        (self.revolutions >= LEAST).then(|| self.edges.get(edge).map(|e| e.mean))?
    }

    /// What is learnt, once it is used.
    pub fn learnt(&self) -> Option<Learnt> {
        (self.revolutions >= LEAST).then(|| Learnt {
            offsets: self
                .edges
                .iter()
                .map(|e| EdgeOffset {
                    kind: e.kind,
                    offset: CrankDegrees(e.mean),
                    spread: CrankDegrees(e.variance.sqrt()),
                })
                .collect(),
            revolutions: self.revolutions,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EdgeKind::{Falling, Rising};

    #[test]
    fn offsets_are_learnt_and_the_base_timing_is_not() {
        let mut r = Runout::new([Rising, Falling, Rising, Falling].into_iter());
        let (base, between) = (-7.0, 2.0);
        for i in 0..20_u32 {
            assert_eq!(r.offset(0).is_some(), i >= LEAST);
            let noise = if i % 2 == 0 { 0.1 } else { -0.1 };
            r.learn(&[
                base + 0.5 + noise,
                base + between + 0.8,
                base - 0.5,
                base + between - 0.8,
            ]);
        }
        let learnt = r.learnt().expect("learnt");
        assert_eq!(learnt.revolutions, 20);
        for (got, due) in learnt.offsets.iter().zip([0.5, 0.8, -0.5, -0.8]) {
            assert!((got.offset.0 - due).abs() < 1e-9, "{got:?}");
        }
        let sum: f64 = learnt.offsets.iter().map(|o| o.offset.0).sum();
        assert!(sum.abs() < 1e-12);
        // Half of the noise shows in either edge of the kind, the other half in their mean.
        assert!((learnt.offsets[0].spread.0 - 0.05).abs() < 0.002);
    }

    #[test]
    fn a_revolution_with_an_edge_missing_teaches_nothing() {
        let mut r = Runout::new([Rising, Falling].into_iter());
        (0..20).for_each(|_| r.learn(&[1.0]));
        assert_eq!(r.learnt(), None);
    }
}
