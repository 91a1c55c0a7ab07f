//! The Compare page: two or more recordings on top of each other, side by side, and as a table.

mod chart;
mod chooser;
mod crank;
mod events;
mod scene;
mod table;
mod view;

pub use chart::Chart;
pub use chooser::PATH_FIELD;
pub use table::TABLE;

use crate::compare::Outcome;
use crate::compare::course::AnchorKind;
use crate::exhibit::scene::Scene;
use crate::screen::source::share;
use iced::keyboard::{Key, key::Named};
use iced::widget::canvas;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Most recordings beside each other: there are as many kinds of line.
pub const MOST: usize = 4;
/// Seconds by which a key shifts a course.
const SHIFT: f64 = 0.05;
/// Seconds to either side of an event: shortest, first and longest.
const SPANS: [f64; 3] = [0.5, 6.0, 60.0];

/// The page.
#[derive(Debug)]
pub struct Compare {
    entries: Vec<Entry>,
    typed: String,
    is_choosing: bool,
    same_engine: bool,
    shown: Shown,
    is_beside: bool,
    /// Share of the work that is done, while it is.
    running: Option<f64>,
    fault: Option<Arc<str>>,
    outcome: Option<Outcome>,
    /// Which of the comparisons the table shows.
    pair: usize,
    shows_all: bool,
    row: Option<usize>,
    /// Which conditions the cycles are of.
    laid: usize,
    /// By what courses are aligned.
    anchor: AnchorKind,
    shifts: Vec<f64>,
    /// Which recording the keys shift.
    held: usize,
    span: f64,
    chart: Chart,
    drawn: canvas::Cache,
}

/// A recording that was chosen.
#[derive(Debug, Clone)]
struct Entry {
    path: PathBuf,
    name: String,
}

/// What is shown of the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// Every measure.
    Table,
    /// Cycles on each other.
    Crank,
    /// Courses on each other.
    Events,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// The typed path changed.
    Typed(String),
    /// Adds the recording at the typed path.
    AddTyped,
    /// Takes a recording out.
    Remove(usize),
    /// Names a recording.
    Name(usize, String),
    /// They are of one engine, or of different ones of a type.
    SameEngine,
    /// Compares them.
    Start,
    /// Stops that.
    Cancel,
    /// Back to choosing, or from it.
    Choose,
    /// Shows this.
    Show(Shown),
    /// On top of each other, or side by side.
    Beside,
    /// All measures, or those that changed.
    All,
    /// The table of this comparison.
    Pair(usize),
    /// A row of the table up or down.
    Row(isize),
    /// The next conditions, or the next kind of event.
    Next,
    /// Shifts the held recording by so many seconds.
    Shift(f64),
    /// Holds the next recording.
    Hold,
    /// Shows more or less time about the event.
    Span(f64),
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Compare these, taken as of one engine or not.
    Start(Vec<(PathBuf, String)>, bool),
    /// Stop comparing.
    Cancel,
    /// Bring this share of the table into view, 0 to 1.
    Scroll(f32),
}

impl Default for Compare {
    fn default() -> Self {
        Self {
            entries: Vec::new(),
            typed: String::new(),
            is_choosing: true,
            same_engine: true,
            shown: Shown::Table,
            is_beside: false,
            running: None,
            fault: None,
            outcome: None,
            pair: 0,
            shows_all: false,
            row: None,
            laid: 0,
            anchor: AnchorKind::Begin,
            shifts: Vec::new(),
            held: 1,
            span: SPANS[1],
            chart: Chart::default(),
            drawn: canvas::Cache::default(),
        }
    }
}

