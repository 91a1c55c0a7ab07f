//! The result of the lead proof, as plain data.

use crate::lead::Role;

/// Whether a lead shows what its role should show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ProofState {
    /// It does. Findings may rest on it.
    Proven,
    /// It shows something else, or not enough yet.
    Doubtful,
    /// It shows nothing.
    Silent,
    /// Not fitted.
    Spare,
}

impl ProofState {
    /// The state in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Proven => "proven",
            Self::Doubtful => "doubtful",
            Self::Silent => "silent",
            Self::Spare => "spare",
        }
    }
}

/// A mistake of the hook-up that a lead's signal shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mistake {
    /// It shows a tenth of what it should: a 10:1 probe with factor 1.
    FactorTooSmall,
    /// It shows ten times what it should: a 1:1 probe with factor 10.
    FactorTooLarge,
    /// It shows the signal of this other role; if that lead shows this one's, the two are swapped.
    Swapped(Role),
    /// A variable-reluctance sensor's two wires are exchanged.
    Inverted,
    /// It touches nothing.
    Off,
    /// The scope's ground is missing: hum rides on the signal, or all levels float.
    NoGround,
    /// The signal leaves the input's range.
    Clipped,
    /// Too few samples a second for this signal at this speed.
    TooFewSamples,
    /// A current clamp sits the wrong way round.
    ClampReversed,
    /// It shows a signal, but not one of its role.
    WrongPlace,
}

/// How far a command lead has been touched to ground and to supply, on request: a pin that stands still
/// explains nothing until its lead is known to show both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touch {
    /// To be touched to ground now.
    ToGround,
    /// Ground was seen; to be touched to supply now.
    ToSupply,
    /// Both were seen; to be put back on its pin.
    Done,
}

/// What the proof says of one lead.
#[derive(Debug, Clone, PartialEq)]
pub struct LeadProof {
    /// The state.
    pub state: ProofState,
    /// What is seen, and if it is not proven, why not.
    pub note: String,
    /// What to try next when it is not proven; empty otherwise.
    pub try_next: String,
    /// The mistake that is recognised, if one is.
    pub mistake: Option<Mistake>,
    /// The touch test, while it was asked for.
    pub touch: Option<Touch>,
}

/// Whether a finding may rest on a lead: only on one that is proven. A mistake that does no harm to what is read from
/// it, as a flat top of a switched signal, leaves it proven; any other takes the proof away, in whatever role.
pub fn bears(_role: Role, proof: &LeadProof) -> bool {
    proof.state == ProofState::Proven
}

impl LeadProof {
    /// It shows what it should.
    pub(crate) fn proven(note: impl Into<String>) -> Self {
        Self::plain(ProofState::Proven, note.into())
    }

    /// It shows something else, or not enough yet.
    pub(crate) fn doubtful(note: impl Into<String>, try_next: impl Into<String>) -> Self {
        Self {
            try_next: try_next.into(),
            ..Self::plain(ProofState::Doubtful, note.into())
        }
    }

    /// It shows nothing.
    pub(crate) fn silent(note: impl Into<String>, try_next: impl Into<String>) -> Self {
        Self {
            try_next: try_next.into(),
            ..Self::plain(ProofState::Silent, note.into())
        }
    }

    /// The same with a mistake that is recognised.
    pub(crate) fn by(self, mistake: Mistake) -> Self {
        Self {
            mistake: Some(mistake),
            ..self
        }
    }

    /// A proof without a recognised mistake.
    pub fn plain(state: ProofState, note: String) -> Self {
        Self {
            state,
            note,
            try_next: String::new(),
            mistake: None,
            touch: None,
        }
    }
}
