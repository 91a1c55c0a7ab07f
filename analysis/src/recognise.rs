//! Recognition: from a few revolutions of an unknown signal, which wheel it comes from, on which sensor, and which of
//! its edges is the accurate one. It says how sure it is and what else it could be; it proposes and decides nothing.

mod code;
mod contender;
mod evidence;
mod heard;
mod listener;
mod proposal;
mod rhythm;
mod ruling;
mod side;
mod verdict;
mod windows;

pub use contender::Origin;
pub use proposal::Proposal;
pub use windows::{CamWindows, WindowLearner};

use crate::calibration::Calibration;
use crate::edge::Edge;
use crate::engine::{EdgeKind, Sensor};
use crate::units::{Hertz, Rpm, Seconds, Volts};
use crate::wheel::Wheel;
use listener::Listener;
use std::fmt;

/// How sure a recognition is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Certainty {
    /// It could well be something else.
    Unclear,
    /// Nothing fits better, but something fits nearly as well or little was seen.
    Likely,
    /// Nothing else fits.
    Sure,
}

impl fmt::Display for Certainty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Unclear => "unclear",
            Self::Likely => "likely",
            Self::Sure => "sure",
        })
    }
}

/// Kind of a signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Signal {
    /// Not enough was heard yet.
    Early,
    /// Does not move.
    Still {
        /// Mean at the tip.
        level: Volts,
    },
    /// Mains hum of a lead that hangs in the air.
    Hum {
        /// Its frequency.
        frequency: Hertz,
    },
    /// Variable reluctance: swings through its mean, the more the faster.
    Reluctance {
        /// Peak from the mean.
        peak: Volts,
        /// Whether it reaches the ends of the input's range.
        clipped: bool,
    },
    /// Two states, as of a Hall switch; levels are not numbers when only edges were given.
    TwoLevel {
        /// Low state.
        low: Volts,
        /// High state.
        high: Volts,
    },
    /// Two states at a constant frequency with the flyback of a coil or the levels of a supply: a switched command.
    Switched {
        /// Its frequency.
        frequency: Hertz,
    },
    /// Moves, but shows no edges.
    Formless,
}

/// What the lead seems to be connected to, from its signal alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// A wheel with many teeth: on the crank, as far as one lead tells.
    Crank,
    /// A target with few edges: on a cam, as far as one lead tells.
    Cam,
    /// A switched actuator.
    Command,
    /// A steady supply.
    Supply,
    /// Nothing.
    Nothing,
    /// Cannot be told.
    Unknown,
}

/// Which way round a signal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarity {
    /// VR: falls through zero at the tooth's centre. Hall: high in the gap, a tooth pulls it low.
    Usual,
    /// The other way round.
    Inverted,
}

/// A wheel it could be.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The wheel.
    pub wheel: Wheel,
    /// Where it is taken from.
    pub origin: Origin,
    /// Tooth that is missing or damaged, counted from 1 after the gap.
    pub damaged: Option<usize>,
    /// Scatter of an interval against this wheel and a smooth engine speed, as a part of the interval.
    pub scatter: f64,
    /// Natural logarithm of how much less likely it is than the first.
    pub behind: f64,
}

/// Logarithm of likelihood: one in a thousand.
const NEAR: f64 = 7.0;

impl Candidate {
    /// Whether the signal could well come from this wheel instead of the first.
    pub fn is_near(&self) -> bool {
        self.behind < NEAR
    }
}

/// What a signal was recognised as.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognition {
    /// Kind of signal.
    pub signal: Signal,
    /// Kind of sensor, if it is one.
    pub sensor: Option<Sensor>,
    /// What the lead seems to be connected to.
    pub look: Look,
    /// The edge to time by: of a VR sensor the crossing at the tooth's centre, of a Hall sensor the more regular edge.
    pub edge: Option<EdgeKind>,
    /// How sure that is; of a Hall sensor whose edges are equally good it is unclear, and either will do.
    pub edge_certainty: Certainty,
    /// Which way round it is, if a gap or the steepness tells.
    pub polarity: Option<Polarity>,
    /// Wheels, the likeliest first. Empty when the signal is no wheel's.
    pub candidates: Vec<Candidate>,
    /// How sure the first of them is.
    pub certainty: Certainty,
    /// Revolutions of the first candidate that it rests on.
    pub revolutions: f64,
    /// Engine speed, if the first candidate gives it.
    pub speed: Option<Rpm>,
    /// Time after which the pattern repeats; of equal teeth, from one to the next.
    pub repeat: Option<Seconds>,
    /// Why it is not surer, as whole sentences.
    pub remarks: Vec<String>,
}

impl Recognition {
    /// Whether the likeliest wheel, not merely guessed, gives the same intervals as `wheel`.
    pub(crate) fn shows(&self, wheel: &Wheel) -> bool {
        let is_told = self.certainty >= Certainty::Likely;
        (self.wheel()).is_some_and(|seen| {
            is_told && evidence::Pattern::of(seen).is_like(&evidence::Pattern::of(wheel))
        })
    }

    /// The likeliest wheel.
    pub fn wheel(&self) -> Option<&Wheel> {
        self.candidates.first().map(|c| &c.wheel)
    }
}

/// Recognises the signal of one lead. Memory is bounded; samples or edges are pushed as they come.
#[derive(Debug, Clone)]
pub struct Recogniser {
    listener: Listener,
    sheet: Option<Wheel>,
}

impl Recogniser {
    /// A recogniser for samples, which `calibration` turns into volts, at `rate` samples a second.
    pub fn of_samples(calibration: Calibration, rate: Hertz) -> Self {
        Self {
            listener: Listener::new(Some(calibration), rate),
            sheet: None,
        }
    }

    /// A recogniser for edges, timed in samples of `rate` a second; no kind of sensor can be told from them.
    pub fn of_edges(rate: Hertz) -> Self {
        Self {
            listener: Listener::new(None, rate),
            sheet: None,
        }
    }

    /// Tries this wheel, too: the one that the engine sheet gives.
    pub fn with_sheet(mut self, wheel: &Wheel) -> Self {
        self.sheet = Some(wheel.clone());
        self
    }

    /// Takes consecutive samples, the first of which has index `first`. After a jump of the index it begins anew.
    pub fn push(&mut self, first: u64, samples: &[i16]) {
        self.listener.push(first, samples);
    }

    /// Takes the next edge.
    pub fn push_edge(&mut self, edge: Edge) {
        self.listener.push_edge(edge);
    }

    /// Forgets the edges so far, as after a gap.
    pub fn gap(&mut self) {
        self.listener.gap();
    }

    /// What it is, as far as was heard. Costs some milliseconds.
    pub fn recognise(&self) -> Recognition {
        ruling::rule(&self.listener, self.sheet.as_ref())
    }
}
