//! What a recording says of itself, and the names under which it says it.

use serde::{Deserialize, Serialize};

/// Version of the recording format this program writes; it reads this one and no other.
pub const FORMAT: u32 = 1;

/// MCAP profile in the file's first record.
pub(crate) const PROFILE: &str = "keyway";
/// Metadata record at the start.
pub(crate) const SESSION: &str = "keyway.session";
/// Metadata record at the start of each stream.
pub(crate) const STREAM: &str = "keyway.stream";
/// Attachment with the engine sheet.
pub(crate) const ENGINE_SHEET: &str = "engine.toml";
/// Attachment with the lead plan.
pub(crate) const LEAD_PLAN: &str = "leads.toml";
/// Attachment with the import plan, in a recording that was made from a file.
pub(crate) const IMPORT_PLAN: &str = "import.toml";
/// Topic of notes.
pub(crate) const NOTES: &str = "/notes";
/// Topic of lead events.
pub(crate) const LEAD_EVENTS: &str = "/leads";
/// Message encoding of samples, described in `acquisition/README.md`.
pub(crate) const SAMPLE_ENCODING: &str = "keyway-i16-delta";

/// What is known before the first sample.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RecordingHeader {
    /// When the recording was started, nanoseconds since 1970 (UTC).
    pub started_ns: u64,
    /// Who records; may be empty.
    pub operator: String,
    /// A first note; may be empty.
    pub note: String,
    /// Program and version that write.
    pub software: String,
    /// Engine sheet as TOML.
    pub engine_sheet: String,
    /// Lead plan as TOML.
    pub lead_plan: String,
    /// Where an imported recording comes from: its import plan as TOML with the file it was made from
    /// in the comments above. Empty when it was recorded from a scope.
    pub import_plan: String,
}

/// Words written during the recording.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Note {
    /// The words.
    pub text: String,
    /// What the analysis was told to do at that moment, as any JSON: who reads the recording
    /// understands it or passes over it. `None` for mere words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<serde_json::Value>,
}

/// A lead that came alive, fell silent or became doubtful.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeadEvent {
    /// Device input, counted from 1.
    pub input: usize,
    /// Role of the lead, as in the lead plan.
    pub role: String,
    /// New state: "alive", "doubtful", "silent".
    pub life: String,
    /// In words.
    pub text: String,
}
