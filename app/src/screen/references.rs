//! The References page: known-good references, where they come from, how good they are, and which one is used.

pub mod combining;
mod detail;
mod dial;
pub mod field;
mod strip;
pub mod taking;
pub mod typing;
mod typing_view;
mod view;

use crate::reference::library::{Entry, Library};
use combining::Combining;
use iced::keyboard::Key;
use iced::keyboard::key::Named;
use keyway_analysis::base_timing::BaseTiming;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::reference::Reference;
use keyway_analysis::reference::handbook::Told;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use taking::Taking;
use typing::Typing;

/// Identity of the list, for scrolling.
pub const LIST: &str = "references-list";
/// Identity of the field for a path.
pub const PATH_FIELD: &str = "references-path";

/// The page.
#[derive(Debug, Default)]
pub struct References {
    library: Option<Result<Arc<Library>, Arc<str>>>,
    sheet: Option<Arc<EngineSheet>>,
    /// What the session is judged against.
    against: String,
    using: Option<PathBuf>,
    /// The recording that is open, if one is.
    recording: Option<PathBuf>,
    chosen: Option<PathBuf>,
    part: Part,
}

/// What the right half shows.
#[derive(Debug, Default)]
enum Part {
    /// The chosen reference.
    #[default]
    Detail,
    /// Taking one from the open recording.
    Taking(Box<Taking>),
    /// Typing one in.
    Typing(Box<Typing>),
    /// Making one of several.
    Combining(Box<Combining>),
    /// Copying one in or out.
    Carrying(Carrying),
}

/// A copy to be made.
#[derive(Debug, Default)]
struct Carrying {
    /// The file to be copied out; none when one is brought in.
    out: Option<PathBuf>,
    path: String,
    wrong: Option<Arc<str>>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// Reads the folders again.
    Refresh,
    /// Shows a reference.
    Pick(PathBuf),
    /// The arrow keys go to the one before.
    Up,
    /// The arrow keys go to the one after.
    Down,
    /// Uses the one that is shown.
    Use,
    /// Uses none any more.
    Stop,
    /// Begins to take one from the open recording.
    Take,
    /// Begins to type one in.
    TypeIn,
    /// Begins to combine.
    Combine,
    /// Begins to bring one in.
    BringIn,
    /// Begins to copy out the one that is shown.
    CopyOut,
    /// Back to the list.
    Back,
    /// The next field gets the cursor.
    Next,
    /// While taking one from a recording.
    Taking(taking::Message),
    /// While typing one in.
    Typing(typing::Message),
    /// While combining.
    Combining(combining::Message),
    /// The typed path changed.
    Path(String),
    /// Copies.
    Carry,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Read the folders, then [`References::show`].
    Read,
    /// Use this file.
    Use(PathBuf),
    /// Use none.
    Stop,
    /// Take one from the open recording, then [`References::taken`].
    Take(Box<Told>),
    /// Give the taking up.
    Cancel,
    /// Keep this one, then [`References::kept`] or [`References::failed`].
    Keep(Box<Reference>),
    /// Bring this file in.
    Import(PathBuf),
    /// Copy this file to that place.
    Export(PathBuf, PathBuf),
    /// Bring this share of the list into view.
    Scroll(f32),
    /// Put the cursor into the next field.
    Next,
}

