//! What the References page asks of the dashboard: reading, measuring, keeping, and working with one.

use super::pages::Page;
use super::{Application, Message, Tab, scroll};
use crate::fault::Fault;
use crate::reference::library::Library;
use crate::reference::recorded::{self, Taken};
use crate::reference::{self, applied::applied};
use crate::screen::references::{self, Action, LIST};
use crate::session::Plan;
use crate::work::{Stand, Work};
use iced::Task;
use iced::widget::operation;
use keyway_analysis::reference::handbook::Told;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The work under way for the page.
#[derive(Debug, Default)]
pub(super) struct Referring {
    reading: Option<Work<Library>>,
    taking: Option<Work<Taken>>,
}

impl Application {
    pub(super) fn on_references(&mut self, message: references::Message) -> Task<Message> {
        match self.pages.references.update(message) {
            Action::None => {}
            Action::Read => self.read_references(),
            Action::Use(path) => self.use_reference(&path),
            Action::Stop => self.judge_by(None),
            Action::Take(told) => self.take_reference(*told),
            Action::Cancel => self.pages.referring.taking = None,
            Action::Keep(made) => {
                let kept = reference::keep(&made, &self.settings.references_folder());
                self.kept_reference(kept);
            }
            Action::Import(from) => {
                let kept = reference::import(&from, &self.settings.references_folder());
                self.kept_reference(kept);
            }
            Action::Export(file, to) => {
                match reference::read(&file).and_then(|filed| reference::export(&filed, &to)) {
                    Ok(path) => {
                        self.pages.references.kept(file);
                        self.tell(format!("Copied to {}.", path.display()), false);
                    }
                    Err(fault) => self.pages.references.failed(Arc::from(fault.to_string())),
                }
            }
            Action::Scroll(share) => return scroll(LIST, share),
            Action::Next => return operation::focus_next(),
        }
        Task::none()
    }

    /// The folders in which references are looked for: the technician's own, and the open job's.
    fn reference_folders(&self) -> Vec<PathBuf> {
        let own = self.settings.references_folder();
        let job = self
            .job_folder()
            .map(crate::job::folder::JobFolder::references);
        std::iter::once(own).chain(job).collect()
    }

    pub(super) fn read_references(&mut self) {
        self.stand_references();
        let (folders, sheet) = (self.reference_folders(), Arc::clone(&self.setup.sheet));
        match Work::start("the reading of references", move |_| {
            Library::read(&folders, &sheet)
        }) {
            Ok(work) => self.pages.referring.reading = Some(work),
            Err(fault) => self.tell(fault.to_string(), true),
        }
    }

    /// Tells the page which engine, reference and recording the session has.
    pub(super) fn stand_references(&mut self) {
        let using = self.opened.as_ref().and_then(|plan| plan.reference.clone());
        let recording = self.bench.playing().map(Path::to_owned);
        self.pages
            .references
            .stand(&self.setup.sheet, using, recording);
    }

    fn take_reference(&mut self, told: Told) {
        let Some(path) = self.bench.playing().map(Path::to_owned) else {
            let why = "the recording is not open any more";
            self.pages.references.failed(Arc::from(why));
            return;
        };
        let work = Work::start("the measuring of the recording", move |progress| {
            recorded::take(&path, &told, progress)
        });
        match work {
            Ok(work) => self.pages.referring.taking = Some(work),
            Err(fault) => self.pages.references.failed(Arc::from(fault.to_string())),
        }
    }

    fn kept_reference(&mut self, kept: Result<PathBuf, Fault>) {
        match kept {
            Ok(path) => {
                self.tell(format!("Saved as {}.", path.display()), false);
                self.pages.references.kept(path);
                self.read_references();
            }
            Err(fault) => self.pages.references.failed(Arc::from(fault.to_string())),
        }
    }

    /// Works with a reference from now on, if it is for this engine.
    fn use_reference(&mut self, path: &Path) {
        // Before the session is ended, because a refusal must not cost it.
        let fits = reference::read(path).and_then(|f| applied(&self.setup, &f.reference));
        match fits {
            Ok(_) => self.judge_by(Some(path.to_owned())),
            Err(fault) => self.tell(fault.to_string(), true),
        }
    }

    /// Opens the same source again with this reference, or without one.
    fn judge_by(&mut self, reference: Option<PathBuf>) {
        let Some(plan) = self.opened.clone() else {
            return;
        };
        self.open(Plan { reference, ..plan });
        self.tab = Tab::Recordings;
        self.pages.open = Page::References;
        self.wish();
        self.stand_references();
        if self.notice.is_none() {
            let said = keyway_analysis::base_timing::BaseTiming::unseen(&self.setup.sheet.cams);
            self.tell(format!("Base timing is judged {}.", said.against), false);
        }
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_references(&mut self) {
        let referring = &mut self.pages.referring;
        if let Some(Stand::Ended(end)) = referring.reading.as_ref().map(Work::look) {
            referring.reading = None;
            let end = end.map(Arc::new).map_err(|f| Arc::from(f.to_string()));
            self.pages.references.show(end);
        }
        let referring = &mut self.pages.referring;
        match referring.taking.as_ref().map(Work::look) {
            Some(Stand::Running(share)) => self.pages.references.progress(share),
            Some(Stand::Ended(end)) => {
                referring.taking = None;
                let end = end.map_err(|f| Arc::from(f.to_string()));
                self.pages.references.taken(end);
            }
            None => {}
        }
    }
}
