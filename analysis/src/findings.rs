//! Findings: every cause against every piece of evidence, and the one check that best separates what remains.

use crate::base_timing::BaseTiming;
use crate::circuit::CircuitView;
use crate::damage::Flaw;
use crate::lead::{CamId, Role};
use crate::observer::ObserverView;
use crate::phase::PhaseDetail;
use crate::proof::LeadProof;
use crate::reading::Reading;
use crate::snapshot::{Agreement, Sync};
use crate::trial::TrialsView;
use crate::units::{CrankDegrees, Percent, Rpm, SampleTime};

mod casebook;
mod caution;
mod check;
mod circuit_log;
mod dossier;
pub(crate) mod episode;
mod fact;
mod facts;
mod lead_log;
mod motion;
pub(crate) mod picture;
#[cfg(test)]
mod tests;
mod wheel_log;

pub use casebook::Casebook;

/// What explains what was measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Findings {
    /// The causes, those that nothing contradicts and something supports first.
    pub causes: Vec<CauseRow>,
    /// The check that best separates what remains; `None` when nothing has to be separated or nothing is known.
    pub next_check: Option<NextCheck>,
    /// The stored codes, explained and checked against what was measured.
    pub codes: Vec<CodeView>,
    /// Cautions for the checks named.
    pub cautions: Vec<String>,
}

/// A cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Cause {
    /// A lead shows something else than it should.
    LeadFault,
    /// The controller gives no command.
    NoCommand,
    /// Wire, connector or driver.
    WiringOrDriver,
    /// Supply or ground of the actuator.
    SupplyOrGround,
    /// The valve: coil or spool.
    Valve,
    /// Oil, or a sluggish phaser.
    OilOrSluggish,
    /// The phaser is stuck.
    PhaserStuck,
    /// Base timing is out: chain, belt, sprocket or key.
    BaseTiming,
    /// Tone wheel or sensor.
    WheelOrSensor,
    /// Works as commanded.
    AsCommanded,
}

impl Cause {
    /// All, in the order of the job.
    pub const ALL: [Self; 10] = [
        Self::LeadFault,
        Self::NoCommand,
        Self::WiringOrDriver,
        Self::SupplyOrGround,
        Self::Valve,
        Self::OilOrSluggish,
        Self::PhaserStuck,
        Self::BaseTiming,
        Self::WheelOrSensor,
        Self::AsCommanded,
    ];

    /// The cause in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::LeadFault => "a lead is not on its signal",
            Self::NoCommand => "the controller gives no command",
            Self::WiringOrDriver => "wiring or driver",
            Self::SupplyOrGround => "supply or ground of the valve",
            Self::Valve => "the valve",
            Self::OilOrSluggish => "oil, or a sluggish phaser",
            Self::PhaserStuck => "the phaser is stuck",
            Self::BaseTiming => "base timing is out",
            Self::WheelOrSensor => "tone wheel or sensor",
            Self::AsCommanded => "works as commanded",
        }
    }
}

/// How a piece of evidence bears on a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Bearing {
    /// Speaks for it.
    Supports,
    /// Speaks against it.
    Contradicts,
    /// Does not tell: not measured, or through a lead that is not proven.
    NotShown,
}

/// One piece of evidence against one cause.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// What was looked at, in few words: "command pin", "motion when driven", "rest position".
    pub what: &'static str,
    /// How it bears on the cause.
    pub bearing: Bearing,
    /// What was found, with its number; or why it is not shown.
    pub text: String,
    /// When in the recording; `None` when nothing was found.
    pub at: Option<SampleTime>,
    /// Leads it rests on.
    pub leads: Vec<Role>,
}

/// How a cause stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Standing {
    /// Supported by something and contradicted by nothing.
    Supported,
    /// Contradicted by nothing, supported by nothing.
    Open,
    /// Contradicted.
    Contradicted,
}

/// One cause of one cam with its evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct CauseRow {
    /// The cause.
    pub cause: Cause,
    /// Cam it concerns; `None` for the engine as a whole.
    pub cam: Option<CamId>,
    /// How it stands.
    pub standing: Standing,
    /// The evidence, in the same order in all rows of one cam.
    pub evidence: Vec<Evidence>,
}

/// A check to make next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NextCheck {
    /// What to do.
    pub action: String,
    /// Which causes its outcomes tell apart.
    pub separates: Vec<Cause>,
    /// Cam it concerns.
    pub cam: Option<CamId>,
}

/// A stored code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CodeView {
    /// As stored: "P0014".
    pub code: String,
    /// What it means, in our words; the standard and the maker's book decide.
    pub meaning: String,
    /// Whether what was measured agrees with it, and with which numbers.
    pub measured: String,
    /// How what was measured bears on it.
    pub bearing: Bearing,
}

/// One cam as the casebook sees it.
#[derive(Debug, Clone, Copy)]
pub struct CamCase<'a> {
    /// Rolling phase.
    pub phase: Reading<CrankDegrees>,
    /// Duty.
    pub duty: Reading<Percent>,
    /// Whether command and position agree.
    pub agreement: &'a Agreement,
    /// Its circuit; none without a phaser.
    pub circuit: Option<&'a CircuitView>,
    /// What has been learnt of its phaser; none without one.
    pub observer: Option<&'a ObserverView>,
    /// What its single edges say.
    pub detail: &'a PhaseDetail,
}

/// What the casebook looks at, ten times a second.
#[derive(Debug, Clone, Copy)]
pub struct CaseLook<'a> {
    /// Now.
    pub at: SampleTime,
    /// What the crank decoder knows.
    pub sync: Sync,
    /// Teeth of the crank wheel that are wrong turn after turn.
    pub damaged: &'a [(usize, Flaw)],
    /// Engine speed.
    pub speed: Reading<Rpm>,
    /// The leads of the plan with their proofs.
    pub leads: &'a [(Role, LeadProof)],
    /// The cams in the sheet's order.
    pub cams: &'a [CamCase<'a>],
    /// Base timing.
    pub base: &'a BaseTiming,
    /// Trials.
    pub trials: &'a TrialsView,
}
