//! What the Review page asks of the dashboard.

use super::pages::Page;
use super::{Application, Message, Tab};
use crate::screen::review::{self, Action};
use crate::session::Plan;
use crate::session::choice::Choice;
use crate::session::playback::Order;
use iced::Task;
use std::path::PathBuf;

impl Application {
    pub(super) fn on_review(&mut self, message: review::Message) -> Task<Message> {
        match self.pages.review.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Opens a recording in the player, standing at its start, and turns to the Review page.
    pub(super) fn open_for_review(&mut self, path: PathBuf) {
        self.open(Plan::of(Choice::Recording(path)));
        if self.bench.playing().is_some() {
            self.bench.order(Order::Pause);
            self.bench.order(Order::Seek(0.0));
            self.tab = Tab::Recordings;
            self.pages.open = Page::Review;
            self.wish();
        }
    }

    /// What the Review page is told when another session was opened.
    pub(super) fn settle_review(&mut self) {
        let path = self.bench.playing();
        self.pages.review.set_recording(path, self.bench.setup());
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_review(&mut self) {}
}
