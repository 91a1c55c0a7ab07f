//! The Exhibits page: what was kept from the screens, with notes, pen strokes and arrows.
//!
//! Every change to an open exhibit is at once written beside it as a draft, so that neither leaving nor a
//! crash loses it; Save writes it into the exhibit and draws its pictures again.

pub mod edit;
mod list;
mod panel;
mod paper;
#[cfg(test)]
mod tests;

use crate::exhibit::document::{Document, Draft};
use crate::exhibit::mark::{Ink, Share};
use crate::exhibit::store::{Entry, Kept, Opened};
use crate::theme::{Look, STEP};
use edit::{Edit, Tool};
use iced::keyboard::{Key, key::Named};
use iced::widget::scrollable::{Direction, Scrollbar};
use iced::widget::{container, responsive, row, scrollable, text_editor};
use iced::{Element, Length};
use std::path::PathBuf;

/// Identity of the field for words on the picture.
pub const WORDS_FIELD: &str = "exhibit-words";

/// Identity of the title's field.
pub const TITLE_FIELD: &str = "exhibit-title";

/// Identity of the note's field.
pub const NOTE_FIELD: &str = "exhibit-note";

/// Identity of the field for the file to draw into.
pub const EXPORT_FIELD: &str = "exhibit-export";

/// Identity of the list.
pub const LIST: &str = "exhibit-list";

/// Steps of the arrow keys, units of the layout.
const NUDGE: f64 = 4.0;

/// Least scale of the larger picture: its smallest type is then as large as that of the screens.
const LARGE: f32 = 0.75;

/// The page.
#[derive(Debug, Default)]
pub struct Exhibits {
    folder: PathBuf,
    /// None until they were looked for.
    entries: Option<Vec<Entry>>,
    chosen: usize,
    /// The chosen one, when it was read.
    open: Option<Edit>,
    /// Whether it is being worked on; otherwise it is looked at beside the list.
    is_at_work: bool,
    is_large: bool,
    /// The file to draw into.
    export: String,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// The next one up the list.
    Up,
    /// The next one down the list.
    Down,
    /// This one of the list.
    Pick(usize),
    /// Opens the chosen one to work on it.
    Edit,
    /// Back to the list.
    Back,
    /// Chooses a tool.
    Take(Tool),
    /// Chooses an ink.
    Dip(Ink),
    /// The other width.
    Nib,
    /// The next ink.
    NextInk,
    /// Takes a step back.
    Undo,
    /// Takes a step again.
    Redo,
    /// Takes the chosen mark away.
    Delete,
    /// Moves the chosen mark by units of the layout.
    Nudge([f64; 2]),
    /// Nothing is chosen any more.
    Done,
    /// The picture larger, or so that it fits.
    Large,
    /// The pointer goes down, with how far beside a mark it takes hold.
    Press(Share, f64),
    /// It moves.
    Drag(Share, f64),
    /// It goes up.
    Lift,
    /// The title.
    Title(String),
    /// On the note.
    Note(text_editor::Action),
    /// Words of the chosen mark.
    Words(String),
    /// Saves it.
    Save,
    /// Throws the changes away that were not saved.
    Discard,
    /// The file to draw into.
    ExportTo(String),
    /// Draws into it.
    Export,
    /// Puts the cursor into the field that is wanted most.
    Focus,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Read the list again.
    Read,
    /// Read this exhibit.
    Open(PathBuf),
    /// Write this document over that file if it is still the one with this digest.
    Save(PathBuf, u64, Box<Document>),
    /// Forget the draft of this exhibit, and read it again.
    Discard(PathBuf),
    /// Draw into this file.
    Export(Box<Document>, PathBuf),
    /// Put the cursor into this field.
    Focus(&'static str),
}

/// What has come of what the parent did.
#[derive(Debug)]
pub enum News {
    /// The list.
    List(Vec<Entry>),
    /// An exhibit was read.
    Opened(Box<Opened>),
    /// The open one was saved.
    Saved(Kept),
}

impl Exhibits {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Exhibits"
    }

