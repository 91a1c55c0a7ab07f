//! A snapshot as one line for people or one JSON object for programs.

use crate::screen::hookup::mistake_words;
use crate::screen::live::words;
use crate::status::{LinkState, LinkStatus};
use crate::survey::document::inquiry::Code;
use keyway_analysis::findings::Standing;
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{CamSnapshot, ProofState, Snapshot, Sync};
use serde::Serialize;
use std::fmt::Write as _;

/// The newest figures of everything.
#[derive(Debug, Clone, Serialize)]
pub struct Readout {
    /// Seconds of samples since the stream's start.
    pub seconds: f64,
    /// "streaming", "lost", "playing".
    pub link: &'static str,
    /// Samples per channel lost.
    pub lost: u64,
    /// "stopped", "searching", "revolution", "cycle".
    pub sync: &'static str,
    /// Engine speed, rpm.
    pub speed_rpm: Figure,
    /// Supply, V.
    pub supply_v: Figure,
    /// The cams of the sheet.
    pub cams: Vec<CamReadout>,
    /// The leads of the plan.
    pub leads: Vec<LeadReadout>,
    /// Where the cams stand at rest against their references, in one sentence.
    pub base_timing: String,
    /// Causes that something supports and nothing contradicts.
    pub supported: Vec<CauseReadout>,
    /// The check that best separates what remains.
    pub next_check: Option<String>,
    /// The stored codes that were named, explained and checked.
    pub codes: Vec<Code>,
}

/// A cause.
#[derive(Debug, Clone, Serialize)]
pub struct CauseReadout {
    /// In words.
    pub cause: &'static str,
    /// Cam it concerns.
    pub cam: Option<String>,
}

/// A number with its quality.
#[derive(Debug, Clone, Serialize)]
pub struct Figure {
    /// The number, if there is one.
    pub value: Option<f64>,
    /// "valid", "stale", "suspect", "missing".
    pub quality: &'static str,
    /// Why it is suspect or missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
}

/// One cam.
#[derive(Debug, Clone, Serialize)]
pub struct CamReadout {
    /// "intake", "exhaust", "intake-2", "exhaust-2".
    pub cam: String,
    /// Phase in crank degrees, advance positive.
    pub phase_deg: Figure,
    /// Where it is due, if that can be told.
    pub due_deg: Option<[f64; 2]>,
    /// Duty of the command, %.
    pub duty_pct: Figure,
    /// Frequency of the command, Hz.
    pub frequency_hz: Figure,
    /// State of agreement in words.
    pub agreement: &'static str,
    /// Whether that is a disagreement.
    pub disagrees: bool,
    /// Why, in one sentence.
    pub sentence: String,
    /// What the electrical checks say of the circuit, in words.
    pub circuit: Option<&'static str>,
    /// The same in one sentence with its numbers.
    pub circuit_sentence: Option<String>,
    /// Duty band in which the phaser holds, as learnt, %.
    pub hold_pct: Option<[f64; 2]>,
}

/// One lead.
#[derive(Debug, Clone, Serialize)]
pub struct LeadReadout {
    /// Input from 1.
    pub input: usize,
    /// Role.
    pub role: String,
    /// "proven", "doubtful", "silent", "spare".
    pub life: &'static str,
    /// A few words; if it is not proven, why not.
    pub note: String,
    /// What to try next when it is not proven.
    pub try_next: String,
    /// The mistake of the hook-up that its signal shows.
    pub mistake: Option<String>,
}

impl Figure {
    fn of<T: Copy>(reading: &Reading<T>, number: impl Fn(T) -> f64) -> Self {
        let value = reading.any().map(number);
        match reading {
            Reading::Valid(_) => Self {
                value,
                quality: "valid",
                why: None,
            },
            Reading::Stale(_, age) => Self {
                value,
                quality: "stale",
                why: Some(format!("{:.1} s old", age.0)),
            },
            Reading::Suspect(_, why) => Self {
                value,
                quality: "suspect",
                why: Some(why.to_string()),
            },
            Reading::Missing(why) => Self {
                value,
                quality: "missing",
                why: Some(why.to_string()),
            },
        }
    }

