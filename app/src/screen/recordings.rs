//! The Recordings screen: what is in the folder and in its jobs, what is wrong with the files that do
//! not open, and the key that plays one.

mod list;

use crate::fault::Fault;
use crate::job::folder::JobFolder;
use crate::screen::source::{field, share};
use crate::session::shelf::{Shelf, Volume};
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use crate::work::{Progress, Stand, Work};
use crate::{figure, font};
use iced::widget::{column, container, row, text, text_input};
use iced::{Alignment, Element, Length, border};
use list::Line;
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
    /// Which file or job the arrow keys have come to.
    cursor: Option<usize>,
    /// The open job, and what it is called.
    job: Option<(JobFolder, String)>,
    /// Other jobs whose recordings are shown.
    unfolded: Vec<JobFolder>,
    /// How far the reading is.
    progress: Progress,
    /// A file that is moved into a job, and the share that is done.
    moving: Option<(Work<PathBuf>, f64)>,
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
    /// Adds a file to those that are compared.
    Compare(PathBuf),
    /// The same with the file the arrow keys have come to.
    CompareTaken,
    /// The arrow keys go to the file before.
    Up,
    /// The arrow keys go to the file after.
    Down,
    /// Plays the file the arrow keys have come to.
    Take,
    /// Shows or hides the recordings of a job.
    Unfold(JobFolder),
    /// Moves a file into the open job.
    MoveIn(PathBuf),
    /// Stops the moving.
    StopMoving,
    /// Opens the Import panel.
    BringIn,
    /// Exports a file.
    Export(PathBuf),
    /// Exports the file the arrow keys have come to, or the first.
    ExportTaken,
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
    /// Add this file to those that are compared.
    Compare(PathBuf),
    /// Bring this share of the list into view, 0 to 1.
    Scroll(f32),
    /// Move this file into the open job.
    MoveIn(PathBuf),
    /// Open the Import panel.
    BringIn,
    /// Open the Export panel for this file.
    Export(PathBuf),
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

    /// Says which job is open, and what it is called: its recordings stand first.
    pub fn set_job(&mut self, job: Option<(JobFolder, String)>) {
        self.job = job;
    }

    /// The jobs whose recordings are shown.
    pub fn wanted_jobs(&self) -> Vec<JobFolder> {
        let open = self.job.iter().map(|(folder, _)| folder.clone());
        let mut wanted: Vec<JobFolder> = open.collect();
        for folder in &self.unfolded {
            if !wanted.contains(folder) {
                wanted.push(folder.clone());
            }
        }
        wanted
    }

    /// A file is being moved.
    pub fn begin_moving(&mut self, work: Work<PathBuf>) {
        self.moving = Some((work, 0.0));
    }

    /// How the moving ended, told once.
    pub fn moved(&mut self) -> Option<Result<PathBuf, Fault>> {
        let (work, done) = self.moving.as_mut()?;
        match work.look() {
            Stand::Running(share) => {
                *done = share;
                None
            }
            Stand::Ended(end) => {
                self.moving = None;
                Some(end)
            }
        }
    }

    /// The reading of the folder begins; what it says how far it is with.
    pub fn begin_reading(&mut self) -> Progress {
        self.progress = Progress::default();
        self.progress.clone()
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
                let line = self.cursor.and_then(|c| self.stops().nth(c));
                match line {
                    Some(Line::File(file)) if file.contents.is_ok() => {
                        Action::Play(file.path.clone())
                    }
                    Some(Line::Job(job, _)) => self.update(Message::Unfold(job.folder.clone())),
                    _ => Action::None,
                }
            }
            Message::Unfold(job) => {
                if self.unfolded.contains(&job) {
                    self.unfolded.retain(|j| *j != job);
                    Action::None
                } else {
                    self.unfolded.push(job);
                    Action::Read(PathBuf::from(self.folder.trim()))
                }
            }
            Message::MoveIn(_) if self.moving.is_some() => Action::None,
            Message::MoveIn(path) => Action::MoveIn(path),
            Message::StopMoving => {
                if let Some((work, _)) = &self.moving {
                    work.cancel();
                }
                Action::None
            }
            Message::CompareTaken => match self.cursor.and_then(|c| self.stops().nth(c)) {
                Some(Line::File(file)) if file.contents.is_ok() => {
                    Action::Compare(file.path.clone())
                }
                _ => Action::None,
            },
            Message::Compare(path) => Action::Compare(path),
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
            Message::Export(path) => Action::Export(path),
            Message::ExportTaken => {
                let line = match self.cursor {
                    Some(cursor) => self.stops().nth(cursor),
                    None => self.stops().find(|line| matches!(line, Line::File(_))),
                };
                match line {
                    Some(Line::File(file)) if file.contents.is_ok() => {
                        Action::Export(file.path.clone())
                    }
                    _ => Action::None,
                }
            }
        }
    }

    /// The lines the arrow keys stop at.
    fn stops(&self) -> impl Iterator<Item = Line<'_>> {
        let lines = self.lines().into_iter();
        lines.filter(|line| matches!(line, Line::File(_) | Line::Job(..)))
    }

    fn move_to(&mut self, cursor: usize) -> Action {
        let stops = self.stops().count();
        if stops == 0 {
            return Action::None;
        }
        let cursor = cursor.min(stops - 1);
        self.cursor = Some(cursor);
        Action::Scroll(share(cursor, stops))
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
        let moving = self.moving.as_ref().map(|(_, share)| {
            row![
                text(format!("Moving into the job… {:.0} %", share * 100.0))
                    .size(font::BODY)
                    .color(p.text),
                key::action("Stop", None, false, look, Some(Message::StopMoving)),
            ]
            .spacing(STEP * 2.0)
            .align_y(Alignment::Center)
        });
        let list: Element<'_, Message> = match &self.shelf {
            None => {
                let share = self.progress.share() * 100.0;
                note(format!("Reading the folder… {share:.0} %"), false).into()
            }
            Some(Err(why)) => note(why.to_string(), true).into(),
            Some(Ok(shelf)) if shelf.volumes.is_empty() && shelf.jobs.is_empty() => note(
                "No recordings here yet. Press Record (R) while samples arrive, or import a capture (I).".to_owned(),
                false,
            )
            .into(),
            Some(Ok(_)) => self.list(look),
        };
        column![
            text("Recordings")
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text),
            folder,
        ]
        .push(moving)
        .push(list)
        .spacing(STEP * 1.5)
        .into()
    }

    fn card<'a>(&'a self, volume: &'a Volume, is_on: bool, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let small = |words: String| text(words).size(font::SMALL).color(p.quiet);
        let is_playing = self.playing.as_deref() == Some(volume.path.as_path());
        // What lies by itself can be taken into the open job.
        let into_job = (self.job.is_some() && volume.job.is_none()).then(|| {
            let take = Message::MoveIn(volume.path.clone());
            key::action("Into job", None, false, look, Some(take))
        });
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
                        "Export…",
                        None,
                        false,
                        look,
                        Some(Message::Export(volume.path.clone()))
                    ),
                    key::action(
                        "Review",
                        None,
                        false,
                        look,
                        Some(Message::Review(volume.path.clone()))
                    ),
                    key::action(
                        "Compare",
                        None,
                        false,
                        look,
                        Some(Message::Compare(volume.path.clone()))
                    ),
                ]
                .push(into_job)
                .push(key::action(
                    if is_playing { "Play again" } else { "Play" },
                    Some(Mark::Play),
                    is_playing,
                    look,
                    Some(Message::Play(volume.path.clone())),
                ))
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
