//! The Findings screen: every cause against every piece of evidence, the one check that separates
//! what remains, the stored codes, base timing and the results of trials.

mod scene;
mod side;
mod table;
mod verdict;
mod view;

pub use side::written;
pub use verdict::{outcome, trial};

use crate::session::whole::{Found, Standing};
use crate::theme::Look;
use iced::Element;
use keyway_analysis::findings::{Bearing, CauseRow, Evidence, Standing as Stand};
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::SampleTime;
use std::sync::Arc;

/// Identity of the field in which codes are typed.
pub const CODE_FIELD: &str = "code";

/// What the table is about: a cam, or the engine as a whole.
pub type Subject = Option<CamId>;

/// What is done on the screen.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// Shows the causes of this cam, or of the engine.
    Choose(Subject),
    /// Shows what bears in this way on the cause in this row.
    Select(usize, Bearing),
    /// What stands beside the table.
    Beside(Page),
    /// The arrow keys: so many cells and rows on.
    Move(isize, isize),
    /// Goes to this time of the recording.
    GoTo(f64),
    /// Goes to the time of the selected evidence.
    Take,
    /// The typed code changed.
    Type(String),
    /// Adds the typed code.
    Add,
    /// Takes a code away.
    Remove(String),
}

/// What stands beside the table of causes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// The evidence in the selected cell.
    #[default]
    Evidence,
    /// The stored codes.
    Codes,
    /// Base timing and the results of trials.
    Timing,
    /// What to mind in the checks that are named.
    Cautions,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// These are the stored codes now.
    Codes(Vec<String>),
    /// Go to this time of the recording, seconds, and show what was measured there.
    GoTo(f64),
}

/// The screen.
#[derive(Debug, Default)]
pub struct Findings {
    snapshot: Option<Arc<Snapshot>>,
    /// What was found in the whole of a recording; none live.
    found: Option<Found>,
    /// Share of the recording that is measured; none live.
    share: Option<f64>,
    subject: Option<Subject>,
    selected: Option<(usize, Bearing)>,
    page: Page,
    typed: String,
    /// The codes as they were given.
    codes: Vec<String>,
}

