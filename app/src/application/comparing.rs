//! What the Compare page asks of the dashboard.

use super::{Application, Message, scroll};
use crate::application::pages::Page;
use crate::compare::Outcome;
use crate::fault::Fault;
use crate::screen::compare::{self, Action, Compare};
use crate::work::{Stand, Work};
use iced::Task;
use std::path::Path;
use std::sync::Arc;

/// The Compare page with the work that runs for it.
#[derive(Debug, Default)]
pub struct Comparing {
    /// The page.
    pub page: Compare,
    work: Option<Work<Outcome>>,
}

impl Application {
    pub(super) fn on_compare(&mut self, message: compare::Message) -> Task<Message> {
        match self.pages.compare.page.update(message) {
            Action::None => Task::none(),
            Action::Start(files, same_engine) => {
                let work = Work::start("the comparison", move |progress| {
                    Outcome::of(&files, same_engine, progress)
                });
                match work {
                    Ok(work) => self.pages.compare.work = Some(work),
                    Err(fault) => self.compared(Err(fault)),
                }
                Task::none()
            }
            Action::Cancel => {
                if let Some(work) = &self.pages.compare.work {
                    work.cancel();
                }
                Task::none()
            }
            Action::Scroll(share) => scroll(compare::TABLE, share),
        }
    }

    /// Adds a recording to those that are compared, and says so.
    pub(super) fn add_to_comparison(&mut self, path: &Path) {
        let file = path.file_name().unwrap_or(path.as_os_str());
        let file = file.to_string_lossy();
        match self.pages.compare.page.add(path) {
            Ok(()) => {
                let words = match self.pages.compare.page.chosen() {
                    1 => format!("{file} is the base of the comparison; add another to it"),
                    n => format!("{file} will be compared: {n} recordings are chosen"),
                };
                if self.pages.compare.page.chosen() > 1 {
                    self.pages.open = Page::Compare;
                }
                self.tell(words, false);
            }
            Err(why) => self.tell(why, true),
        }
    }

    /// Shows a comparison that was made elsewhere: for pictures and tests.
    pub fn show_comparison(&mut self, outcome: Outcome) {
        self.pages.open = Page::Compare;
        self.compared(Ok(outcome));
    }

    fn compared(&mut self, end: Result<Outcome, Fault>) {
        self.pages.compare.work = None;
        let end = end.map_err(|fault| Arc::from(fault.to_string()));
        self.pages.compare.page.set_outcome(end);
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_compare(&mut self) {
        let Some(work) = &self.pages.compare.work else {
            return;
        };
        match work.look() {
            Stand::Running(share) => self.pages.compare.page.set_running(Some(share)),
            Stand::Ended(end) => self.compared(end),
        }
    }
}
