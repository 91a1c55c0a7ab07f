//! What the screen, the watcher and the report see: immutable plain data, every number beside its quality.

use crate::base_timing::BaseTiming;
use crate::circuit::CircuitView;
use crate::damage::Flaw;
use crate::findings::Findings;
use crate::lead::{CamId, Role};
use crate::observer::ObserverView;
use crate::phase::PhaseDetail;
pub use crate::proof::{Mistake, ProofState, Touch};
use crate::quality::Quality;
use crate::reading::Reading;
use crate::recognise::{Proposal, Recognition};
use crate::ripple::CylinderView;
use crate::trial::TrialsView;
use crate::units::{
    Amperes, Band, CrankAngle, CrankDegrees, Hertz, Percent, Rpm, SampleTime, Seconds, Volts,
};
use std::sync::Arc;

/// The state of everything at one instant of the stream.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// End of the samples seen so far.
    pub at: SampleTime,
    /// The same as time since the stream's first sample.
    pub elapsed: Seconds,
    /// Engine speed, mean over the last 0.2 s.
    pub speed: Reading<Rpm>,
    /// What the crank decoder knows.
    pub sync: Sync,
    /// Position in the engine cycle at `at`; `None` when not known or not certain.
    pub angle: Option<CrankAngle>,
    /// Teeth of the crank wheel that are wrong turn after turn, counted from 0 after the gap.
    pub damaged_teeth: Vec<(usize, Flaw)>,
    /// One entry per cam of the engine sheet, in its order.
    pub cams: Vec<CamSnapshot>,
    /// Supply voltage, mean over the last 0.2 s.
    pub supply: Reading<Volts>,
    /// Peak to peak of the supply over the last 0.2 s.
    pub supply_ripple: Reading<Volts>,
    /// One entry per lead of the plan, in its order.
    pub leads: Vec<LeadSnapshot>,
    /// The cylinders compared with each other, by the ripple of the crank's speed.
    pub cylinders: Arc<CylinderView>,
    /// Where the cams stand at rest against their references, all considered together.
    pub base_timing: Arc<BaseTiming>,
    /// The trial under way and the results so far.
    pub trials: Arc<TrialsView>,
    /// What explains what was measured.
    pub findings: Arc<Findings>,
    /// Rolling history for the agreement strip, oldest first, 20 points a second, at most 60 s.
    pub history: Arc<[HistoryPoint]>,
    /// The state changes so far, oldest first; of very many the last 10,000.
    pub events: Arc<[Event]>,
    /// Where a lead's signal looks different from what the engine sheet says; proposals only.
    pub proposals: Vec<Proposal>,
    /// Counts of what went wrong and right.
    pub counts: Counts,
}

/// What the crank decoder knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sync {
    /// No teeth, or the crank stands.
    Stopped,
    /// Teeth, but no gap found yet.
    Searching,
    /// Angle known within one revolution.
    Revolution,
    /// Angle known within the 720 degree cycle.
    Cycle,
}

/// One cam.
#[derive(Debug, Clone)]
pub struct CamSnapshot {
    /// Which.
    pub id: CamId,
    /// Rolling phase against the reference at rest: mean over the edges of the last cam revolution, advance positive.
    pub phase: Reading<CrankDegrees>,
    /// Spread (standard deviation) of the edges in that mean.
    pub spread: Option<CrankDegrees>,
    /// What the single edges say beside the phase.
    pub detail: PhaseDetail,
    /// Phase that the command lets expect, if it can be told.
    pub due: Option<Band<CrankDegrees>>,
    /// Reference windows at rest: angle of the rising and of the falling edge.
    pub reference: Vec<[CrankAngle; 2]>,
    /// Windows as measured over the last cycle; empty when not known.
    pub measured: Vec<[CrankAngle; 2]>,
    /// The command to its actuator.
    pub command: CommandSnapshot,
    /// What the electrical checks say of the circuit of its actuator; none without a phaser.
    pub circuit: Option<Arc<CircuitView>>,
    /// What has been learnt of its phaser; none without one.
    pub observer: Option<Arc<ObserverView>>,
    /// Whether command and position agree.
    pub agreement: Agreement,
}

/// The command to one actuator (ground-switched: duty is the share of time the pin is low).
#[derive(Debug, Clone)]
pub struct CommandSnapshot {
    /// Duty, mean over the last 0.2 s.
    pub duty: Reading<Percent>,
    /// PWM frequency.
    pub frequency: Reading<Hertz>,
    /// Level while on.
    pub low: Reading<Volts>,
    /// Level while off, after the flyback.
    pub high: Reading<Volts>,
    /// Zone in which no motion is owed.
    pub hold: Option<Band<Percent>>,
    /// Mean current.
    pub current: Reading<Amperes>,
}

