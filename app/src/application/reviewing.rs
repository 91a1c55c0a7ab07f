//! What the Review page asks of the dashboard.

use super::{Application, Message};
use crate::screen::review::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_review(&mut self, message: review::Message) -> Task<Message> {
        match self.pages.review.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_review(&mut self) {}
}
