//! The trial at work, whichever it is.

use super::TrialKind;
use super::hold::Hold;
use super::repeated::Repeated;
use super::rest::AtRest;
use super::setup::{Guide, Moment, Setup, Verdict};
use super::snap::Snap;
use super::step::Stepping;
use super::sweep::Sweep;

/// One of them.
#[derive(Debug, Clone)]
pub(super) enum Task {
    Rest(AtRest),
    Repeated(Repeated),
    Snap(Snap),
    Sweep(Sweep),
    Hold(Hold),
    Step(Box<Stepping>),
}

impl Task {
    pub fn new(kind: TrialKind) -> Self {
        match kind {
            TrialKind::RestAtIdle => Self::Rest(AtRest::new(false)),
            TrialKind::RestUnplugged => Self::Rest(AtRest::new(true)),
            TrialKind::RestRepeated => Self::Repeated(Repeated::default()),
            TrialKind::SnapRev => Self::Snap(Snap::default()),
            TrialKind::SlowSweep => Self::Sweep(Sweep::default()),
            TrialKind::Hold => Self::Hold(Hold::default()),
            TrialKind::StepAndReturn => Self::Step(Box::default()),
        }
    }

    /// What is half seen is forgotten: nothing is measured across what cannot be seen.
    pub fn pause(&mut self) {
        match self {
            Self::Rest(t) => t.pause(),
            Self::Repeated(t) => t.pause(),
            Self::Snap(t) => t.pause(),
            Self::Sweep(t) => t.pause(),
            Self::Hold(t) => t.pause(),
            Self::Step(t) => t.pause(),
        }
    }

    pub fn look(&mut self, setup: &Setup, m: &Moment<'_>) -> Guide {
        match self {
            Self::Rest(t) => t.look(setup, m),
            Self::Repeated(t) => t.look(setup, m),
            Self::Snap(t) => t.look(setup, m),
            Self::Sweep(t) => t.look(setup, m),
            Self::Hold(t) => t.look(setup, m),
            Self::Step(t) => t.look(setup, m),
        }
    }

    /// What it amounts to; `why_not` says why it ended before it had seen enough.
    pub fn conclude(&self, setup: &Setup, why_not: &str) -> Verdict {
        match self {
            Self::Rest(t) => t.conclude(setup, why_not),
            Self::Repeated(t) => t.conclude(setup, why_not),
            Self::Snap(t) => t.conclude(setup, why_not),
            Self::Sweep(t) => t.conclude(setup, why_not),
            Self::Hold(t) => t.conclude(setup, why_not),
            Self::Step(t) => t.conclude(setup, why_not),
        }
    }
}
