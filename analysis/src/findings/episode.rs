//! The times at which position and command did not agree, with what was measured meanwhile. Times are seconds.

use crate::circuit::Condition;
use crate::snapshot::{Agreement, AgreementState};

/// Episodes kept of one cam; of more the oldest go.
const MOST: usize = 400;

/// Least and greatest of what was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Range {
    pub low: f64,
    pub high: f64,
}

impl Range {
    pub const EMPTY: Self = Self {
        low: f64::INFINITY,
        high: f64::NEG_INFINITY,
    };

    pub fn add(&mut self, value: Option<f64>) {
        if let Some(value) = value {
            self.low = self.low.min(value);
            self.high = self.high.max(value);
        }
    }

    pub fn is_empty(&self) -> bool {
        self.low > self.high
    }

    /// In words, one figure when both ends round to the same.
    pub fn words(&self, unit: &str, digits: usize) -> String {
        let space = if unit == "°" { "" } else { " " };
        // What rounds to nothing has no sign.
        let figure = |x: f64| match format!("{x:.digits$}") {
            text if text.trim_matches(['-', '0', '.']).is_empty() => text.replace('-', ""),
            text => text,
        };
        let (low, high) = (figure(self.low), figure(self.high));
        if self.is_empty() {
            "unknown".to_owned()
        } else if low == high {
            format!("{low}{space}{unit}")
        } else {
            format!("{low} to {high}{space}{unit}")
        }
    }
}

/// What a look saw of a cam beside its agreement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Figures {
    /// Phase, advance positive.
    pub phase: Option<f64>,
    pub duty: Option<f64>,
    pub rpm: Option<f64>,
    pub circuit: Option<Condition>,
}

/// A time of disagreement.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Episode {
    pub state: AgreementState,
    /// Onset, which lies before the decision.
    pub from: f64,
    pub decided: f64,
    /// Last look at which it stood.
    pub last: f64,
    pub over: bool,
    /// As it was said when it was decided.
    pub sentence: String,
    pub phase: Range,
    pub duty: Range,
    pub rpm: Range,
    /// What the circuit was found to be meanwhile, as far as it was found.
    pub circuit: Option<Condition>,
}

impl Episode {
    /// "12.3 to 15.0 s".
    pub fn span(&self) -> String {
        if self.over {
            format!("{:.1} to {:.1} s", self.from, self.last)
        } else {
            format!("{:.1} s until now", self.from)
        }
    }
}

/// All disagreements of one cam.
#[derive(Debug, Clone, Default)]
pub(crate) struct EpisodeLog {
    pub all: Vec<Episode>,
    /// Seconds for which it was judged at all.
    pub judged: f64,
    /// Seconds for which it followed.
    pub followed: f64,
    last: Option<f64>,
}

impl EpisodeLog {
    /// What stands now is not looked at any further; true when something stood.
    pub fn interrupt(&mut self) -> bool {
        self.last = None;
        match self.all.last_mut().filter(|e| !e.over) {
            Some(episode) => {
                episode.over = true;
                true
            }
            None => false,
        }
    }

    /// Looks; true when a disagreement began or ended. `since` is the onset in seconds.
    pub fn look(&mut self, at: f64, since: f64, agreement: &Agreement, seen: Figures) -> bool {
        let step = self.last.map_or(0.0, |last| (at - last).clamp(0.0, 0.5));
        self.last = Some(at);
        if agreement.state != AgreementState::NotJudged {
            self.judged += step;
        }
        if agreement.state == AgreementState::Following {
            self.followed += step;
        }
        let open = self.all.last_mut().filter(|e| !e.over);
        if let Some(episode) = open {
            if episode.state == agreement.state {
                episode.last = at;
                note(episode, seen);
                return false;
            }
            episode.over = true;
        } else if !agreement.state.is_disagreement() {
            return false;
        }
        if agreement.state.is_disagreement() {
            let mut episode = Episode {
                state: agreement.state,
                from: since.min(at),
                decided: at,
                last: at,
                over: false,
                sentence: agreement.sentence.clone(),
                phase: Range::EMPTY,
                duty: Range::EMPTY,
                rpm: Range::EMPTY,
                circuit: None,
            };
            note(&mut episode, seen);
            if self.all.len() >= MOST {
                let _ = self.all.remove(0);
            }
            self.all.push(episode);
        }
        true
    }
}

fn note(episode: &mut Episode, seen: Figures) {
    episode.phase.add(seen.phase);
    episode.duty.add(seen.duty);
    episode.rpm.add(seen.rpm);
    if seen.circuit.is_some_and(|c| c != Condition::NotShown) {
        episode.circuit = seen.circuit;
    }
}
