//! What `keyway analyse --json` prints, as types. The schema that `keyway analyse --schema` prints
//! is made from these types and their comments, so that the two cannot drift apart.

use super::Survey;
use super::cam::{CamSurvey, EdgeSurvey};
use super::column::{DutyColumns, PhaseColumns, RevolutionColumns};
use super::spread::Spread;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{AgreementState, LeadLife, LeadSnapshot, Sync};
use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;
use std::collections::BTreeMap;

/// Number of this form. It changes when a field goes away or changes its meaning; new fields leave it.
const FORM: u32 = 1;

/// A recording measured by Keyway. Times are seconds from the begin of the stream, angles crank
/// degrees, phases against the reference in the engine sheet with advance positive. What is not
/// known is null with a reason beside it.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields, title = "Keyway analysis")]
pub struct Document {
    /// Number of this form: 1. It changes when a field goes away or changes its meaning.
    pub form: u32,
    /// What was measured.
    pub recording: Origin,
    /// One entry per stream, in order. A scope that was unplugged and came back begins a new stream;
    /// nothing is measured across.
    pub streams: Vec<Stream>,
}

/// The recording that was measured.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Origin {
    /// File, as it was named on the command line.
    pub file: String,
    /// Name of the engine in the engine sheet.
    pub engine: String,
    /// When the recording was started, nanoseconds since 1970-01-01 UTC.
    pub started_ns: u64,
    /// What of the file cannot be read and why, in a sentence; null if it is whole.
    pub shortfall: Option<String>,
}

/// One stream.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Stream {
    /// Length, seconds.
    pub seconds: f64,
    /// Samples per second and channel, hertz.
    pub rate_hz: f64,
    /// How good the stream and what was found in it are.
    pub quality: Quality,
    /// The crank and its tone wheel.
    pub crank: Crank,
    /// The cams of the engine sheet, in its order.
    pub cams: Vec<Cam>,
    /// The leads of the lead plan at the end, in its order.
    pub leads: Vec<Lead>,
    /// What happened, in the order of the onsets.
    pub events: Vec<Happening>,
}

/// A value, or why there is none.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
#[schemars(deny_unknown_fields, rename = "Known_{T}")]
pub enum Known<T> {
    /// It is known.
    Yes {
        /// The value.
        value: T,
    },
    /// It is not known.
    No {
        /// Nothing.
        value: (),
        /// Why it is not known.
        reason: String,
    },
}

impl<T> Known<T> {
    fn of(value: Option<T>, reason: impl Into<String>) -> Self {
        match value {
            Some(value) => Self::Yes { value },
            None => Self::No {
                value: (),
                reason: reason.into(),
            },
        }
    }
}

/// Counts of what went wrong and right.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Quality {
    /// Samples per channel.
    pub samples: u64,
    /// Gaps in the stream; no interval is measured across one.
    pub gaps: u64,
    /// Samples per channel lost in the gaps.
    pub lost_samples: u64,
    /// Crank revolutions with a valid angle.
    pub revolutions: u64,
    /// Times the crank pattern was lost while the crank turned.
    pub sync_losses: u64,
    /// Cam edges that fitted no edge of the engine sheet.
    pub stray_cam_edges: u64,
}

/// The crank and its tone wheel.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Crank {
    /// The tone wheel of the engine sheet, in the notation of engine sheets.
    pub wheel: String,
    /// What was known of the angle at the end.
    pub sync: SyncWord,
    /// Engine speed over the time in which it was known, rpm; 20 points a second.
    pub speed_rpm: Known<Spread>,
    /// Speed over whole revolutions, rpm.
    pub revolution_speed_rpm: Known<Spread>,
    /// Speed of each revolution.
    pub revolutions: Known<RevolutionColumns>,
    /// When the crank pattern was lost, seconds.
    pub sync_losses: Vec<f64>,
}