    /// Says in which folder they are.
    pub fn set_folder(&mut self, folder: PathBuf) {
        if self.folder != folder {
            self.folder = folder;
            self.entries = None;
            self.chosen = 0;
        }
    }

    /// The exhibits that were found.
    pub fn entries(&self) -> &[Entry] {
        self.entries.as_deref().unwrap_or_default()
    }

    /// The exhibit that is open.
    pub fn open(&self) -> Option<&Edit> {
        self.open.as_ref()
    }

    /// Whether it is being worked on.
    pub fn is_at_work(&self) -> bool {
        self.is_at_work
    }

    fn chosen(&self) -> Option<&Entry> {
        self.entries.as_ref()?.get(self.chosen)
    }

    /// Changes of the open exhibit that are not on the disk yet, to be written beside it.
    pub fn take_draft(&mut self) -> Option<(PathBuf, Draft)> {
        let edit = self.open.as_mut()?;
        let draft = edit.take_draft()?;
        Some((edit.path().clone(), draft))
    }

    /// Takes in what has come of its wishes; none when one failed.
    pub fn learn(&mut self, news: Option<News>) -> Action {
        match news {
            None => {
                if let Some(edit) = &mut self.open {
                    edit.saved(None);
                }
                Action::None
            }
            Some(News::List(entries)) => {
                let is_held = self
                    .open
                    .as_ref()
                    .and_then(|edit| entries.iter().position(|e| e.path == *edit.path()));
                self.chosen = is_held
                    .unwrap_or(self.chosen)
                    .min(entries.len().saturating_sub(1));
                self.entries = Some(entries);
                self.look_at_chosen()
            }
            Some(News::Opened(opened)) => {
                // The technician may have gone on to another one.
                let is_wanted = self.chosen().is_some_and(|e| e.path == opened.path);
                if is_wanted || self.is_at_work {
                    self.open = Some(Edit::new(*opened));
                }
                Action::None
            }
            Some(News::Saved(kept)) => {
                if let Some(edit) = &mut self.open {
                    edit.saved(Some(&kept));
                }
                Action::Read
            }
        }
    }

    /// Reads the chosen exhibit unless it is open.
    fn look_at_chosen(&mut self) -> Action {
        let Some(entry) = self.chosen() else {
            self.open = None;
            self.is_at_work = false;
            return Action::None;
        };
        let path = entry.path.clone();
        if self.open.as_ref().is_some_and(|edit| *edit.path() == path) {
            return Action::None;
        }
        let is_sound = entry.about.is_ok();
        // What is not on the disk yet stays open until it is.
        if self.open.as_ref().is_some_and(Edit::is_changed) && self.is_at_work {
            return Action::None;
        }
        self.open = None;
        if is_sound {
            Action::Open(path)
        } else {
            Action::None
        }
    }

