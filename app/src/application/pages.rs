//! The pages of the Recordings screen, and what they are told together.

use super::comparing::Comparing;
use super::keeping::Keeping;
use super::referring::Referring;
use super::{Application, Message};
use crate::screen::cycles::Cycles;
use crate::screen::exhibits::Exhibits;
use crate::screen::recordings::Recordings;
use crate::screen::references::References;
use crate::screen::review::Review;
use crate::settings::Settings;
use crate::theme::{Look, STEP};
use crate::widget::button;
use iced::keyboard::Key;
use iced::widget::{Column, Row};
use iced::{Element, Task};

/// The pages, in the order in which a recording is worked with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// The files there are.
    #[default]
    Files,
    /// One recording, from the whole to single samples.
    Review,
    /// A stretch of it, locked to the crank.
    Cycles,
    /// Several recordings.
    Compare,
    /// Known-good references.
    References,
    /// What was kept.
    Exhibits,
}

impl Page {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Files,
        Self::Review,
        Self::Cycles,
        Self::Compare,
        Self::References,
        Self::Exhibits,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Files => "Files",
            Self::Review => "Review",
            Self::Cycles => "Cycles",
            Self::Compare => "Compare",
            Self::References => "References",
            Self::Exhibits => "Exhibits",
        }
    }

    /// The one so many places further, or the last in that direction.
    pub fn turned(self, by: isize) -> Self {
        let here = Self::ALL.iter().position(|p| *p == self).unwrap_or(0);
        let there = here.saturating_add_signed(by).min(Self::ALL.len() - 1);
        Self::ALL[there]
    }
}

/// All pages with which one is open.
#[derive(Debug)]
pub struct Pages {
    /// The open one.
    pub open: Page,
    /// The files there are.
    pub files: Recordings,
    /// One recording.
    pub review: Review,
    /// A stretch of it.
    pub cycles: Cycles,
    /// Several.
    pub compare: Comparing,
    /// Known-good references.
    pub references: References,
    pub(super) referring: Referring,
    /// What was kept.
    pub exhibits: Exhibits,
    pub(super) keeping: Keeping,
}

impl Pages {
    pub(super) fn new(settings: &Settings) -> Self {
        Self {
            open: Page::default(),
            files: Recordings::new(&settings.recordings_folder()),
            review: Review::default(),
            cycles: Cycles::default(),
            compare: Comparing::default(),
            references: References::default(),
            referring: Referring::default(),
            exhibits: Exhibits::default(),
            keeping: Keeping::default(),
        }
    }

    /// What a key does on the open page; the page with the files has its own.
    pub(super) fn key(&self, key: &Key) -> Option<Message> {
        match self.open {
            Page::Files => None,
            Page::Review => self.review.key(key).map(Message::Review),
            Page::Cycles => self.cycles.key(key).map(Message::Cycles),
            Page::Compare => self.compare.page.key(key).map(Message::Compare),
            Page::References => self.references.key(key).map(Message::References),
            Page::Exhibits => self.exhibits.key(key).map(Message::Exhibits),
        }
    }

    /// The open page below the row that turns to the others.
    pub(super) fn view(&self, look: Look) -> Element<'_, Message> {
        let turn = Page::ALL
            .iter()
            .fold(Row::new().spacing(STEP), |row, page| {
                let is_open = *page == self.open;
                let to = Some(Message::Turn(*page));
                row.push(button::action(page.name(), None, is_open, look, to))
            });
        let page = match self.open {
            Page::Files => self.files.view(look).map(Message::Recordings),
            Page::Review => self.review.view(look).map(Message::Review),
            Page::Cycles => self.cycles.view(look).map(Message::Cycles),
            Page::Compare => self.compare.page.view(look).map(Message::Compare),
            Page::References => self.references.view(look).map(Message::References),
            Page::Exhibits => self.exhibits.view(look).map(Message::Exhibits),
        };
        Column::new()
            .push(turn)
            .push(page)
            .spacing(STEP * 1.5)
            .into()
    }
}

impl Application {
    /// The pages of the Recordings screen.
    pub fn pages(&self) -> &Pages {
        &self.pages
    }

    pub(super) fn turn(&mut self, page: Page) -> Task<Message> {
        self.pages.open = page;
        match page {
            Page::Files => self.read_shelf(),
            Page::Exhibits => self.read_exhibits(),
            Page::References => {
                self.read_references();
                Task::none()
            }
            Page::Review | Page::Cycles | Page::Compare => Task::none(),
        }
    }

    /// Shows what has come of long work on any page.
    pub(super) fn follow_pages(&mut self) {
        self.follow_review();
        self.follow_cycles();
        self.follow_compare();
        self.follow_references();
        self.follow_exhibits();
    }
}
