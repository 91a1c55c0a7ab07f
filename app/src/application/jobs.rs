//! What the Job screen asks of the dashboard, and what an open job changes elsewhere: where recordings
//! go, which codes are checked, and what stands at the top.

use super::pages::Page;
use super::{Application, Message, Tab, scroll};
use crate::fault::Fault;
use crate::job::card::Card;
use crate::job::finding::{self, Source};
use crate::job::folder::JobFolder;
use crate::job::moving;
use crate::screen::job::{self, Action};
use crate::session::Plan;
use crate::session::choice::Choice;
use crate::session::orders::Request;
use crate::session::recorder::Caption;
use crate::status::RecordingStatus;
use crate::work::Work;
use iced::Task;
use iced::widget::operation;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Instant, SystemTime, UNIX_EPOCH};

impl Application {
    pub(super) fn on_job(&mut self, message: job::Message) -> Task<Message> {
        let changes_job = match &message {
            job::Message::Open(folder) => self.job_folder() != Some(folder),
            job::Message::Take => true,
            job::Message::Make | job::Message::PutAway | job::Message::Close => true,
            _ => false,
        };
        if changes_job && matches!(self.shown.recording, RecordingStatus::On { .. }) {
            let words = "A recording runs: stop it first, so that it stays with its own job";
            self.tell(words.to_owned(), true);
            return Task::none();
        }
        let action = self.job.update(message);
        self.do_for_job(action)
    }

    fn do_for_job(&mut self, action: Action) -> Task<Message> {
        match action {
            Action::None => {}
            Action::Focus(field) => return operation::focus(field),
            Action::FocusNext => return operation::focus_next(),
            Action::Scroll(share) => return scroll(job::JOB_LIST, share),
            Action::Make(card) => {
                let action = self
                    .job
                    .make_below(self.settings.recordings_folder(), *card);
                return self.do_for_job(action);
            }
            Action::Opened(folder) => {
                self.settings.job = Some(folder.path().to_owned());
                self.save();
                self.give_codes();
                return self.tell_files_of_job();
            }
            Action::Left(is_closed) => {
                if is_closed {
                    self.settings.job = None;
                    self.save();
                }
                // The codes belonged to the car of that job.
                if self.bench.playing().is_none() {
                    self.ask_codes(Vec::new());
                }
                return self.tell_files_of_job();
            }
            Action::Codes(codes) => self.ask_codes(codes),
            Action::Play(path) => self.open(Plan::of(Choice::Recording(path))),
            Action::Review(path) => self.open_for_review(path),
            Action::ShowExhibits => return self.show_page(Page::Exhibits),
            Action::ShowFiles => return self.show_page(Page::Files),
            Action::KeepFindings => self.keep_findings(),
            Action::Read => self.job.read(self.settings.recordings_folder()),
            Action::Tell(words, is_wrong) => self.tell(words, is_wrong),
        }
        Task::none()
    }

    fn show_page(&mut self, page: Page) -> Task<Message> {
        self.tab = Tab::Recordings;
        self.wish();
        self.turn(page)
    }

    /// The folder of the open job, if one is open.
    pub fn job_folder(&self) -> Option<&JobFolder> {
        self.job.folder()
    }

    /// The Job screen.
    pub fn job(&self) -> &job::Job {
        &self.job
    }

    /// The Job screen is shown: the list is read, and the job that was open last is offered.
    pub(super) fn enter_job(&mut self) {
        if self.job.folder().is_none() {
            let last = self.settings.job.as_ref();
            let last = last.filter(|path| JobFolder::new(*path).card().is_file());
            self.job.offer(last.map(JobFolder::new));
        }
        self.job.read(self.settings.recordings_folder());
        self.job.read_contents();
    }

    /// Shows what has come of long work; called with every tick.
    pub(super) fn follow_job(&mut self) -> Task<Message> {
        let moved = match self.pages.files.moved() {
            Some(end) => self.after_move(end),
            None => Task::none(),
        };
        let action = self.job.follow(Instant::now());
        Task::batch([moved, self.do_for_job(action)])
    }

    /// The files page is told which job is open, and reads again.
    fn tell_files_of_job(&mut self) -> Task<Message> {
        let job = self.job.folder().cloned();
        let name = self.job.card().map(|c| c.name().to_owned());
        self.pages.files.set_job(job.zip(name));
        self.read_shelf()
    }

    /// Where a new recording goes, and what it says of itself.
    pub(super) fn recording_place(&self) -> (PathBuf, Caption) {
        match (self.job.folder(), self.job.card()) {
            (Some(folder), Some(card)) => {
                let complaint = card.complaint.split_whitespace().collect::<Vec<_>>();
                let parts = [
                    card.name().to_owned(),
                    card.vehicle(),
                    card.code_names().join(" "),
                    complaint.join(" "),
                ];
                let parts: Vec<String> = parts.into_iter().filter(|p| !p.is_empty()).collect();
                let caption = Caption {
                    note: parts.join(" · "),
                    operator: card.technician.trim().to_owned(),
                };
                (folder.recordings(), caption)
            }
            _ => {
                let caption = Caption {
                    note: self.story.clone(),
                    operator: String::new(),
                };
                (self.settings.recordings_folder(), caption)
            }
        }
    }