    fn choose(&mut self, index: usize) -> Action {
        self.chosen = index.min(self.entries().len().saturating_sub(1));
        self.look_at_chosen()
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Up => return self.choose(self.chosen.saturating_sub(1)),
            Message::Down => return self.choose(self.chosen + 1),
            Message::Pick(index) => return self.choose(index),
            Message::ExportTo(path) => self.export = path,
            Message::Large => self.is_large = !self.is_large,
            Message::Edit => self.is_at_work = self.open.is_some(),
            Message::Back => {
                if let Some(edit) = &mut self.open {
                    edit.finish();
                }
                self.is_at_work = false;
                return Action::Read;
            }
            other => return self.work(other),
        }
        Action::None
    }

    /// Does what is asked of the open exhibit.
    fn work(&mut self, message: Message) -> Action {
        let Some(edit) = &mut self.open else {
            return Action::None;
        };
        match message {
            Message::Take(tool) => edit.take(tool),
            Message::Dip(ink) => edit.dip(ink),
            Message::NextInk => {
                let here = Ink::ALL.iter().position(|i| *i == edit.ink).unwrap_or(0);
                edit.dip(Ink::ALL[(here + 1) % Ink::ALL.len()]);
            }
            Message::Nib => edit.nib = edit.nib.other(),
            Message::Undo => edit.undo(),
            Message::Redo => edit.redo(),
            Message::Delete => edit.delete(),
            Message::Nudge(by) => edit.nudge(by),
            Message::Done => edit.finish(),
            Message::Press(at, reach) => {
                if edit.press(at, reach) {
                    return Action::Focus(WORDS_FIELD);
                }
            }
            Message::Drag(at, reach) => edit.drag(at, reach),
            Message::Lift => edit.lift(),
            Message::Title(title) => edit.set_title(title),
            Message::Note(action) => edit.write_note(action),
            Message::Words(words) => edit.set_words(words),
            Message::Save => {
                if let Some((path, digest, document)) = edit.save() {
                    return Action::Save(path, digest, Box::new(document));
                }
            }
            Message::Discard => return Action::Discard(edit.path().clone()),
            Message::Export => {
                let to = PathBuf::from(self.export.trim());
                return Action::Export(Box::new(edit.document()), to);
            }
            Message::Focus => {
                return Action::Focus(if !self.is_at_work {
                    EXPORT_FIELD
                } else if edit.words().is_some() {
                    WORDS_FIELD
                } else {
                    NOTE_FIELD
                });
            }
            Message::Up
            | Message::Down
            | Message::Pick(_)
            | Message::Edit
            | Message::Back
            | Message::Large
            | Message::ExportTo(_) => {}
        }
        Action::None
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        let edit = self.open.as_ref().filter(|_| self.is_at_work);
        let Some(edit) = edit else {
            return match key {
                Key::Named(Named::ArrowUp) => Some(Message::Up),
                Key::Named(Named::ArrowDown) => Some(Message::Down),
                Key::Named(Named::Enter) => Some(Message::Edit),
                Key::Named(Named::Tab) => Some(Message::Focus),
                _ => None,
            };
        };
        let nudge = |x: f64, y: f64| Message::Nudge([x * NUDGE, y * NUDGE]);
        Some(match key {
            Key::Named(named) => match named {
                Named::ArrowUp => nudge(0.0, -1.0),
                Named::ArrowDown => nudge(0.0, 1.0),
                Named::ArrowLeft => nudge(-1.0, 0.0),
                Named::ArrowRight => nudge(1.0, 0.0),
                Named::Delete | Named::Backspace => Message::Delete,
                Named::Escape if edit.is_at_work() => Message::Done,
                Named::Escape => Message::Back,
                Named::Tab => Message::Focus,
                _ => return None,
            },
            Key::Character(letter) => {
                let letter = letter.to_lowercase();
                let tool = Tool::ALL.into_iter().find(|(_, _, key)| *key == letter);
                if let Some((tool, ..)) = tool {
                    return Some(Message::Take(tool));
                }
                match letter.as_str() {
                    "z" => Message::Undo,
                    "y" => Message::Redo,
                    "c" => Message::NextInk,
                    "w" => Message::Nib,
                    "g" => Message::Large,
                    "s" => Message::Save,
                    _ => return None,
                }
            }
            Key::Unidentified => return None,
        })
    }

    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let Some(edit) = self.open.as_ref().filter(|_| self.is_at_work) else {
            return list::list(self, look);
        };
        let picture = responsive(move |room| {
            let [wide, high] = edit.page.size;
            let fit = (room.width / wide).min(room.height / high).max(0.1);
            if !self.is_large {
                let sheet = paper::paper(edit, look, fit.min(1.2), true);
                return container(sheet).center_x(Length::Fill).into();
            }
            let sheet = paper::paper(edit, look, (fit * 1.5).max(LARGE), true);
            let bar = || {
                Scrollbar::new()
                    .spacing(4.0)
                    .width(14.0)
                    .scroller_width(12.0)
            };
            scrollable(sheet)
                .direction(Direction::Both {
                    vertical: bar(),
                    horizontal: bar(),
                })
                .width(Length::Fill)
                .height(Length::Fill)
                .into()
        });
        row![picture, panel::panel(edit, self.is_large, look)]
            .spacing(STEP)
            .height(Length::Fill)
            .into()
    }
}
