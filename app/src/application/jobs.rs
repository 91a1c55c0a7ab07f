//! What the Job screen asks of the dashboard.

use super::{Application, Message};
use crate::job::folder::JobFolder;
use crate::screen::job::{self, Action};
use iced::Task;

impl Application {
    pub(super) fn on_job(&mut self, message: job::Message) -> Task<Message> {
        match self.job.update(message) {
            Action::None => Task::none(),
        }
    }

    /// The folder of the open job, if one is open.
    pub fn job_folder(&self) -> Option<&JobFolder> {
        self.job.folder()
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_job(&mut self) {}
}
