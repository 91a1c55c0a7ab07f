//! How good a lead's signal is: what the detector had to pass over, and how large the signal is.

/// What the detector of one lead met. The counts are since the stream's start, the sizes are of the last edges.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Quality {
    /// Edges found.
    pub edges: u64,
    /// Excursions too brief to be a state or a tooth, passed over.
    pub spikes: u64,
    /// Crossings beyond the first within one edge: contact chatter, ringing, noise.
    pub chatter: u64,
    /// Edges withheld: too slow for a switch, or as regular as the mains on a small signal.
    pub withheld: u64,
    /// Samples at an end of the input's range.
    pub clipped: u64,
    /// Size of the signal, in the lead's unit: smallest peak of the last teeth of a variable-reluctance sensor,
    /// distance of the two levels of a switched lead. `None` for leads without edges and before the first.
    pub swing: Option<f64>,
    /// Smallest peak of the last teeth over the level that a tooth must pass: near 1 the next may be missed.
    /// `None` for leads other than variable-reluctance sensors.
    pub reserve: Option<f64>,
    /// Why the edges should not be relied upon.
    pub doubt: Option<Doubt>,
}

/// Why a lead's edges should not be relied upon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// The signal is only a few counts of the input's range high.
    TooSmall,
    /// It moves as mains hum on a floating lead does.
    Hum,
    /// It reaches both ends of the input's range.
    Clipped,
}

impl Doubt {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::TooSmall => "signal too small for the input's range",
            Self::Hum => "mains hum; lead open?",
            Self::Clipped => "signal larger than the input's range",
        }
    }
}
