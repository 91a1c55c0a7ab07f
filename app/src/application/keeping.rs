//! Keeping what is on screen as an exhibit, and what the Exhibits page asks of the dashboard. Files are
//! read, written and drawn beside the window; what has come of it is fetched with every tick.

use super::pages::{Page, Pages};
use super::{Application, Message, Tab};
use crate::exhibit::document::Document;
use crate::exhibit::scene::Scene;
use crate::exhibit::store::{self, Entry, Kept, Opened};
use crate::fault::Fault;
use crate::screen::exhibits::{self, Action, News};
use crate::session::calendar;
use crate::work::{Stand, Work};
use iced::Task;
use iced::widget::operation;
use std::path::PathBuf;
use std::time::{SystemTime, UNIX_EPOCH};

/// What is done on files of exhibits. Each is waited for when the window closes.
#[derive(Debug, Default)]
pub struct Keeping {
    /// Exhibits that are being written for the first time.
    new: Vec<Work<Kept>>,
    /// The list that is being read.
    list: Option<Work<Vec<Entry>>>,
    /// The exhibit that is being read.
    open: Option<Work<Opened>>,
    /// The exhibit that is being saved.
    save: Option<Work<Kept>>,
    /// Changes that are being written beside their exhibit.
    draft: Option<Work<()>>,
    /// Pictures that are being drawn elsewhere.
    export: Vec<Work<PathBuf>>,
}

/// What has come of work that has ended; nothing is left of it then.
fn ended<T: Send + 'static>(work: &mut Option<Work<T>>) -> Option<Result<T, Fault>> {
    match work.as_ref()?.look() {
        Stand::Running(_) => None,
        Stand::Ended(end) => {
            *work = None;
            Some(end)
        }
    }
}

/// The same of many.
fn all_ended<T: Send + 'static>(works: &mut Vec<Work<T>>) -> Vec<Result<T, Fault>> {
    let mut ends = Vec::new();
    works.retain(|work| match work.look() {
        Stand::Running(_) => true,
        Stand::Ended(end) => {
            ends.push(end);
            false
        }
    });
    ends
}

impl Application {
    /// Where exhibits are kept.
    pub fn exhibits_folder(&self) -> PathBuf {
        match self.job_folder() {
            Some(job) => job.exhibits(),
            None => self.settings.recordings_folder().join("exhibits"),
        }
    }

    pub(super) fn on_exhibits(&mut self, message: exhibits::Message) -> Task<Message> {
        let action = self.pages.exhibits.update(message);
        self.exhibit_action(action)
    }

    fn exhibit_action(&mut self, action: Action) -> Task<Message> {
        match action {
            Action::None => {}
            Action::Open(path) => {
                let work = Work::start("the opening of an exhibit", move |_| store::open(&path));
                self.pages.keeping.open = self.begun(work);
            }
            Action::Save(path, digest, document) => {
                // A draft on its way would come back after it was saved.
                let before = self.pages.keeping.draft.take();
                let work = Work::start("the saving of an exhibit", move |_| {
                    drop(before);
                    store::save(&path, digest, &document)
                });
                self.pages.keeping.save = self.begun(work);
            }
            Action::Discard(path) => {
                // A draft on its way would come back after it was thrown away.
                let before = self.pages.keeping.draft.take();
                let work = Work::start("the opening of an exhibit", move |_| {
                    drop(before);
                    store::forget_draft(&path)?;
                    store::open(&path)
                });
                self.pages.keeping.open = self.begun(work);
            }
            Action::Export(document, to) => {
                let work = Work::start("the export", move |_| {
                    store::export(&document, &to, false)?;
                    Ok(to)
                });
                let work = self.begun(work);
                self.pages.keeping.export.extend(work);
            }
            Action::Read => return self.read_exhibits(),
            Action::Focus(field) => return operation::focus(field),
        }
        Task::none()
    }

    /// Work that could be begun; that it could not is told.
    fn begun<T>(&mut self, work: Result<Work<T>, Fault>) -> Option<Work<T>> {
        work.map_err(|fault| self.tell(fault.to_string(), true))
            .ok()
    }

    /// Reads which exhibits there are.
    pub(super) fn read_exhibits(&mut self) -> Task<Message> {
        let folder = self.exhibits_folder();
        self.pages.exhibits.set_folder(folder.clone());
        let work = Work::start("the list of exhibits", move |_| store::list(&folder));
        self.pages.keeping.list = self.begun(work);
        Task::none()
    }

