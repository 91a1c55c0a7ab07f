//! What the Cycles page asks of the dashboard.

use super::{Application, Message};
use crate::screen::cycles::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_cycles(&mut self, message: cycles::Message) -> Task<Message> {
        match self.pages.cycles.update(message) {
            Action::None => Task::none(),
        }
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_cycles(&mut self) {}
}
