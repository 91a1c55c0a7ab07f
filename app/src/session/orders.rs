//! What the technician tells the analysis to do: trials, touch tests, stored codes. Live it is done
//! between two blocks; a recording keeps each with its place in the stream, so that playing it does
//! the same at the same sample.

use super::analyser::Analyser;
use keyway_acquisition::block::SampleBlock;
use keyway_acquisition::recording::cursor::Item;
use keyway_acquisition::recording::header::Note;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::trial::{TrialKind, TrialOrder};
use serde::{Deserialize, Serialize};

/// Number of the written form. It changes when a field goes away or changes its meaning; an order of
/// another form is passed over, its words stay.
const FORM: u32 = 1;

/// What the analysis is told.
#[derive(Debug, Clone, PartialEq)]
pub enum Request {
    /// The lead of this role will be touched to ground and to supply.
    AskTouch(Role),
    /// The touch test under way ends.
    EndTouch,
    /// Starts a trial.
    StartTrial(TrialOrder),
    /// Ends the trial under way with what was seen.
    StopTrial,
    /// The codes that the controller has stored, as typed.
    Codes(Vec<String>),
}

/// A request and where in the stream it was done.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Stream.
    pub generation: u64,
    /// Samples of that stream that the analysis had taken before.
    pub index: u64,
    /// What was done.
    pub request: Request,
}

/// The written form, the value of `order` in a note.
#[derive(Debug, Serialize, Deserialize)]
struct Written {
    form: u32,
    generation: u64,
    index: u64,
    #[serde(flatten)]
    deed: Deed,
}

#[derive(Debug, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
enum Deed {
    AskTouch {
        lead: Role,
    },
    EndTouch,
    StartTrial {
        trial: String,
        cam: CamId,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        oil_celsius: Option<f64>,
    },
    StopTrial,
    SetCodes {
        codes: Vec<String>,
    },
}

/// The name of a trial in files and documents.
pub fn trial_name(kind: TrialKind) -> &'static str {
    match kind {
        TrialKind::RestAtIdle => "rest-at-idle",
        TrialKind::RestUnplugged => "rest-unplugged",
        TrialKind::SnapRev => "snap-rev",
        TrialKind::SlowSweep => "slow-sweep",
        TrialKind::StepAndReturn => "step-and-return",
        TrialKind::Hold => "hold",
        TrialKind::RestRepeated => "rest-repeated",
    }
}

impl Request {
    /// In words, for whoever reads the notes of a recording.
    pub fn words(&self) -> String {
        match self {
            Self::AskTouch(role) => format!("Touch test of the {role} lead begun."),
            Self::EndTouch => "Touch test ended.".to_owned(),
            Self::StartTrial(order) => {
                let oil = order
                    .oil
                    .map_or_else(String::new, |t| format!(", oil at {t:.0} °C"));
                format!(
                    "Trial begun: {}, {} cam{oil}.",
                    trial_name(order.kind),
                    order.cam
                )
            }
            Self::StopTrial => "Trial ended by hand.".to_owned(),
            Self::Codes(codes) if codes.is_empty() => "No stored codes.".to_owned(),
            Self::Codes(codes) => format!("Stored codes: {}.", codes.join(", ")),
        }
    }
}

impl Placed {
    /// As a note of a recording.
    pub fn note(&self) -> Note {
        let deed = match &self.request {
            Request::AskTouch(lead) => Deed::AskTouch { lead: *lead },
            Request::EndTouch => Deed::EndTouch,
            Request::StartTrial(order) => Deed::StartTrial {
                trial: trial_name(order.kind).to_owned(),
                cam: order.cam,
                oil_celsius: order.oil,
            },
            Request::StopTrial => Deed::StopTrial,
            Request::Codes(codes) => Deed::SetCodes {
                codes: codes.clone(),
            },
        };
        let written = Written {
            form: FORM,
            generation: self.generation,
            index: self.index,
            deed,
        };
        Note {
            text: self.request.words(),
            order: serde_json::to_value(written).ok(),
        }
    }

    /// The order in a note, if there is one that this version understands.
    pub fn read(note: &Note) -> Option<Self> {
        let written: Written = serde_json::from_value(note.order.clone()?).ok()?;
        let request = match written.deed {
            _ if written.form != FORM => return None,
            Deed::AskTouch { lead } => Request::AskTouch(lead),
            Deed::EndTouch => Request::EndTouch,
            Deed::StartTrial {
                trial,
                cam,
                oil_celsius,
            } => Request::StartTrial(TrialOrder {
                kind: TrialKind::ALL
                    .into_iter()
                    .find(|k| trial_name(*k) == trial)?,
                cam,
                oil: oil_celsius,
            }),
            Deed::StopTrial => Request::StopTrial,
            Deed::SetCodes { codes } => Request::Codes(codes),
        };
        Some(Self {
            generation: written.generation,
            index: written.index,
            request,
        })
    }
}

