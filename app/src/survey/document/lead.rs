//! A lead in the document.

use super::Known;
use crate::screen::hookup::mistake_words;
use keyway_analysis::quality::Doubt;
use keyway_analysis::snapshot::{LeadSnapshot, ProofState};
use schemars::JsonSchema;
use serde::Serialize;

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
    /// A few words; if it is not proven, why not.
    pub note: String,
    /// What to try next when it is not proven; empty otherwise.
    pub try_next: String,
    /// The mistake of the hook-up that its signal shows; null if none is recognised.
    pub mistake: Option<String>,
    /// What its detector met.
    pub quality: LeadQuality,
}

/// What the detector of a lead met. Counts are since the begin of the stream, sizes of the last edges.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LeadQuality {
    /// Edges found.
    pub edges: u64,
    /// Excursions too brief to be a state or a tooth, passed over.
    pub spikes: u64,
    /// Crossings beyond the first within one edge: contact chatter, ringing, noise.
    pub chatter: u64,
    /// Edges withheld: too slow for a switch, or as regular as the mains on a small signal.
    pub withheld: u64,
    /// Samples at an end of the input's range.
    pub clipped: u64,
    /// Size of the signal in the lead's unit: smallest peak of the last teeth of a
    /// variable-reluctance sensor, distance of the two levels of a switched lead.
    pub swing: Known<f64>,
    /// Smallest peak of the last teeth over the level that a tooth must pass: near 1 the next may be missed.
    pub reserve: Known<f64>,
    /// Why its edges should not be relied upon; null if nothing speaks against them.
    pub doubt: Option<&'static str>,
}

/// State of a lead.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LeadWord {
    /// Shows what its role should show.
    Proven,
    /// Shows something else.
    Doubtful,
    /// Shows nothing.
    Silent,
    /// Not fitted.
    Spare,
}

impl Lead {
    pub(super) fn of(lead: &LeadSnapshot) -> Self {
        let quality = lead.quality;
        Self {
            input: lead.input,
            role: lead.role.to_string(),
            state: match lead.proof {
                ProofState::Proven => LeadWord::Proven,
                ProofState::Doubtful => LeadWord::Doubtful,
                ProofState::Silent => LeadWord::Silent,
                ProofState::Spare => LeadWord::Spare,
            },
            note: lead.note.clone(),
            try_next: lead.try_next.clone(),
            mistake: lead.mistake.map(mistake_words),
            quality: LeadQuality {
                edges: quality.edges,
                spikes: quality.spikes,
                chatter: quality.chatter,
                withheld: quality.withheld,
                clipped: quality.clipped,
                swing: Known::of(quality.swing, "no edges"),
                reserve: Known::of(quality.reserve, "no teeth of a variable-reluctance sensor"),
                doubt: quality.doubt.map(Doubt::words),
            },
        }
    }
}