impl Findings {
    /// Name of the screen.
    pub fn title(&self) -> &'static str {
        "Findings"
    }

    /// Takes the newest state: of a recording what was found in the whole of it.
    pub fn refresh(&mut self, snapshot: Option<&Arc<Snapshot>>, whole: Option<&Standing>) {
        self.share = whole.map(|w| w.share);
        self.found = whole.and_then(|w| w.found.clone());
        self.snapshot = match (&self.found, whole) {
            (Some(found), _) => Some(Arc::clone(&found.snapshot)),
            (None, Some(_)) => None,
            (None, None) => snapshot.cloned(),
        };
        // What a recording brings along is shown as if it had been typed.
        if self.codes.is_empty()
            && let Some(snapshot) = &self.snapshot
        {
            let codes = snapshot.findings.codes.iter();
            self.codes = codes.map(|c| c.code.clone()).collect();
        }
    }

    /// Forgets what was measured, as when another source is opened.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Shows codes that were given elsewhere as if they had been typed.
    pub fn set_codes(&mut self, codes: Vec<String>) {
        self.codes = codes;
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Choose(subject) => {
                self.subject = Some(subject);
                self.selected = None;
            }
            Message::Select(row, bearing) => {
                self.selected = Some((row, bearing));
                self.page = Page::Evidence;
            }
            Message::Beside(page) => self.page = page,
            Message::Move(right, down) => self.step(right, down),
            Message::Take => {
                if let Some(seconds) = self.selected_time() {
                    return Action::GoTo(seconds);
                }
            }
            Message::GoTo(seconds) => return Action::GoTo(seconds),
            Message::Type(typed) => self.typed = typed,
            Message::Add => {
                let code = self.typed.trim().to_uppercase();
                self.typed.clear();
                if !code.is_empty() && !self.codes.contains(&code) {
                    self.codes.push(code);
                    return Action::Codes(self.codes.clone());
                }
            }
            Message::Remove(code) => {
                self.codes.retain(|c| *c != code);
                return Action::Codes(self.codes.clone());
            }
        }
        Action::None
    }

    /// The screen as it stands; `look` says how it looks.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        view::view(self, look)
    }

    /// Everything there is something to say of, the cams first.
    fn subjects(&self) -> Vec<Subject> {
        let mut subjects = Vec::new();
        for row in self.causes() {
            if !subjects.contains(&row.cam) {
                subjects.push(row.cam);
            }
        }
        subjects.sort_by_key(|s| (s.is_none(), *s));
        subjects
    }

    fn causes(&self) -> &[CauseRow] {
        self.snapshot.as_ref().map_or(&[], |s| &s.findings.causes)
    }

    /// What the table is about: what was chosen, else whatever has a cause that is supported.
    fn subject(&self) -> Option<Subject> {
        let subjects = self.subjects();
        if let Some(chosen) = self.subject.filter(|s| subjects.contains(s)) {
            return Some(chosen);
        }
        let causes = self.causes();
        let is_wrong = |r: &&CauseRow| verdict::is_fault(r) && r.standing == Stand::Supported;
        let first = causes.iter().find(is_wrong).or(causes.first());
        first.map(|r| r.cam)
    }

    /// The causes of the subject, as they are ranked.
    fn rows(&self) -> Vec<&CauseRow> {
        match self.subject() {
            Some(subject) => (self.causes().iter())
                .filter(|r| r.cam == subject)
                .collect(),
            None => Vec::new(),
        }
    }

    /// The selected cell; without one, the first of the foremost cause that holds something.
    fn selection(&self) -> Option<(usize, Bearing)> {
        let rows = self.rows();
        let holds = |row: &CauseRow, bearing| row.evidence.iter().any(|e| e.bearing == bearing);
        let chosen = self.selected.filter(|(row, _)| *row < rows.len());
        chosen.or_else(|| {
            let first = rows.first()?;
            let groups = table::GROUPS.into_iter();
            groups
                .clone()
                .find(|b| holds(first, *b))
                .map(|bearing| (0, bearing))
        })
    }

    /// The evidence in the selected cell, and its cause.
    fn evidence(&self) -> Option<(&CauseRow, Bearing, Vec<&Evidence>)> {
        let (row, bearing) = self.selection()?;
        let row = *self.rows().get(row)?;
        let evidence = row.evidence.iter().filter(|e| e.bearing == bearing);
        Some((row, bearing, evidence.collect()))
    }

    fn step(&mut self, right: isize, down: isize) {
        let rows = self.rows().len();
        let Some((row, bearing)) = self.selection() else {
            return;
        };
        let group = table::GROUPS.iter().position(|b| *b == bearing);
        let group = group.unwrap_or(0).saturating_add_signed(right);
        let bearing = table::GROUPS[group.min(table::GROUPS.len() - 1)];
        let row = row.saturating_add_signed(down).min(rows.saturating_sub(1));
        let _shown = self.update(Message::Select(row, bearing));
    }

    /// Time of the first evidence in the selected cell, in a recording.
    fn selected_time(&self) -> Option<f64> {
        let _recorded = self.share?;
        let (_, _, evidence) = self.evidence()?;
        let at = evidence.iter().find_map(|e| e.at)?;
        Some(self.seconds(at))
    }

    /// Seconds from the start of the recording, or of the stream.
    fn seconds(&self, at: SampleTime) -> f64 {
        match (&self.found, &self.snapshot) {
            (Some(found), _) => found.seconds(at),
            (None, Some(s)) if s.at.0 > 0.0 => at.0 * s.elapsed.0 / s.at.0,
            (None, _) => 0.0,
        }
    }
}