/// What was known of the angle.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SyncWord {
    /// No teeth, or the crank stands.
    Stopped,
    /// Teeth, but the pattern is not found.
    Searching,
    /// The angle within one revolution.
    Revolution,
    /// The angle within the 720 degrees of the cycle.
    Cycle,
}

/// One cam.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Cam {
    /// "intake" or "exhaust", with "-2" on the second bank.
    pub cam: String,
    /// Phase over all edges, crank degrees.
    pub phase_deg: Known<Spread>,
    /// Phase over the rising edges alone, crank degrees: the two edges of a sensor have errors of their own.
    pub rising_phase_deg: Known<Spread>,
    /// Phase over the falling edges alone, crank degrees.
    pub falling_phase_deg: Known<Spread>,
    /// By how much the phase of one and the same edge varies from cycle to cycle, as a standard
    /// deviation in crank degrees, from the median step. Motion of the cam in fewer than half of the
    /// cycles hardly counts.
    pub phase_noise_deg: Known<f64>,
    /// The edges of the cam's pattern, in the order of the engine sheet.
    pub edges: Vec<Edge>,
    /// Phase at each edge.
    pub phases: Known<PhaseColumns>,
    /// Share of time in which the valve is driven, over whole periods, percent.
    pub duty_pct: Known<Spread>,
    /// Frequency of the command, hertz.
    pub frequency_hz: Known<Spread>,
    /// Each period of the command.
    pub periods: Known<DutyColumns>,
    /// Seconds in each state of agreement between command and position.
    pub seconds_by_agreement: BTreeMap<&'static str, f64>,
    /// Whether command and position disagreed at any time.
    pub disagreed: bool,
}

/// One edge of a cam's pattern.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Edge {
    /// Direction.
    pub kind: Direction,
    /// Angle in the engine sheet, crank degrees after firing TDC of cylinder 1.
    #[schemars(range(min = 0, max = 720))]
    pub reference_deg: f64,
    /// Mean measured angle, crank degrees after firing TDC of cylinder 1.
    pub measured_deg: Known<f64>,
    /// Phase at this edge, crank degrees.
    pub phase_deg: Known<Spread>,
}

/// Direction of an edge of the signal.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Upwards.
    Rising,
    /// Downwards.
    Falling,
}

/// One lead.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Lead {
    /// Input of the scope, from 1.
    pub input: usize,
    /// What it is connected to, as in the lead plan.
    pub role: String,
    /// Whether it shows what it should.
    pub state: LeadWord,
    /// A few words.
    pub note: String,
}

/// State of a lead.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LeadWord {
    /// Shows what its role should show.
    Alive,
    /// Shows something else.
    Doubtful,
    /// Shows nothing.
    Silent,
    /// Not fitted.
    Spare,
}

/// Something that happened.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Happening {
    /// Onset, seconds.
    pub seconds: f64,
    /// When it was decided, seconds.
    pub decided_seconds: f64,
    /// The cam it is about; null if it is about none.
    pub cam: Option<String>,
    /// The new state of agreement; null if it is none.
    pub agreement: Option<&'static str>,
    /// In words.
    pub text: String,
}

/// The schema of [`Document`]: JSON Schema, draft 2020-12.
pub fn schema() -> Schema {
    schema_for!(Document)
}

impl Document {
    /// Puts together what was measured.
    pub fn new(file: String, recording: &Recording, engine: String, surveys: Vec<Survey>) -> Self {
        Self {
            form: FORM,
            recording: Origin {
                file,
                engine,
                started_ns: recording.header().started_ns,
                shortfall: recording.shortfall(),
            },
            streams: surveys.into_iter().map(Stream::of).collect(),
        }
    }
}

/// Why single values are missing where they were not asked for.
const LEFT_OUT: &str = "left out with --no-series";