    /// What is on screen as data.
    fn scene(&self) -> Option<Scene> {
        let mut scene = match self.tab {
            Tab::Live => self.live.scene(&self.setup.sheet),
            Tab::Recordings => match self.pages.open {
                Page::Review => self.pages.review.scene(),
                Page::Cycles => self.pages.cycles.scene(),
                Page::Compare => self.pages.compare.page.scene(),
                Page::Files | Page::References | Page::Exhibits => None,
            },
            Tab::Hookup => self.hookup.scene(),
            Tab::Findings => self.findings.scene(),
            Tab::Job => None,
        }?;
        // These three do not know what is played; the pages name their recordings themselves.
        if scene.recordings.is_empty()
            && let Some(path) = self.bench.playing()
        {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            scene.recordings = vec![name.into_owned()];
        }
        Some(scene)
    }

    /// Keeps what is on screen as an exhibit.
    pub(super) fn keep(&mut self) -> Task<Message> {
        let Some(scene) = self.scene() else {
            let words = "There is nothing to keep here: exhibits are made of the Hook-up, Live and Findings screens once samples arrive, and of the Review, Cycles and Compare pages with a recording open";
            self.tell(words.to_owned(), false);
            return Task::none();
        };
        let now = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default()
            .as_secs();
        let engine = self.setup.sheet.name.clone();
        let folder = self.exhibits_folder();
        let work = Work::start("the keeping of an exhibit", move |_| {
            let document = Document::new(scene, &engine, calendar::minute(now));
            store::keep(&folder, &calendar::stamp(now), &document)
        });
        let work = self.begun(work);
        self.pages.keeping.new.extend(work);
        Task::none()
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_exhibits(&mut self) {
        for end in all_ended(&mut self.pages.keeping.new) {
            match end {
                Ok(kept) => {
                    let words = format!(
                        "Kept as {}; it is under Recordings, Exhibits",
                        kept.path.display()
                    );
                    self.tell_kept(&kept, words);
                    if self.pages.open == Page::Exhibits {
                        let _read = self.read_exhibits();
                    }
                }
                Err(fault) => self.tell(fault.to_string(), true),
            }
        }
        for end in all_ended(&mut self.pages.keeping.export) {
            match end {
                Ok(path) => self.tell(format!("Drawn into {}", path.display()), false),
                Err(fault) => self.tell(fault.to_string(), true),
            }
        }
        if let Some(end) = ended(&mut self.pages.keeping.list) {
            self.report(end.map(News::List));
        }
        if let Some(end) = ended(&mut self.pages.keeping.open) {
            self.report(end.map(|opened| News::Opened(Box::new(opened))));
        }
        if let Some(end) = ended(&mut self.pages.keeping.save) {
            // That all went well is said on the page itself, whose keys a message would cover.
            if let Ok(kept) = &end
                && (kept.is_beside || kept.without_pictures.is_some())
            {
                let path = kept.path.display();
                let words = if kept.is_beside {
                    format!(
                        "Another program has changed it meanwhile; yours is beside it as {path}"
                    )
                } else {
                    format!("Saved {path}")
                };
                self.tell_kept(kept, words);
            }
            self.report(end.map(News::Saved));
        }
        if let Some(Err(fault)) = ended(&mut self.pages.keeping.draft) {
            self.tell(fault.to_string(), true);
        }
        if self.pages.keeping.draft.is_none()
            && let Some((path, draft)) = self.pages.exhibits.take_draft()
        {
            let work = Work::start("the draft of an exhibit", move |_| {
                store::write_draft(&path, &draft)
            });
            self.pages.keeping.draft = self.begun(work);
        }
    }

    /// Tells the page what has come of its wish, and the technician of a failure.
    fn report(&mut self, end: Result<News, Fault>) {
        if let Err(fault) = &end {
            self.tell(fault.to_string(), true);
        }
        let action = self.pages.exhibits.learn(end.ok());
        let _task = self.exhibit_action(action);
    }

    fn tell_kept(&mut self, kept: &Kept, words: String) {
        match &kept.without_pictures {
            None => self.tell(words, false),
            Some(why) => self.tell(format!("{words}, but without its pictures: {why}"), true),
        }
    }
}

impl Drop for Pages {
    fn drop(&mut self) {
        // An older draft on its way must not come after the last stroke before the window closed.
        self.keeping.draft = None;
        if let Some((path, draft)) = self.exhibits.take_draft()
            && let Err(fault) = store::write_draft(&path, &draft)
        {
            tracing::error!("{fault}");
        }
    }
}
