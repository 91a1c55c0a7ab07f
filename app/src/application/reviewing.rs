//! What the Review page asks of the dashboard.

use super::pages::Page;
use super::{Application, Message, Tab};
use crate::screen::review::{self, Action};
use crate::session::Plan;
use crate::session::choice::Choice;
use crate::session::playback::Order;
use iced::Task;
use std::path::PathBuf;
use std::time::Instant;

impl Application {
    pub(super) fn on_review(&mut self, message: review::Message) -> Task<Message> {
        match self.pages.review.update(message) {
            Action::None => {}
            Action::Live(seconds) => {
                self.bench.order(Order::Pause);
                self.bench.order(Order::Seek(seconds));
                self.tab = Tab::Live;
                self.wish();
            }
        }
        Task::none()
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
        let (recording, setup) = (self.bench.recording(), self.bench.setup());
        self.pages.review.set_recording(recording, setup);
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_review(&mut self) {
        let whole = self.shown.whole.as_deref();
        let course = whole.and_then(|w| w.course.as_ref());
        let play = self.shown.playback.as_deref();
        self.pages.review.follow(course, play, Instant::now());
    }
}
