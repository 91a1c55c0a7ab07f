//! Bringing in captures: the Import panel, the import that runs behind it, and files that are
//! dropped onto the window.

use super::{Application, Message};
use crate::screen::import::{self, Action, Import};
use crate::session::Plan;
use crate::session::choice::Choice;
use crate::session::importer::{self, Importer, Stand};
use iced::Task;
use keyway_acquisition::import as capture;
use std::path::PathBuf;
use std::sync::Arc;

impl Application {
    /// Opens the Import panel.
    pub(super) fn bring_in(&mut self) -> Task<Message> {
        if self.import.is_none() {
            let sheets = importer::sheets(&self.settings.sheets_folder());
            let folder = self.settings.recordings_folder();
            self.import = Some(Import::new(folder, sheets, &importer::roles()));
        }
        self.source = None;
        self.update(Message::FocusField)
    }

    /// A recording is played; anything else is taken for a capture.
    pub(super) fn dropped(&mut self, path: PathBuf) -> Task<Message> {
        if self.import.as_ref().is_some_and(Import::is_running) {
            return Task::none();
        }
        if path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("mcap"))
        {
            self.import = None;
            self.source = None;
            self.open(Plan::of(Choice::Recording(path)));
            return Task::none();
        }
        let focus = self.bring_in();
        let action = self.import.as_mut().map(|panel| panel.name(&path));
        let look = action.map_or_else(Task::none, |action| self.act(action));
        Task::batch([focus, look])
    }

    pub(super) fn on_import(&mut self, message: import::Message) -> Task<Message> {
        let Some(panel) = &mut self.import else {
            return Task::none();
        };
        let action = panel.update(message);
        self.act(action)
    }

    fn act(&mut self, action: Action) -> Task<Message> {
        match action {
            Action::None => {}
            Action::Look(path, plan) => {
                return Task::perform(
                    async move {
                        tokio::task::spawn_blocking(move || {
                            capture::inspect(&path, &plan)
                                .map(Arc::new)
                                .map_err(|e| Arc::from(e.to_string()))
                        })
                        .await
                        .unwrap_or_else(|e| Err(Arc::from(e.to_string())))
                    },
                    |found| Message::Import(import::Message::Looked(found)),
                );
            }
            Action::Begin(request) => match (Importer::start(*request), &mut self.import) {
                (Ok(importer), _) => self.importer = Some(importer),
                (Err(fault), Some(panel)) => panel.failed(Arc::from(fault.to_string())),
                (Err(fault), None) => self.tell(fault.to_string(), true),
            },
            Action::Stop => {
                if let Some(importer) = &self.importer {
                    importer.stop();
                }
            }
            Action::Close => self.import = None,
        }
        Task::none()
    }

    /// Shows how far the import is, and opens its recording at the end.
    pub(super) fn follow_import(&mut self) {
        let Some(importer) = &self.importer else {
            return;
        };
        match importer.look() {
            Stand::Running(share) =>
            {
                #[allow(clippy::cast_possible_truncation, reason = "a share that is drawn")]
                if let Some(panel) = &mut self.import {
                    panel.progress(share as f32);
                }
            }
            Stand::Done(path, remarks) => {
                self.importer = None;
                self.import = None;
                self.open(Plan::of(Choice::Recording(path.clone())));
                // A fault of opening goes before.
                if self.notice.is_none() {
                    let remarks = if remarks.is_empty() {
                        String::new()
                    } else {
                        format!(": {}", remarks.join("; "))
                    };
                    self.tell(format!("Imported {}{remarks}.", path.display()), false);
                }
            }
            Stand::Failed(fault) => {
                self.importer = None;
                match &mut self.import {
                    Some(panel) => panel.failed(Arc::from(fault.to_string())),
                    None => self.tell(fault.to_string(), true),
                }
            }
        }
    }
}
