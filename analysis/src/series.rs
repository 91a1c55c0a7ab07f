//! Every measured value one by one, for the analysis of a recording.

use crate::duty::Period;
use crate::lead::CamId;
use crate::rotation::{PhaseSample, Revolution};
use crate::units::SampleTime;

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
}
