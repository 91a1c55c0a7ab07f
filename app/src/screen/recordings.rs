//! The Recordings screen: what is in the folder, what is wrong with the files that do not open, and
//! the key that plays one.

use crate::screen::source::{field, share};
use crate::session::shelf::{Shelf, Volume};
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{Column, column, container, row, scrollable, text, text_input};
use iced::{Alignment, Element, Length, border};
use std::path::PathBuf;
use std::sync::Arc;

/// Identity of the folder field, for focus and tests.
pub const FOLDER_FIELD: &str = "recordings-folder";

/// Identity of the list of files, for scrolling.
pub const FILE_LIST: &str = "recordings-list";

/// The screen.
#[derive(Debug, Default)]
pub struct Recordings {
    folder: String,
    shelf: Option<Result<Arc<Shelf>, Arc<str>>>,
    playing: Option<PathBuf>,
    /// Which file the arrow keys have come to.
    cursor: Option<usize>,
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// The folder was read.
    Read(Result<Arc<Shelf>, Arc<str>>),
    /// Reads the folder again.
    Refresh,
    /// The typed folder changed.
    Folder(String),
    /// Uses the typed folder from now on.
    UseFolder,
    /// Plays a file.
    Play(PathBuf),
    /// Opens a file on the Review page.
    Review(PathBuf),
    /// The arrow keys go to the file before.
    Up,
    /// The arrow keys go to the file after.
    Down,
    /// Plays the file the arrow keys have come to.
    Take,
    /// Opens the Import panel.
    BringIn,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Read this folder and answer with [`Message::Read`].
    Read(PathBuf),
    /// Keep this folder as the folder of recordings, then read it.
    Keep(PathBuf),
    /// Play this file.
    Play(PathBuf),
    /// Open this file on the Review page.
    Review(PathBuf),
    /// Bring this share of the list into view, 0 to 1.
    Scroll(f32),
    /// Open the Import panel.
    BringIn,
}

impl Recordings {
    /// The screen for this folder, not read yet.
    pub fn new(folder: &std::path::Path) -> Self {
        Self {
            folder: folder.display().to_string(),
            ..Self::default()
        }
    }