impl References {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "References"
    }

    /// Takes in which engine, which reference and which recording the session has now.
    pub fn stand(
        &mut self,
        sheet: &Arc<EngineSheet>,
        using: Option<PathBuf>,
        recording: Option<PathBuf>,
    ) {
        self.against = BaseTiming::unseen(&sheet.cams).against;
        if self.sheet.as_ref().is_none_or(|own| own.name != sheet.name) {
            self.part = Part::Detail;
        }
        if let Some(Ok(library)) = &mut self.library {
            Arc::make_mut(library).see_from(sheet);
        }
        self.sheet = Some(Arc::clone(sheet));
        self.using = using;
        self.recording = recording;
    }

    /// Shows what was read.
    pub fn show(&mut self, library: Result<Arc<Library>, Arc<str>>) {
        if let Ok(library) = &library {
            let is_there = |p: &PathBuf| library.find(p).is_some();
            self.chosen = (self.chosen.take().filter(is_there))
                .or_else(|| self.using.clone().filter(is_there))
                .or_else(|| library.proposed().map(|e| e.filed.path.clone()));
        }
        self.library = Some(library);
    }

    /// How far the taking is, 0 to 1.
    pub fn progress(&mut self, share: f64) {
        if let Part::Taking(taking) = &mut self.part {
            taking.progress(share);
        }
    }

    /// The taking has ended.
    pub fn taken(&mut self, end: Result<crate::reference::recorded::Taken, Arc<str>>) {
        if let Part::Taking(taking) = &mut self.part {
            taking.taken(end);
        }
    }

    /// A reference now stands in this file.
    pub fn kept(&mut self, path: PathBuf) {
        self.chosen = Some(path);
        self.part = Part::Detail;
    }

    /// What was asked for could not be done.
    pub fn failed(&mut self, why: Arc<str>) {
        match &mut self.part {
            Part::Carrying(carrying) => carrying.wrong = Some(why),
            Part::Taking(taking) => taking.taken(Err(why)),
            Part::Typing(typing) => typing.failed(&why),
            Part::Combining(combining) => combining.failed(&why),
            Part::Detail => {}
        }
    }

    fn entries(&self) -> &[Entry] {
        match &self.library {
            Some(Ok(library)) => &library.entries,
            Some(Err(_)) | None => &[],
        }
    }

    fn entry(&self) -> Option<&Entry> {
        let chosen = self.chosen.as_deref()?;
        self.entries().iter().find(|e| e.filed.path == chosen)
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Refresh => Action::Read,
            Message::Pick(path) => {
                self.chosen = Some(path);
                self.part = Part::Detail;
                Action::None
            }
            Message::Up => self.step(-1),
            Message::Down => self.step(1),
            Message::Use => match self.entry() {
                Some(entry) if entry.fits() => Action::Use(entry.filed.path.clone()),
                _ => Action::None,
            },
            Message::Stop => Action::Stop,
            Message::Take => {
                if let (Some(path), Some(sheet)) = (&self.recording, &self.sheet) {
                    self.part = Part::Taking(Box::new(Taking::new(path, &sheet.name)));
                }
                Action::None
            }
            Message::TypeIn => {
                if let Some(sheet) = &self.sheet {
                    self.part = Part::Typing(Box::new(Typing::new(sheet)));
                }
                Action::None
            }
            Message::Combine => {
                if let (Some(Ok(library)), Some(sheet)) = (&self.library, &self.sheet) {
                    self.part = Part::Combining(Box::new(Combining::new(library, &sheet.name)));
                }
                Action::None
            }
            Message::BringIn => {
                self.part = Part::Carrying(Carrying::default());
                Action::None
            }
            Message::CopyOut => {
                if let Some(entry) = self.entry() {
                    self.part = Part::Carrying(Carrying {
                        out: Some(entry.filed.path.clone()),
                        ..Carrying::default()
                    });
                }
                Action::None
            }
            Message::Back => {
                let was = std::mem::take(&mut self.part);
                match was {
                    Part::Taking(taking) if taking.is_running() => Action::Cancel,
                    Part::Taking(_)
                    | Part::Detail
                    | Part::Typing(_)
                    | Part::Combining(_)
                    | Part::Carrying(_) => Action::None,
                }
            }
            Message::Next => Action::Next,
            Message::Path(path) => {
                if let Part::Carrying(carrying) = &mut self.part {
                    carrying.path = path;
                    carrying.wrong = None;
                }
                Action::None
            }
            Message::Carry => self.carry(),
            Message::Taking(message) => match &mut self.part {
                Part::Taking(taking) => taking.update(message),
                _ => Action::None,
            },
            Message::Typing(message) => match (&mut self.part, &self.sheet) {
                (Part::Typing(typing), Some(sheet)) => typing.update(message, sheet),
                _ => Action::None,
            },
            Message::Combining(message) => match &mut self.part {
                Part::Combining(combining) => combining.update(message),
                _ => Action::None,
            },
        }
    }

    fn carry(&mut self) -> Action {
        let Part::Carrying(carrying) = &mut self.part else {
            return Action::None;
        };
        let path = carrying.path.trim();
        if path.is_empty() {
            carrying.wrong = Some(Arc::from("Type the path of a file first."));
            return Action::None;
        }
        match &carrying.out {
            None => Action::Import(PathBuf::from(path)),
            Some(file) => Action::Export(file.clone(), PathBuf::from(path)),
        }
    }

    fn step(&mut self, by: isize) -> Action {
        let entries = self.entries();
        if entries.is_empty() {
            return Action::None;
        }
        let here =
            (self.chosen.as_deref()).and_then(|c| entries.iter().position(|e| e.filed.path == c));
        let there = here.map_or(0, |h| h.saturating_add_signed(by).min(entries.len() - 1));
        let share = crate::screen::source::share(there, entries.len());
        self.chosen = entries.get(there).map(|e| e.filed.path.clone());
        Action::Scroll(share)
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        let own = match &self.part {
            Part::Typing(typing) => typing.key(key).map(Message::Typing),
            Part::Combining(combining) => combining.key(key).map(Message::Combining),
            Part::Taking(taking) => taking.key(key).map(Message::Taking),
            Part::Detail | Part::Carrying(_) => None,
        };
        if own.is_some() {
            return own;
        }
        let is_detail = matches!(self.part, Part::Detail);
        match key {
            Key::Named(Named::Tab) => Some(Message::Next),
            Key::Named(Named::Escape) if !is_detail => Some(Message::Back),
            Key::Named(Named::ArrowUp) => Some(Message::Up),
            Key::Named(Named::ArrowDown) => Some(Message::Down),
            Key::Named(Named::Enter) if matches!(self.part, Part::Carrying(_)) => {
                Some(Message::Carry)
            }
            Key::Named(Named::Enter) => Some(Message::Use),
            Key::Character(c) if is_detail => match c.to_lowercase().as_str() {
                "n" if self.recording.is_some() => Some(Message::Take),
                "h" => Some(Message::TypeIn),
                "m" => Some(Message::Combine),
                "b" => Some(Message::BringIn),
                "o" => Some(Message::CopyOut),
                "u" if self.using.is_some() => Some(Message::Stop),
                "u" => Some(Message::Use),
                _ => None,
            },
            Key::Character(_) | Key::Named(_) | Key::Unidentified => None,
        }
    }

    fn is_used(&self, path: &Path) -> bool {
        self.using.as_deref() == Some(path)
    }
}