    /// Number and unit, with a mark where it is not to be trusted.
    fn words(&self, width: usize, decimals: usize, unit: &str) -> String {
        // Rounded first, so that a small negative number is not written as minus nothing.
        let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(0));
        let rounded = self.value.map(|v| (v * scale).round() / scale + 0.0);
        match (rounded, self.quality) {
            (Some(v), "valid") => format!("{v:>width$.decimals$} {unit} "),
            (Some(v), _) => format!("{v:>width$.decimals$} {unit}?"),
            (None, _) => format!("{:>width$} {unit} ", "--"),
        }
    }
}

impl Readout {
    /// The figures of a snapshot.
    pub fn of(snapshot: &Snapshot, link: &LinkStatus) -> Self {
        Self {
            seconds: snapshot.elapsed.0,
            link: match link.state {
                LinkState::Idle => "idle",
                LinkState::Connecting => "connecting",
                LinkState::Streaming => "streaming",
                LinkState::Lost(_) => "lost",
                LinkState::Failed(_) => "failed",
                LinkState::Playing => "playing",
            },
            lost: link.lost.max(snapshot.counts.lost),
            sync: match snapshot.sync {
                Sync::Stopped => "stopped",
                Sync::Searching => "searching",
                Sync::Revolution => "revolution",
                Sync::Cycle => "cycle",
            },
            speed_rpm: Figure::of(&snapshot.speed, |v| v.0),
            supply_v: Figure::of(&snapshot.supply, |v| v.0),
            cams: snapshot.cams.iter().map(CamReadout::of).collect(),
            leads: snapshot
                .leads
                .iter()
                .map(|l| LeadReadout {
                    input: l.input,
                    role: l.role.to_string(),
                    life: match l.proof {
                        ProofState::Proven => "proven",
                        ProofState::Doubtful => "doubtful",
                        ProofState::Silent => "silent",
                        ProofState::Spare => "spare",
                    },
                    note: l.note.clone(),
                    try_next: l.try_next.clone(),
                    mistake: l.mistake.map(mistake_words),
                })
                .collect(),
            base_timing: snapshot.base_timing.sentence.clone(),
            supported: (snapshot.findings.causes.iter())
                .filter(|row| row.standing == Standing::Supported)
                .map(|row| CauseReadout {
                    cause: row.cause.words(),
                    cam: row.cam.map(|c| c.to_string()),
                })
                .collect(),
            next_check: (snapshot.findings.next_check.as_ref()).map(|c| c.action.clone()),
            codes: snapshot.findings.codes.iter().map(Code::of).collect(),
        }
    }

    /// One line of text.
    pub fn line(&self) -> String {
        let mut line = format!(
            "{:7.1} s  {} {}",
            self.seconds,
            self.speed_rpm.words(6, 0, "rpm"),
            self.supply_v.words(5, 1, "V"),
        );
        for cam in &self.cams {
            // Writing to a String cannot fail.
            let _written = write!(
                line,
                " | {} {}{} {}",
                cam.cam,
                cam.phase_deg.words(6, 1, "°"),
                cam.duty_pct.words(5, 1, "%"),
                cam.agreement,
            );
            if cam.disagrees {
                let _written = write!(line, ": {}", cam.sentence);
            }
        }
        for lead in self.leads.iter().filter(|l| l.life != "proven") {
            if let Some(mistake) = &lead.mistake {
                let _written = write!(line, " | {} lead: {mistake}", lead.role);
            }
        }
        for code in self.codes.iter().filter(|c| c.bearing != "not shown") {
            let _written = write!(line, " | {}: {}", code.code, code.bearing);
        }
        if self.lost > 0 {
            let _written = write!(line, " | {} samples lost", self.lost);
        }
        line
    }
}

impl CamReadout {
    fn of(cam: &CamSnapshot) -> Self {
        Self {
            cam: cam.id.to_string(),
            phase_deg: Figure::of(&cam.phase, |v| v.0),
            due_deg: cam.due.map(|b| [b.low.0, b.high.0]),
            duty_pct: Figure::of(&cam.command.duty, |v| v.0),
            frequency_hz: Figure::of(&cam.command.frequency, |v| v.0),
            agreement: cam.agreement.state.words(),
            disagrees: cam.agreement.state.is_disagreement(),
            sentence: cam.agreement.sentence.clone(),
            circuit: (cam.circuit.as_ref()).map(|c| words::condition(c.condition)),
            circuit_sentence: cam.circuit.as_ref().map(|c| c.sentence.clone()),
            hold_pct: (cam.observer.as_ref())
                .and_then(|o| o.hold.valid())
                .map(|b| [b.low.0, b.high.0]),
        }
    }
}
