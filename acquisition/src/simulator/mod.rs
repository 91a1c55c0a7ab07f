//! The virtual scope: an engine simulated behind the real protocol. It shares no code with the analysis.

pub mod source;
