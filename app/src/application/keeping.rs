//! What the Exhibits page asks of the dashboard.

use super::pages::Page;
use super::{Application, Message, Tab};
use crate::screen::exhibits::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_exhibits(&mut self, message: exhibits::Message) -> Task<Message> {
        match self.pages.exhibits.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Keeps what is on screen as an exhibit.
    pub(super) fn keep(&mut self) -> Task<Message> {
        let _scene = match self.tab {
            Tab::Live => self.live.scene(),
            Tab::Recordings => match self.pages.open {
                Page::Review => self.pages.review.scene(),
                Page::Cycles => self.pages.cycles.scene(),
                Page::Compare => self.pages.compare.scene(),
                Page::Files | Page::References | Page::Exhibits => None,
            },
            Tab::Job | Tab::Hookup | Tab::Findings => None,
        };
        Task::none()
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_exhibits(&mut self) {}
}
