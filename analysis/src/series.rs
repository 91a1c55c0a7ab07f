//! Every measured value one by one, for the analysis of a recording.

use crate::duty::Period;
use crate::lead::CamId;
use crate::reading::Reading;
use crate::ripple::CylinderView;
use crate::rotation::{PhaseSample, Revolution};
use crate::snapshot::CommandSnapshot;
use crate::units::{CrankDegrees, SampleTime, Volts};
use std::sync::Arc;

/// Values in the order in which they were measured.
#[derive(Debug, Clone, Default)]
pub struct Series {
    /// Crank revolutions.
    pub revolutions: Vec<Revolution>,
    /// Cam phases, one per cam edge.
    pub phases: Vec<PhaseSample>,
    /// PWM periods of each command.
    pub periods: Vec<(CamId, Period)>,
    /// When the crank pattern was lost, to the slice of 1/200 s in which it was noticed.
    pub losses: Vec<SampleTime>,
    /// What a screen would show, 20 times a second.
    pub looks: Vec<Look>,
}

/// Readings at one instant: means over the 0.2 s before it, each beside its quality.
#[derive(Debug, Clone)]
pub struct Look {
    /// When.
    pub at: SampleTime,
    /// Supply voltage.
    pub supply: Reading<Volts>,
    /// One entry per cam of the engine sheet, in its order.
    pub cams: Vec<CamLook>,
    /// The cylinders compared with each other, the latest.
    pub cylinders: Arc<CylinderView>,
}

/// One cam at one instant.
#[derive(Debug, Clone)]
pub struct CamLook {
    /// Rolling phase.
    pub phase: Reading<CrankDegrees>,
    /// The command to its actuator.
    pub command: CommandSnapshot,
}

/// One complete engine cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineCycle {
    /// Number of the count of teeth it stands on. Cycles of different counts whose begin is not known do not
    /// compare: the same angle may be the firing TDC in one and the exchange TDC in the other.
    pub count: u64,
    /// Whether it begins at the firing TDC of cylinder 1; otherwise at its firing or its exchange TDC.
    pub is_known: bool,
    /// Instants of equally spaced crank angles from 0 to 720 degrees, both included, interpolated between teeth by
    /// a cubic through the two on either side. They strictly increase.
    pub times: Vec<SampleTime>,
}