impl Compare {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Compare"
    }

    /// Adds a recording to those that will be compared; says why it cannot.
    pub fn add(&mut self, path: &Path) -> Result<(), String> {
        if self.entries.len() >= MOST {
            return Err(format!(
                "{MOST} recordings at most are compared; take one out first"
            ));
        }
        let letter = crate::compare::letters().nth(self.entries.len());
        let word = ["before", "after"].get(self.entries.len());
        let name = format!(
            "{} {}",
            letter.unwrap_or_default(),
            word.copied().unwrap_or_default()
        );
        self.entries.push(Entry {
            path: path.to_owned(),
            name: name.trim_end().to_owned(),
        });
        self.is_choosing = true;
        Ok(())
    }

    /// How many recordings are chosen.
    pub fn chosen(&self) -> usize {
        self.entries.len()
    }

    /// Their files, the base first.
    pub fn files(&self) -> Vec<&Path> {
        self.entries.iter().map(|e| e.path.as_path()).collect()
    }

    /// Whether they are being compared.
    pub fn is_running(&self) -> bool {
        self.running.is_some()
    }

    /// Says how far the work is; none when there is none.
    pub fn set_running(&mut self, share: Option<f64>) {
        self.running = share;
    }

    /// Shows what came of the work.
    pub fn set_outcome(&mut self, end: Result<Outcome, Arc<str>>) {
        self.running = None;
        match end {
            Ok(outcome) => {
                self.entries = (outcome.sides.iter())
                    .map(|side| Entry {
                        path: side.file.clone(),
                        name: side.name.clone(),
                    })
                    .collect();
                self.shifts = vec![0.0; outcome.sides.len()];
                (self.pair, self.laid, self.row) = (0, 0, None);
                self.held = 1;
                self.anchor = events::kinds(&outcome)
                    .into_iter()
                    .find(|kind| *kind != AnchorKind::Begin)
                    .unwrap_or(AnchorKind::Begin);
                self.is_choosing = false;
                self.fault = None;
                self.outcome = Some(outcome);
            }
            Err(why) => self.fault = Some(why),
        }
        self.redraw();
    }

    /// What is compared, once it is.
    pub fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Typed(path) => self.typed = path,
            Message::AddTyped => {
                let path = self.typed.trim().to_owned();
                if !path.is_empty() {
                    match self.add(Path::new(&path)) {
                        Ok(()) => {
                            self.typed.clear();
                            self.fault = None;
                        }
                        Err(why) => self.fault = Some(Arc::from(why)),
                    }
                }
            }
            Message::Remove(place) if place < self.entries.len() => {
                drop(self.entries.remove(place));
            }
            Message::Remove(_) => {}
            Message::Name(place, name) => {
                if let Some(entry) = self.entries.get_mut(place) {
                    entry.name = name;
                }
                self.renew();
            }
            Message::SameEngine => {
                self.same_engine = !self.same_engine;
                self.renew();
            }
            Message::Start if self.entries.len() < 2 || self.running.is_some() => {}
            Message::Start => {
                self.fault = None;
                self.running = Some(0.0);
                let files = (self.entries.iter())
                    .map(|e| (e.path.clone(), e.name.clone()))
                    .collect();
                return Action::Start(files, self.same_engine);
            }
            Message::Cancel if self.running.is_some() => return Action::Cancel,
            Message::Cancel => {}
            Message::Choose => self.is_choosing = !self.is_choosing || self.outcome.is_none(),
            Message::Show(shown) => self.shown = shown,
            Message::Beside => self.is_beside = !self.is_beside,
            Message::All => (self.shows_all, self.row) = (!self.shows_all, None),
            Message::Pair(pair) => (self.pair, self.row) = (pair, None),
            Message::Row(by) => return self.go(by),
            Message::Next => self.next(),
            Message::Shift(by) => {
                if let Some(shift) = self.shifts.get_mut(self.held) {
                    *shift += by;
                }
            }
            Message::Hold => self.held = (self.held + 1) % self.shifts.len().max(1),
            Message::Span(times) => self.span = (self.span * times).clamp(SPANS[0], SPANS[2]),
        }
        self.redraw();
        Action::None
    }

    /// Names and relation as they are now, where the same recordings were compared.
    fn renew(&mut self) {
        let names: Vec<String> = self.entries.iter().map(|e| e.name.clone()).collect();
        let same = self.same_engine;
        if let Some(outcome) = &mut self.outcome {
            let files = outcome.sides.iter().map(|s| &s.file);
            if files.eq(self.entries.iter().map(|e| &e.path)) {
                outcome.renewed(&names, same);
            }
        }
    }

    fn go(&mut self, by: isize) -> Action {
        let rows = self.rows().len();
        if rows == 0 {
            return Action::None;
        }
        let row = self.row.map_or(0, |row| row.saturating_add_signed(by));
        let row = row.min(rows - 1);
        self.row = Some(row);
        Action::Scroll(share(row, rows))
    }

    fn next(&mut self) {
        let Some(outcome) = &self.outcome else {
            return;
        };
        match self.shown {
            Shown::Table => {
                self.pair = (self.pair + 1) % outcome.comparisons.len().max(1);
            }
            Shown::Crank => self.laid = (self.laid + 1) % outcome.laid.len().max(1),
            Shown::Events => {
                let kinds = events::kinds(outcome);
                let here = kinds.iter().position(|k| *k == self.anchor);
                let there = here.map_or(0, |k| (k + 1) % kinds.len().max(1));
                if let Some(kind) = kinds.get(there) {
                    self.anchor = *kind;
                }
                self.shifts.fill(0.0);
            }
        }
    }

    fn redraw(&mut self) {
        self.chart = match (&self.outcome, self.shown) {
            (Some(outcome), Shown::Crank) => crank::chart(outcome, self.laid),
            (Some(outcome), Shown::Events) => {
                events::chart(outcome, self.anchor, &self.shifts, self.span)
            }
            (None, _) | (_, Shown::Table) => Chart::default(),
        };
        self.drawn.clear();
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        if self.running.is_some() {
            return matches!(key, Key::Named(Named::Escape)).then_some(Message::Cancel);
        }
        let is_shown = self.outcome.is_some() && !self.is_choosing;
        Some(match key {
            Key::Character(letter) => match letter.to_lowercase().as_str() {
                "g" => Message::Start,
                "m" => Message::Choose,
                "o" => Message::SameEngine,
                "t" if is_shown => Message::Show(Shown::Table),
                "k" if is_shown => Message::Show(Shown::Crank),
                "e" if is_shown => Message::Show(Shown::Events),
                "b" if is_shown => Message::Beside,
                "a" if is_shown => Message::All,
                "n" if is_shown => Message::Next,
                "h" if is_shown => Message::Hold,
                "+" if is_shown => Message::Span(0.5),
                "-" if is_shown => Message::Span(2.0),
                _ => return None,
            },
            Key::Named(Named::ArrowUp) if is_shown => Message::Row(-1),
            Key::Named(Named::ArrowDown) if is_shown => Message::Row(1),
            Key::Named(Named::ArrowLeft) if is_shown && self.shown == Shown::Events => {
                Message::Shift(-SHIFT)
            }
            Key::Named(Named::ArrowRight) if is_shown && self.shown == Shown::Events => {
                Message::Shift(SHIFT)
            }
            Key::Named(_) | Key::Unidentified => return None,
        })
    }

    /// What is on the page as data, to be kept as an exhibit; none when it is empty.
    pub fn scene(&self) -> Option<Scene> {
        scene::of(self)
    }
}