/// Whether command and position agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum AgreementState {
    /// Position does what the command asks.
    Following,
    /// It moves the right way, too slowly.
    Lagging,
    /// It does not move although it must.
    NotFollowing,
    /// It moves the other way.
    AgainstCommand,
    /// It is commanded to rest and is elsewhere.
    OffRest,
    /// It swings to and fro.
    Hunting,
    /// The actuator is not driven.
    NoCommand,
    /// The cam sensor gives nothing to judge by.
    NoPosition,
    /// Cannot be judged; the sentence says why.
    NotJudged,
}

impl AgreementState {
    /// The state in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Following => "following",
            Self::Lagging => "lagging",
            Self::NotFollowing => "not following",
            Self::AgainstCommand => "against command",
            Self::OffRest => "off rest",
            Self::Hunting => "hunting",
            Self::NoCommand => "no command",
            Self::NoPosition => "no position",
            Self::NotJudged => "not judged",
        }
    }

    /// Whether the screen must raise it.
    pub fn is_disagreement(self) -> bool {
        matches!(
            self,
            Self::Lagging
                | Self::NotFollowing
                | Self::AgainstCommand
                | Self::OffRest
                | Self::Hunting
                | Self::NoCommand
                | Self::NoPosition
        )
    }
}

/// The judgement on one cam.
#[derive(Debug, Clone)]
pub struct Agreement {
    /// The state.
    pub state: AgreementState,
    /// Since when: the onset, not the moment of decision.
    pub since: SampleTime,
    /// What is the case, by how much and since when, in one sentence without the cam's name in front:
    /// "78 % commanded for 2.4 s, moved 0.6°, at least 8° was due."
    pub sentence: String,
    /// Roles of the leads it rests on.
    pub rests_on: Vec<Role>,
}

/// One lead.
#[derive(Debug, Clone)]
pub struct LeadSnapshot {
    /// Input, from 1.
    pub input: usize,
    /// Role.
    pub role: Role,
    /// Where to connect.
    pub place: String,
    /// Whether its signal is what its role should show.
    pub proof: ProofState,
    /// A few words: "60-2, locked", "4 windows", "200 Hz", "13.7 V"; if it is not proven, why not.
    pub note: String,
    /// What to try next when it is not proven; empty otherwise.
    pub try_next: String,
    /// The mistake of the hook-up that its signal shows, if one is recognised.
    pub mistake: Option<Mistake>,
    /// How far it has been touched to ground and supply, while that was asked for.
    pub touch: Option<Touch>,
    /// Lowest and highest value of the last second, in `unit`.
    pub range: Option<[f64; 2]>,
    /// Mean of the last second.
    pub level: Option<f64>,
    /// "V", "A", "kPa".
    pub unit: String,
    /// What the signal of a crank or cam lead looks like; `None` for other leads, and before enough was heard.
    pub recognition: Option<Arc<Recognition>>,
    /// What its detector had to pass over, and how large the signal is.
    pub quality: Quality,
}

/// One point of the history, 1/20 s.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryPoint {
    /// Middle of the interval.
    pub at: SampleTime,
    /// Engine speed if valid.
    pub speed: Option<Rpm>,
    /// Supply voltage if valid, mean over the 0.2 s before the end of the interval.
    pub supply: Option<Volts>,
    /// One per cam, in the sheet's order.
    pub cams: Arc<[CamPoint]>,
}

/// One cam at one point of the history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CamPoint {
    /// Duty if valid.
    pub duty: Option<Percent>,
    /// Phase if valid.
    pub phase: Option<CrankDegrees>,
    /// Where the phase was due.
    pub due: Option<Band<CrankDegrees>>,
    /// State; an onset found later is written back into the points it covers.
    pub state: AgreementState,
}

/// A change of state.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Onset.
    pub at: SampleTime,
    /// When it was decided.
    pub decided: SampleTime,
    /// Cam it concerns.
    pub cam: Option<CamId>,
    /// New state, if it is one of agreement.
    pub state: Option<AgreementState>,
    /// In words.
    pub text: String,
}

/// Counts since the stream's start.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Samples per channel analysed.
    pub samples: u64,
    /// Gaps in the stream.
    pub gaps: u64,
    /// Samples lost in gaps.
    pub lost: u64,
    /// Crank revolutions with valid angle.
    pub revolutions: u64,
    /// Times the crank pattern was lost.
    pub sync_losses: u64,
    /// Cam edges that fitted no reference edge.
    pub stray_cam_edges: u64,
    /// Events that are no longer listed because too many came after them.
    pub dropped_events: u64,
}

/// Minimum and maximum per column of one lead's trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    /// Role of the lead.
    pub role: Role,
    /// Unit of the values.
    pub unit: String,
    /// [min, max] per column, oldest first; a column without samples is `None`.
    pub columns: Vec<Option<[f32; 2]>>,
}

/// Traces of all leads over one span.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Traces {
    /// Length of the span: time for a time view; for a crank-locked view the columns span 720 degrees.
    pub span: Seconds,
    /// One per lead.
    pub leads: Vec<Trace>,
}