impl Stream {
    fn of(mut survey: Survey) -> Self {
        let counts = survey.last.counts;
        let cams = std::mem::take(&mut survey.cams);
        Self {
            seconds: survey.seconds,
            rate_hz: survey.rate_hz,
            quality: Quality {
                samples: counts.samples,
                gaps: counts.gaps,
                lost_samples: counts.lost,
                revolutions: counts.revolutions,
                sync_losses: counts.sync_losses,
                stray_cam_edges: counts.stray_cam_edges,
            },
            cams: cams
                .into_iter()
                .enumerate()
                .map(|(i, cam)| Cam::of(cam, i, &survey))
                .collect(),
            leads: survey.last.leads.iter().map(Lead::of).collect(),
            events: survey
                .events
                .iter()
                .map(|e| Happening {
                    seconds: survey.seconds_at(e.at),
                    decided_seconds: survey.seconds_at(e.decided),
                    cam: e.cam.map(|c| c.to_string()),
                    agreement: e.state.map(AgreementState::words),
                    text: e.text.clone(),
                })
                .collect(),
            crank: Crank::of(survey),
        }
    }
}

/// Why a reading that was missing over a whole recording was missing, from how it ended.
fn reason<T: Copy>(last: &Reading<T>) -> String {
    match last {
        Reading::Missing(why) | Reading::Suspect(_, why) => why.to_string(),
        Reading::Valid(_) | Reading::Stale(..) => Why::NotEnoughYet.to_string(),
    }
}

impl Crank {
    fn of(survey: Survey) -> Self {
        let why = reason(&survey.last.speed);
        Self {
            wheel: survey.sheet.crank.wheel.clone(),
            sync: match survey.last.sync {
                Sync::Stopped => SyncWord::Stopped,
                Sync::Searching => SyncWord::Searching,
                Sync::Revolution => SyncWord::Revolution,
                Sync::Cycle => SyncWord::Cycle,
            },
            speed_rpm: Known::of(survey.speed, &why),
            revolution_speed_rpm: Known::of(survey.crank.speed(), &why),
            sync_losses: survey.crank.losses,
            revolutions: Known::of(survey.crank.series, LEFT_OUT),
        }
    }
}

impl Cam {
    fn of(cam: CamSurvey, index: usize, survey: &Survey) -> Self {
        let last = survey.last.cams.get(index);
        let phase = last.map_or_else(String::new, |c| reason(&c.phase));
        let duty = last.map_or_else(String::new, |c| reason(&c.command.duty));
        Self {
            cam: cam.id.to_string(),
            phase_deg: Known::of(cam.phase(), &phase),
            rising_phase_deg: Known::of(cam.phase_of(EdgeKind::Rising), &phase),
            falling_phase_deg: Known::of(cam.phase_of(EdgeKind::Falling), &phase),
            phase_noise_deg: Known::of(
                cam.noise(),
                if cam.phase().is_some() {
                    "no edge was seen often enough"
                } else {
                    &phase
                },
            ),
            edges: cam.edges.iter().map(|e| Edge::of(e, &phase)).collect(),
            duty_pct: Known::of(cam.duty(), &duty),
            frequency_hz: Known::of(cam.frequency(), &duty),
            phases: Known::of(cam.phases, LEFT_OUT),
            periods: Known::of(cam.periods, LEFT_OUT),
            seconds_by_agreement: cam.states,
            disagreed: cam.disagreed,
        }
    }
}

impl Edge {
    fn of(edge: &EdgeSurvey, why: &str) -> Self {
        Self {
            kind: match edge.kind {
                EdgeKind::Rising => Direction::Rising,
                EdgeKind::Falling => Direction::Falling,
            },
            reference_deg: edge.reference,
            measured_deg: Known::of(edge.measured(), why),
            phase_deg: Known::of(edge.phase(), why),
        }
    }
}

impl Lead {
    fn of(lead: &LeadSnapshot) -> Self {
        Self {
            input: lead.input,
            role: lead.role.to_string(),
            state: match lead.life {
                LeadLife::Alive => LeadWord::Alive,
                LeadLife::Doubtful => LeadWord::Doubtful,
                LeadLife::Silent => LeadWord::Silent,
                LeadLife::Spare => LeadWord::Spare,
            },
            note: lead.note.clone(),
        }
    }
}