/// The orders of a recording, done where they were done.
#[derive(Debug, Clone, Default)]
pub struct Script {
    placed: Vec<Placed>,
    /// How many of them lie behind, and the stream that runs.
    next: usize,
    generation: u64,
    /// Whether the stream has been fed.
    is_fed: bool,
    /// Where the recording begins: stream and sample.
    earliest: Option<(u64, u64)>,
    /// Codes that hold from the begin on.
    codes: Vec<String>,
}

impl Script {
    /// The orders in a recording. Such as cannot be understood are logged and passed over.
    pub fn of(recording: &Recording) -> Self {
        let mut script = Self::default();
        for entry in recording.words().unwrap_or_default() {
            let Item::Note(note) = entry.item else {
                continue;
            };
            match Placed::read(&note) {
                Some(placed) => script.placed.push(placed),
                None if note.order.is_some() => {
                    tracing::warn!("this version does not understand the order: {}", note.text);
                }
                None => {}
            }
        }
        script.placed.sort_by_key(|p| (p.generation, p.index));
        script
    }

    /// Takes in what was just done.
    pub fn add(&mut self, placed: Placed) {
        let key = (placed.generation, placed.index);
        let at = self
            .placed
            .partition_point(|p| (p.generation, p.index) <= key);
        self.placed.insert(at, placed);
        self.next = at + 1;
    }

    /// With these codes from the begin on instead of those that were typed.
    pub fn set_codes(&mut self, codes: &[String]) {
        self.placed
            .retain(|p| !matches!(p.request, Request::Codes(_)));
        self.codes = codes.to_vec();
    }

    /// A stream begins, at this sample or anew from there. Of what was told earlier only the codes
    /// hold on: a trial or a touch test that began before cannot be seen from its middle.
    pub fn begin(&mut self, analyser: &mut Analyser, generation: u64, index: u64) {
        self.generation = generation;
        self.is_fed = false;
        let here = (generation, index);
        let key = |p: &Placed| (p.generation, p.index);
        // What stands before the recording's first sample is done with that sample.
        self.next = if *self.earliest.get_or_insert(here) == here {
            0
        } else {
            self.placed.partition_point(|p| key(p) < here)
        };
        let past = self.placed[..self.next].iter().rev();
        let mut codes = past.filter_map(|p| match &p.request {
            Request::Codes(codes) => Some(codes),
            _ => None,
        });
        let codes = codes.next().unwrap_or(&self.codes).clone();
        analyser.obey(&Request::Codes(codes));
    }

    /// Feeds a block, and does what is due within it at its sample.
    pub fn feed(&mut self, analyser: &mut Analyser, block: &SampleBlock) {
        let mut from = block.first_index;
        let end = block.end_index();
        while let Some(placed) = self.placed.get(self.next) {
            if placed.generation > self.generation || placed.index > end {
                break;
            }
            let at = placed.index.clamp(block.first_index, end);
            // Before the first sample there is no now at which anything could begin.
            let at = if self.is_fed || at > from { at } else { end };
            if at > from {
                analyser.push_part(block, from, at);
                self.is_fed = true;
                from = at;
            }
            analyser.obey(&placed.request);
            self.next += 1;
        }
        if from < end {
            analyser.push_part(block, from, end);
            self.is_fed = true;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_is_read_as_it_was_written() {
        for request in [
            Request::AskTouch(Role::Command(CamId::EXHAUST)),
            Request::EndTouch,
            Request::StartTrial(TrialOrder {
                kind: TrialKind::StepAndReturn,
                cam: CamId::INTAKE,
                oil: Some(88.0),
            }),
            Request::StopTrial,
            Request::Codes(vec!["P0014".to_owned()]),
        ] {
            let placed = Placed {
                generation: 2,
                index: 1_234_567,
                request,
            };
            assert_eq!(Placed::read(&placed.note()), Some(placed));
        }
    }

    #[test]
    fn words_alone_and_later_forms_are_no_orders() {
        let mut note = Note {
            text: "revved twice".to_owned(),
            order: None,
        };
        assert_eq!(Placed::read(&note), None);
        let later = serde_json::json!({"form": 2, "generation": 0, "index": 1, "do": "stop-trial"});
        note.order = Some(later);
        assert_eq!(Placed::read(&note), None);
    }
}
