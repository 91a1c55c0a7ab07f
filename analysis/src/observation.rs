//! What one judgement looks at.

use crate::sentence::Reason;
use crate::units::{CrankDegrees, Percent, Rpm, SampleTime, Volts};

/// What is known of the engine at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EngineView {
    /// Does not turn.
    Stopped,
    /// Turns; the pattern is not found.
    NoSync,
    /// Angle known within a revolution only.
    Revolution,
    /// The same, for so long that the cam edges must be taken not to fit.
    Mismatch,
    /// The cams fit an even crank wheel at more than one tooth, so that the angle is not known.
    Several,
    /// Angle known within the cycle.
    Cycle(Rpm),
}

/// What is known of the command.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CommandView {
    /// No lead.
    NoLead,
    /// The lead shows nothing.
    Silent,
    /// The lead switches, but not between ground and supply.
    Doubtful,
    /// Not enough seen.
    Measuring,
    /// It switches.
    Duty(Percent),
    /// It stands near ground.
    Ground,
    /// It stands at a level that is not ground, since that instant.
    Stands(Volts, SampleTime),
}

/// What is known of the position.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PositionView {
    /// No lead.
    NoLead,
    /// The lead shows nothing.
    Silent,
    /// Not known for a reason that is not a fault.
    Unknown(Reason),
    /// No edges since that instant; the lead stands at that level.
    NoEdges(SampleTime, Option<Volts>),
    /// The cam phase.
    Phase(CrankDegrees),
}

/// What one judgement looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// When.
    pub at: SampleTime,
    /// The engine.
    pub engine: EngineView,
    /// The command.
    pub command: CommandView,
    /// The position.
    pub position: PositionView,
    /// Supply, if known to be steady.
    pub supply: Option<Volts>,
}