    /// Name of the screen.
    pub fn title(&self) -> &'static str {
        "Recordings"
    }

    /// Says which file is being played.
    pub fn set_playing(&mut self, path: Option<PathBuf>) {
        self.playing = path;
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Read(shelf) => {
                self.shelf = Some(shelf);
                self.cursor = None;
                Action::None
            }
            Message::Up => self.move_to(self.cursor.map_or(0, |c| c.saturating_sub(1))),
            Message::Down => self.move_to(self.cursor.map_or(0, |c| c + 1)),
            Message::Take => {
                let file = self.cursor.and_then(|c| self.volumes().get(c));
                match file {
                    Some(file) if file.contents.is_ok() => Action::Play(file.path.clone()),
                    _ => Action::None,
                }
            }
            Message::Refresh => Action::Read(PathBuf::from(self.folder.trim())),
            Message::Folder(folder) => {
                self.folder = folder;
                Action::None
            }
            Message::UseFolder if self.folder.trim().is_empty() => Action::None,
            Message::UseFolder => Action::Keep(PathBuf::from(self.folder.trim())),
            Message::Play(path) => Action::Play(path),
            Message::Review(path) => Action::Review(path),
            Message::BringIn => Action::BringIn,
        }
    }

    fn volumes(&self) -> &[Volume] {
        match &self.shelf {
            Some(Ok(shelf)) => &shelf.volumes,
            Some(Err(_)) | None => &[],
        }
    }

    fn move_to(&mut self, cursor: usize) -> Action {
        let files = self.volumes().len();
        if files == 0 {
            return Action::None;
        }
        let cursor = cursor.min(files - 1);
        self.cursor = Some(cursor);
        Action::Scroll(share(cursor, files))
    }

    /// The screen.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let folder = row![
            text("Folder").size(font::BODY).color(p.quiet),
            text_input("folder of recordings", &self.folder)
                .id(FOLDER_FIELD)
                .on_input(Message::Folder)
                .on_submit(Message::UseFolder)
                .font(font::MONO)
                .size(font::BODY)
                .padding([12, 12])
                .style(move |_, status| field(look, status)),
            key::action("Use folder", None, false, look, Some(Message::UseFolder)),
            key::action("Look again", None, false, look, Some(Message::Refresh)),
            key::action("Import…", None, false, look, Some(Message::BringIn)),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center);
        let note = |words: String, is_wrong: bool| {
            let ink = if is_wrong { p.alarm } else { p.quiet };
            container(
                row![]
                    .push(is_wrong.then(|| mark::mark(Mark::Warning, 18.0, ink, p.background)))
                    .push(text(words).size(font::BODY).color(ink))
                    .spacing(STEP),
            )
            .padding(STEP * 2.0)
        };
        let list: Element<'_, Message> = match &self.shelf {
            None => note("Reading the folder…".to_owned(), false).into(),
            Some(Err(why)) => note(why.to_string(), true).into(),
            Some(Ok(shelf)) if shelf.volumes.is_empty() => note(
                "No recordings here yet. Press Record (R) while samples arrive, or import a capture (I).".to_owned(),
                false,
            )
            .into(),
            Some(Ok(shelf)) => {
                let mut list = Column::new().spacing(STEP);
                for (i, volume) in shelf.volumes.iter().enumerate() {
                    list = list.push(self.card(volume, self.cursor == Some(i), look));
                }
                scrollable(list)
                    .id(FILE_LIST)
                    .spacing(STEP)
                    .height(Length::Fill)
                    .into()
            }
        };
        column![
            text("Recordings")
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text),
            folder,
            list,
        ]
        .spacing(STEP * 1.5)
        .into()
    }

    fn card<'a>(&'a self, volume: &'a Volume, is_on: bool, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let small = |words: String| text(words).size(font::SMALL).color(p.quiet);
        let is_playing = self.playing.as_deref() == Some(volume.path.as_path());
        let content = match &volume.contents {
            Ok(c) => {
                let mut words = column![
                    text(&c.engine)
                        .size(font::BODY)
                        .font(font::BOLD)
                        .color(p.text),
                    small(format!("{} · {}", c.started, volume.name)),
                ]
                .spacing(4)
                .width(Length::Fill);
                if !c.note.is_empty() {
                    words = words.push(text(&c.note).size(font::SMALL).color(p.text));
                }
                if let Some(shortfall) = &c.shortfall {
                    words = words.push(
                        row![
                            mark::mark(Mark::Warning, 14.0, p.alarm, p.panel),
                            text(shortfall).size(font::SMALL).color(p.text),
                        ]
                        .spacing(STEP),
                    );
                }
                let measure = |words: String, width: f32| {
                    text(words)
                        .size(font::BODY)
                        .color(p.text)
                        .width(width)
                        .align_x(Alignment::End)
                };
                row![
                    words,
                    measure(figure::clock(c.seconds), 80.0),
                    measure(figure::size(c.bytes), 80.0),
                    key::action(
                        "Review",
                        None,
                        false,
                        look,
                        Some(Message::Review(volume.path.clone()))
                    ),
                    key::action(
                        if is_playing { "Play again" } else { "Play" },
                        Some(Mark::Play),
                        is_playing,
                        look,
                        Some(Message::Play(volume.path.clone()))
                    ),
                ]
            }
            Err(why) => row![
                mark::mark(Mark::Warning, 20.0, p.alarm, p.panel),
                column![
                    text(&volume.name)
                        .size(font::BODY)
                        .font(font::BOLD)
                        .color(p.text),
                    text(why.as_ref()).size(font::SMALL).color(p.text),
                ]
                .spacing(4)
                .width(Length::Fill),
            ],
        };
        container(content.spacing(STEP * 2.0).align_y(Alignment::Center))
            .padding([STEP * 1.5, STEP * 2.0])
            .width(Length::Fill)
            .style(move |_| {
                container::background(p.panel).border(
                    border::rounded(RADIUS)
                        .color(if is_playing || is_on { p.text } else { p.panel })
                        .width(1),
                )
            })
            .into()
    }
}