    /// Whether what is measured belongs to the open job: live it does, of recordings those that lie in
    /// its folder.
    fn is_of_job(&self) -> bool {
        let Some(folder) = self.job.folder() else {
            return false;
        };
        self.bench
            .playing()
            .is_none_or(|path| path.starts_with(folder.path()))
    }

    /// Gives the codes of the card to the analysis, if they belong to what is measured.
    pub(super) fn give_codes(&mut self) {
        let codes = self.job.card().map(Card::code_names).unwrap_or_default();
        if !codes.is_empty() {
            self.ask_codes(codes);
        }
    }

    fn ask_codes(&mut self, codes: Vec<String>) {
        let is_of_job = self.job.folder().is_none() || self.is_of_job();
        if is_of_job && self.bench.setup().is_some() {
            self.findings.set_codes(codes.clone());
            self.ask(Request::Codes(codes));
        }
    }

    /// Codes that were given on the Findings screen belong onto the card.
    pub(super) fn codes_to_card(&mut self, codes: &[String]) {
        if self.is_of_job() {
            self.job.take_codes(codes);
        }
    }

    /// What stands at the top: with a job open its plate before the engine, and its complaint.
    pub(super) fn heading(&self) -> (String, String) {
        let engine = &self.setup.sheet.name;
        match self.job.card() {
            Some(card) if self.is_of_job() => {
                let complaint = card.complaint.split_whitespace().collect::<Vec<_>>();
                let parts = [card.code_names().join(" "), complaint.join(" ")];
                let parts: Vec<String> = parts.into_iter().filter(|p| !p.is_empty()).collect();
                (format!("{} · {engine}", card.name()), parts.join(" · "))
            }
            _ => (engine.clone(), self.story.clone()),
        }
    }

    /// Moves a recording that lies by itself into the open job.
    pub(super) fn move_in(&mut self, path: PathBuf) -> Task<Message> {
        let is_written = match &self.shown.recording {
            RecordingStatus::On { path: running, .. } => *running == path,
            RecordingStatus::Off | RecordingStatus::Failed(_) => false,
        };
        if is_written || self.bench.playing() == Some(path.as_path()) {
            let words = "This recording is in use: stop it or leave it first, then move it";
            self.tell(words.to_owned(), true);
            return Task::none();
        }
        let Some(job) = self.job.folder().cloned() else {
            return Task::none();
        };
        let work = Work::start("the moving of the recording", move |progress| {
            moving::into_job(&path, &job, progress)
        });
        match work {
            Ok(work) => self.pages.files.begin_moving(work),
            Err(fault) => self.tell(fault.to_string(), true),
        }
        Task::none()
    }

    /// A recording was moved, or not.
    fn after_move(&mut self, end: Result<PathBuf, Fault>) -> Task<Message> {
        match end {
            Ok(path) => self.tell(format!("Moved to {}", path.display()), false),
            Err(fault) => self.tell(fault.to_string(), true),
        }
        self.job.read_contents();
        self.read_shelf()
    }

    /// Keeps what is found now in the open job.
    fn keep_findings(&mut self) {
        let Some(job) = self.job.folder().cloned() else {
            return;
        };
        match self.finding(&job) {
            Ok(path) => {
                self.tell(format!("Findings kept in {}", path.display()), false);
                self.job.read_contents();
            }
            Err(fault) => self.tell(fault.to_string(), true),
        }
    }

    fn finding(&self, job: &JobFolder) -> Result<PathBuf, Fault> {
        let nothing = || {
            Fault::Job(Arc::from(
                "there is nothing found yet: connect a scope or play a recording first",
            ))
        };
        let playing = self.bench.playing();
        let source = |share, seconds| Source {
            recording: playing.map(|path: &Path| finding::named(path, job)),
            scope: playing.is_none().then(|| self.shown.link.source.clone()),
            engine: self.setup.sheet.name.clone(),
            seconds,
            share,
        };
        let text = match &self.shown.whole {
            Some(whole) => {
                let found = whole.found.as_ref().ok_or_else(nothing)?;
                let seconds = found.seconds(found.snapshot.at);
                let source = source(whole.share, seconds);
                finding::document(source, &found.snapshot, &|at| found.seconds(at))?
            }
            None => {
                let snapshot = self.shown.snapshot.as_ref().ok_or_else(nothing)?;
                let (at, elapsed) = (snapshot.at.0, snapshot.elapsed.0);
                let per_sample = if at > 0.0 { elapsed / at } else { 0.0 };
                let source = source(1.0, elapsed);
                finding::document(source, snapshot, &|t| t.0 * per_sample)?
            }
        };
        let now = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        finding::keep(job, now.as_secs(), &text)
    }
}
