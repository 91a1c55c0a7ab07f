//! What the Compare page asks of the dashboard.

use super::{Application, Message};
use crate::screen::compare::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_compare(&mut self, message: compare::Message) -> Task<Message> {
        match self.pages.compare.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_compare(&mut self) {}
}
