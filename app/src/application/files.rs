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
            Action::Read(folder) => read(folder),
            Action::Keep(folder) => {
                self.settings.recordings = Some(folder.clone());
                self.save();
                read(folder)
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
            Action::BringIn => self.bring_in(),
        }
    }

    pub(super) fn toggle_record(&mut self) -> Task<Message> {
        if let RecordingStatus::On { .. } = self.shown.recording {
            if let Some(end) = self.bench.stop_recording() {
                self.tell_saved(&end);
            }
            self.shown = self.bench.look();
            return self.read_shelf();
        }
        let folder = self.settings.recordings_folder();
        match self.bench.record_into(&folder, &self.story) {
            Ok(_) => self.notice = None,
            Err(fault) => self.tell(fault.to_string(), true),
        }
        self.shown = self.bench.look();
        Task::none()
    }

    pub(super) fn read_shelf(&self) -> Task<Message> {
        read(self.settings.recordings_folder())
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

/// Reads the folder of recordings on a thread of its own.
fn read(folder: PathBuf) -> Task<Message> {
    Task::perform(
        async move {
            tokio::task::spawn_blocking(move || shelf::read(&folder))
                .await
                .unwrap_or_else(|e| Err(Arc::from(e.to_string())))
        },
        |shelf| Message::Recordings(recordings::Message::Read(shelf.map(Arc::new))),
    )
}
