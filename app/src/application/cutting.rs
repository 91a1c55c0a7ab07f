//! What the Cycles page asks of the dashboard.

use super::pages::Page;
use super::{Application, Message, Tab};
use crate::screen::cycles::{self, Action};
use iced::Task;
use iced::widget::operation;

impl Application {
    pub(super) fn on_cycles(&mut self, message: cycles::Message) -> Task<Message> {
        match self.pages.cycles.update(message) {
            Action::None => Task::none(),
            Action::Focus(field) => operation::focus(field),
        }
    }

    /// Shows what has come of long work, and follows the recording that is open and the stretch that is chosen on
    /// the Review page; called with every tick.
    pub(super) fn follow_cycles(&mut self) {
        let length = self.shown.playback.as_ref().map(|p| p.length);
        match (self.bench.playing(), length) {
            (Some(path), Some(length)) => {
                self.pages
                    .cycles
                    .set_source(Some(path), self.bench.setup(), length);
            }
            // The first look at a recording that was just opened is still to come.
            (Some(_), None) => {}
            (None, _) => self.pages.cycles.set_source(None, None, 0.0),
        }
        if self.tab == Tab::Recordings && self.pages.open == Page::Cycles {
            self.pages.cycles.set_span(self.pages.review.span());
        }
        self.pages.cycles.follow();
    }
}
