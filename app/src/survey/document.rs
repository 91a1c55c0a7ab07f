//! What `keyway analyse --json` prints, as types. The schema that `keyway analyse --schema` prints
//! is made from these types and their comments, so that the two cannot drift apart.

mod cam;
mod cylinder;
pub mod inquiry;
mod lead;
mod recognised;

use super::Survey;
use super::column::RevolutionColumns;
use super::spread::Spread;
use cam::Cam;
use cylinder::Cylinders;
use inquiry::{Base, Found, Trial};
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::damage::Flaw;
use keyway_analysis::lead::Role;
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{AgreementState, Sync};
use lead::Lead;
use recognised::Recognised;
use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;

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
    /// The cylinders compared with each other.
    pub cylinders: Cylinders,
    /// The leads of the lead plan at the end, in its order.
    pub leads: Vec<Lead>,
    /// What happened, in the order of the onsets.
    pub events: Vec<Happening>,
    /// Where the cams stand at rest against their references, all considered together, at the end.
    pub base_timing: Base,
    /// The results of the trials that were run, in their order.
    pub trials: Vec<Trial>,
    /// What explains what was measured: every cause against every piece of evidence.
    pub findings: Found,
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
    /// What the signal of the crank lead looks like.
    pub recognised: Known<Recognised>,
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
    /// Teeth that were wrong turn after turn, as known at the end.
    pub damaged_teeth: Vec<Tooth>,
}

/// A tooth of the wheel that is wrong.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Tooth {
    /// Which, counted from 1 after the gap.
    pub tooth: usize,
    /// What is wrong with it.
    pub flaw: FlawWord,
}

/// What is wrong with a tooth.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FlawWord {
    /// No edge comes from it.
    Missing,
    /// Its edge is out of place.
    Misplaced,
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
            cylinders: Cylinders::of(&survey.last.cylinders, |at| survey.seconds_at(at)),
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
            base_timing: Base::of(&survey.last.base_timing),
            trials: inquiry::trials(&survey.last.trials, &|at| survey.seconds_at(at)),
            findings: Found::of(&survey.last.findings, &|at| survey.seconds_at(at)),
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
            recognised: Recognised::of(&survey.last, Role::Crank),
            sync: match survey.last.sync {
                Sync::Stopped => SyncWord::Stopped,
                Sync::Searching => SyncWord::Searching,
                Sync::Revolution => SyncWord::Revolution,
                Sync::Cycle => SyncWord::Cycle,
            },
            speed_rpm: Known::of(survey.speed, &why),
            revolution_speed_rpm: Known::of(survey.crank.speed(), &why),
            sync_losses: survey.crank.losses,
            damaged_teeth: survey
                .last
                .damaged_teeth
                .iter()
                .map(|(tooth, flaw)| Tooth {
                    tooth: tooth + 1,
                    flaw: match flaw {
                        Flaw::Missing => FlawWord::Missing,
                        Flaw::Misplaced => FlawWord::Misplaced,
                    },
                })
                .collect(),
            revolutions: Known::of(survey.crank.series, LEFT_OUT),
        }
    }
}
