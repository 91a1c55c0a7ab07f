//! A number is never without its quality: valid, stale, suspect (why) or missing (why).

use crate::units::Seconds;
use std::fmt;

/// Why a reading is missing or suspect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// The lead plan has no lead for it.
    NoLead,
    /// The lead shows no signal.
    Silent,
    /// The lead stands still at this many volts.
    Static(f64),
    /// The crank does not turn.
    EngineStopped,
    /// The crank pattern is not (yet) recognised.
    NoSync,
    /// The cam has not (yet) told which of the two revolutions this is.
    CycleUnresolved,
    /// The teeth of the crank wheel are alike, and the cam fits it at more than one of them.
    SeveralPositions,
    /// The cam edges do not fit the engine sheet.
    PatternMismatch,
    /// No cam edges arrive while the crank turns.
    NoEdges,
    /// The engine sheet has no known-good reference.
    NoReference,
    /// Not enough of the signal has been seen yet.
    NotEnoughYet,
    /// Samples were lost.
    StreamGap,
    /// The signal reaches the end of the input range.
    Clipped,
    /// Too few samples a second to see it.
    TooFewSamples,
    /// The valve is driven too little to tell.
    TooLittleDrive,
    /// The lead for it is not proven.
    NotProven,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLead => f.write_str("no lead fitted"),
            Self::Silent => f.write_str("no signal on the lead"),
            Self::Static(volts) => write!(f, "stands at {volts:.1} V"),
            Self::EngineStopped => f.write_str("engine not turning"),
            Self::NoSync => f.write_str("crank pattern not found"),
            Self::CycleUnresolved => f.write_str("cycle not resolved yet"),
            Self::SeveralPositions => {
                f.write_str("even crank wheel: the cam fits more than one tooth of it")
            }
            Self::PatternMismatch => f.write_str("cam pattern does not fit the engine sheet"),
            Self::NoEdges => f.write_str("no edges from the cam sensor"),
            Self::NoReference => f.write_str("no known-good reference"),
            Self::NotEnoughYet => f.write_str("measuring"),
            Self::StreamGap => f.write_str("samples were lost"),
            Self::Clipped => f.write_str("signal leaves the input range"),
            Self::TooFewSamples => f.write_str("too few samples a second"),
            Self::TooLittleDrive => f.write_str("the valve is driven too little to tell"),
            Self::NotProven => f.write_str("the lead is not proven"),
        }
    }
}

/// A number beside its quality.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading<T> {
    /// Measured in the stated window, nothing against it.
    Valid(T),
    /// Was valid this long ago; nothing newer.
    Stale(T, Seconds),
    /// Measured, but something speaks against it.
    Suspect(T, Why),
    /// Not known.
    Missing(Why),
}

impl<T: Copy> Reading<T> {
    /// The number if it is valid.
    pub fn valid(&self) -> Option<T> {
        match self {
            Self::Valid(v) => Some(*v),
            Self::Stale(..) | Self::Suspect(..) | Self::Missing(_) => None,
        }
    }

    /// The number, however good.
    pub fn any(&self) -> Option<T> {
        match self {
            Self::Valid(v) | Self::Stale(v, _) | Self::Suspect(v, _) => Some(*v),
            Self::Missing(_) => None,
        }
    }

    /// The same quality with another number.
    pub fn map<U>(self, f: impl FnOnce(T) -> U) -> Reading<U> {
        match self {
            Self::Valid(v) => Reading::Valid(f(v)),
            Self::Stale(v, age) => Reading::Stale(f(v), age),
            Self::Suspect(v, why) => Reading::Suspect(f(v), why),
            Self::Missing(why) => Reading::Missing(why),
        }
    }
}
