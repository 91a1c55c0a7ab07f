//! The files there are: reading the folder, recording into it, and opening one.

use super::{Application, Message, scroll};
use crate::screen::recordings::{self, Action};
use crate::session::choice::Choice;
use crate::session::{Plan, shelf};
use crate::status::RecordingStatus;
use iced::Task;
use std::path::PathBuf;
use std::sync::Arc;

impl Application {
    pub(super) fn on_recordings(&mut self, message: recordings::Message) -> Task<Message> {
        match self.pages.files.update(message) {
            Action::None => Task::none(),
            Action::Read(folder) => self.read(folder),
            Action::Keep(folder) => {
                self.settings.recordings = Some(folder.clone());
                self.save();
                self.read(folder)
            }
            Action::Scroll(share) => scroll(recordings::FILE_LIST, share),
            Action::Play(path) => {
                self.open(Plan::of(Choice::Recording(path)));
                Task::none()
            }
            Action::Review(path) => {
                self.open_for_review(path);
                Task::none()
            }
            Action::MoveIn(path) => self.move_in(path),
            Action::Compare(path) => {
                self.add_to_comparison(&path);
                Task::none()
            }
            Action::BringIn => self.bring_in(),
            Action::Export(path) => self.take_out(path),
        }
    }

    pub(super) fn toggle_record(&mut self) -> Task<Message> {
        if let RecordingStatus::On { .. } = self.shown.recording {
            if let Some(end) = self.bench.stop_recording() {
                self.tell_saved(&end);
            }
            self.shown = self.bench.look();
            self.job.read_contents();
            return self.read_shelf();
        }
        let (folder, caption) = self.recording_place();
        match self.bench.record_into(&folder, &caption) {
            Ok(_) => self.notice = None,
            Err(fault) => self.tell(fault.to_string(), true),
        }
        self.shown = self.bench.look();
        Task::none()
    }

    pub(super) fn read_shelf(&mut self) -> Task<Message> {
        self.read(self.settings.recordings_folder())
    }

    /// Reads the folder of recordings on a thread of its own.
    fn read(&mut self, folder: PathBuf) -> Task<Message> {
        let jobs = self.pages.files.wanted_jobs();
        let progress = self.pages.files.begin_reading();
        Task::perform(
            async move {
                let task = move || shelf::read_with(&folder, &jobs, &progress);
                tokio::task::spawn_blocking(task)
                    .await
                    .unwrap_or_else(|e| Err(Arc::from(e.to_string())))
            },
            |shelf| Message::Recordings(recordings::Message::Read(shelf.map(Arc::new))),
        )
    }

    pub(super) fn tell_saved(&mut self, end: &RecordingStatus) {
        match end {
            RecordingStatus::On {
                path,
                seconds,
                bytes,
            } => {
                let words = format!(
                    "Saved {}: {}, {}",
                    path.display(),
                    crate::figure::clock(*seconds),
                    crate::figure::size(*bytes)
                );
                self.tell(words, false);
            }
            RecordingStatus::Failed(why) => self.tell(why.to_string(), true),
            RecordingStatus::Off => {}
        }
    }
}
