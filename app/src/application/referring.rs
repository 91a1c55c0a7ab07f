//! What the References page asks of the dashboard.

use super::{Application, Message};
use crate::screen::references::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_references(&mut self, message: references::Message) -> Task<Message> {
        match self.pages.references.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_references(&mut self) {}
}
