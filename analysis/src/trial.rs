//! Trials that the technician runs with the controller's own commands; the tool only listens.

use crate::duty::Period;
use crate::engine::EngineSheet;
use crate::lead::{CamId, Role};
use crate::observation::Observation;
use crate::proof::ProofState;
use crate::rotation::PhaseSample;
use crate::units::{Hertz, SampleTime};
use std::sync::Arc;

/// A trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TrialKind {
    /// Where the cam stands at warm idle with the command at rest.
    RestAtIdle,
    /// The same with the actuator unplugged.
    RestUnplugged,
    /// A quick rev: does the phaser answer at all.
    SnapRev,
    /// A slow sweep of the speed: does it follow everywhere.
    SlowSweep,
    /// A step of the command and its return: dead time, rate, overshoot, settling.
    StepAndReturn,
    /// A steady speed: does it hold still.
    Hold,
    /// Back to rest several times: does it always come back to the same place.
    RestRepeated,
}

impl TrialKind {
    /// All, in the order in which a technician would run them.
    pub const ALL: [Self; 7] = [
        Self::RestAtIdle,
        Self::SnapRev,
        Self::StepAndReturn,
        Self::SlowSweep,
        Self::Hold,
        Self::RestRepeated,
        Self::RestUnplugged,
    ];
}

/// What to start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialOrder {
    /// Which trial.
    pub kind: TrialKind,
    /// On which cam.
    pub cam: CamId,
    /// Oil temperature as read by the technician, °C.
    pub oil: Option<f64>,
}

/// The trial under way.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialStatus {
    /// What was ordered.
    pub order: TrialOrder,
    /// When it began.
    pub began: SampleTime,
    /// What the technician does now.
    pub instruct: String,
    /// What is watched, with its present figure.
    pub watching: String,
    /// Share of what is enough, 0 to 1.
    pub progress: f64,
    /// What keeps it from going on, such as an unproven lead; empty when nothing does.
    pub hindrance: String,
}

/// One figure of a result.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// What it is: "dead time", "rate 10 to 90 %".
    pub name: String,
    /// The figure; `None` with `why` when it could not be measured.
    pub value: Option<f64>,
    /// Half width of its 95 % range, if known, in the same unit.
    pub uncertainty: Option<f64>,
    /// Unit as written beside it.
    pub unit: String,
    /// Why there is no figure; empty when there is.
    pub why: String,
}

/// How a trial came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// As a sound actuator does.
    Sound,
    /// Not as a sound actuator does.
    Unsound,
    /// It does not tell: too little was seen, a lead was not proven, or there is nothing to judge by.
    NotShown,
}

/// The result of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialResult {
    /// What was ordered.
    pub order: TrialOrder,
    /// When it began and ended.
    pub span: [SampleTime; 2],
    /// The figures.
    pub measures: Vec<Measure>,
    /// How it came out.
    pub outcome: Outcome,
    /// The result in one sentence.
    pub sentence: String,
    /// Leads it rests on.
    pub rests_on: Vec<Role>,
}

/// The trial under way and the results so far, oldest first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrialsView {
    /// The trial under way.
    pub running: Option<TrialStatus>,
    /// The results.
    pub results: Vec<TrialResult>,
}

/// Runs trials: told of everything while it happens.
#[derive(Debug, Clone)]
pub struct Runner {
    view: Arc<TrialsView>,
}

impl Runner {
    /// A runner for this engine.
    pub fn new(_engine: &EngineSheet, _rate: Hertz) -> Self {
        Self {
            view: Arc::default(),
        }
    }

    /// Starts a trial; one under way ends as not shown.
    pub fn start(&mut self, _order: TrialOrder, _at: SampleTime) {}

    /// Ends the trial under way with what was seen.
    pub fn stop(&mut self, _at: SampleTime) {}

    /// A cam edge.
    pub fn phase(&mut self, _sample: &PhaseSample) {}

    /// A PWM period of a cam's command.
    pub fn period(&mut self, _cam: CamId, _period: &Period) {}

    /// Looks, 50 times a second: one observation per cam in the sheet's order, with the proofs of its leads.
    pub fn look(&mut self, _seen: &[Observation], _proofs: &[(Role, ProofState)]) {}

    /// Samples were lost.
    pub fn gap(&mut self) {}

    /// Trial and results.
    pub fn view(&self) -> Arc<TrialsView> {
        Arc::clone(&self.view)
    }
}
