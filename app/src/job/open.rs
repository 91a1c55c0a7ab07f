//! The job that is open: what is on its card and in its notes, on the disk and on the screen. What is
//! typed is saved by itself, beside the window; nothing is written over what another program wrote.

use super::card::{Card, CardFile};
use super::edition::{self, Edition, Written};
use super::folder::JobFolder;
use crate::fault::Fault;
use crate::work::{Stand, Work};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How long nothing must be typed before it is saved: a pause in writing.
const PAUSE: Duration = Duration::from_millis(800);

/// A job as it was read.
#[derive(Debug)]
pub struct Loaded {
    folder: JobFolder,
    card: CardFile,
    notes: Result<Edition, Fault>,
    /// Why nothing can be written into the folder.
    refusal: Option<Fault>,
}

impl Loaded {
    /// Reads a job. It may take a while on a share.
    pub fn read(folder: &JobFolder) -> Result<Self, Fault> {
        let card = CardFile::read(folder)?;
        if card.is_new() {
            return Err(Fault::Job(Arc::from(format!(
                "{} is not there any more; the job was moved or renamed. Look for it in the list",
                folder.card().display()
            ))));
        }
        Ok(Self {
            card,
            notes: Edition::read(folder.notes()),
            refusal: edition::refusal(folder.path()),
            folder: folder.clone(),
        })
    }
}

/// What two programs may both have changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The card.
    Card,
    /// The notes.
    Notes,
}

/// What has come of saving and reading.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// Nothing new.
    None,
    /// All is saved.
    Saved,
    /// It could not be saved, and will not be tried again until something is typed.
    Failed(Fault),
    /// Another program changed a part.
    Conflict,
}

struct Saved {
    card: CardFile,
    card_end: Result<Written, Fault>,
    notes: Edition,
    notes_end: Result<Written, Fault>,
}

/// The open job.
pub struct OpenJob {
    folder: JobFolder,
    card: CardFile,
    wanted: Card,
    notes: Edition,
    text: String,
    /// Why nothing can be written into the folder, and why not the card or the notes.
    read_only: Option<String>,
    card_refusal: Option<String>,
    notes_refusal: Option<String>,
    /// When something was typed that is not saved yet.
    touched: Option<Instant>,
    saving: Option<Work<Saved>>,
    conflicts: Vec<Part>,
    failed: Option<Fault>,
}

impl std::fmt::Debug for OpenJob {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("OpenJob")
            .field("folder", &self.folder)
            .finish_non_exhaustive()
    }
}

impl OpenJob {
    /// Opens what was read.
    pub fn new(loaded: Loaded) -> Self {
        let (notes, notes_refusal) = match loaded.notes {
            Ok(notes) => (notes, None),
            Err(fault) => {
                let words = format!("{fault}; the notes are left as they are");
                (Edition::none_yet(loaded.folder.notes()), Some(words))
            }
        };
        let read_only = loaded.refusal.map(|fault| only_read(&fault));
        Self {
            wanted: loaded.card.card().clone(),
            text: notes.text().to_owned(),
            card_refusal: loaded.card.refusal(),
            notes_refusal,
            read_only,
            folder: loaded.folder,
            card: loaded.card,
            notes,
            touched: None,
            saving: None,
            conflicts: Vec::new(),
            failed: None,
        }
    }

    /// Its folder.
    pub fn folder(&self) -> &JobFolder {
        &self.folder
    }

    /// The card on the disk, as far as is known.
    pub fn on_disk(&self) -> &CardFile {
        &self.card
    }

    /// The card as it is on the screen.
    pub fn card(&self) -> &Card {
        &self.wanted
    }

    /// The notes as they are on the screen.
    pub fn notes(&self) -> &str {
        &self.text
    }

    /// Why this part is not written, if it is not.
    pub fn refusal(&self, part: Part) -> Option<&str> {
        let own = match part {
            Part::Card => &self.card_refusal,
            Part::Notes => &self.notes_refusal,
        };
        self.read_only.as_deref().or(own.as_deref())
    }

    /// Whether another program changed this part since it was read.
    pub fn is_in_conflict(&self, part: Part) -> bool {
        self.conflicts.contains(&part)
    }

    /// The card was changed on the screen.
    pub fn set_card(&mut self, card: Card) {
        if self.refusal(Part::Card).is_none() && card != self.wanted {
            self.wanted = card;
            self.touch();
        }
    }

    /// The notes were changed on the screen.
    pub fn set_notes(&mut self, text: String) {
        if self.refusal(Part::Notes).is_none() && text != self.text {
            self.text = text;
            self.touch();
        }
    }

    fn touch(&mut self) {
        self.touched = Some(Instant::now());
        self.failed = None;
    }

    fn is_card_unsaved(&self) -> bool {
        self.refusal(Part::Card).is_none() && self.wanted != *self.card.card()
    }

    fn are_notes_unsaved(&self) -> bool {
        self.refusal(Part::Notes).is_none() && self.text != self.notes.text()
    }

    /// Whether something is on the screen that is not on the disk.
    pub fn is_unsaved(&self) -> bool {
        self.saving.is_some() || self.is_card_unsaved() || self.are_notes_unsaved()
    }

    /// Why the last saving failed, until something is typed.
    pub fn failed(&self) -> Option<&Fault> {
        self.failed.as_ref()
    }

    /// Saves at once what is not saved.
    pub fn save_now(&mut self) {
        let card = self.is_card_unsaved() && !self.is_in_conflict(Part::Card);
        let notes = self.are_notes_unsaved() && !self.is_in_conflict(Part::Notes);
        if self.saving.is_some() || !(card || notes) {
            return;
        }
        self.touched = None;
        let (mut file, wanted) = (self.card.clone(), self.wanted.clone());
        let (mut edition, text) = (self.notes.clone(), self.text.clone());
        let work = Work::start("the saving of the job", move |_| {
            let card_end = if card {
                file.write(&wanted)
            } else {
                Ok(Written::Yes)
            };
            let notes_end = if notes {
                edition.write(&text)
            } else {
                Ok(Written::Yes)
            };
            Ok(Saved {
                card: file,
                card_end,
                notes: edition,
                notes_end,
            })
        });
        match work {
            Ok(work) => self.saving = Some(work),
            Err(fault) => self.failed = Some(fault),
        }
    }

    /// Takes in what has come of saving, and saves after a pause in writing.
    pub fn follow(&mut self, now: Instant) -> News {
        if let Some(work) = &self.saving {
            let Stand::Ended(end) = work.look() else {
                return News::None;
            };
            self.saving = None;
            return match end {
                Ok(saved) => self.take(saved),
                Err(fault) => self.fail(fault),
            };
        }
        let is_due = |since: Instant| now.saturating_duration_since(since) >= PAUSE;
        if self.failed.is_none() && self.touched.is_some_and(is_due) {
            self.save_now();
        }
        News::None
    }

    fn take(&mut self, saved: Saved) -> News {
        self.card = saved.card;
        self.notes = saved.notes;
        let mut news = News::Saved;
        for (part, end) in [(Part::Card, saved.card_end), (Part::Notes, saved.notes_end)] {
            match end {
                Ok(Written::Yes) => {}
                Ok(Written::ChangedElsewhere) => {
                    self.conflicts.push(part);
                    news = News::Conflict;
                }
                Err(fault) => return self.fail(fault),
            }
        }
        news
    }

    fn fail(&mut self, fault: Fault) -> News {
        self.failed = Some(fault.clone());
        News::Failed(fault)
    }

    /// Reads a part again; what was typed into it is given up.
    pub fn reread(&mut self, part: Part) -> Result<(), Fault> {
        match part {
            Part::Card => {
                self.card = CardFile::read(&self.folder)?;
                self.wanted = self.card.card().clone();
                self.card_refusal = self.card.refusal();
            }
            Part::Notes => {
                self.notes = Edition::read(self.folder.notes())?;
                self.text = self.notes.text().to_owned();
                self.notes_refusal = None;
            }
        }
        self.read_only = edition::refusal(self.folder.path()).map(|fault| only_read(&fault));
        self.conflicts.retain(|p| *p != part);
        self.failed = None;
        Ok(())
    }

    /// Saves a part under a name of its own beside the file, then reads the file again; the copy.
    pub fn save_copy(&mut self, part: Part) -> Result<PathBuf, Fault> {
        let copy = match part {
            Part::Card => self.card.write_copy(&self.wanted)?,
            Part::Notes => self.notes.write_copy(&self.text)?,
        };
        self.reread(part)?;
        Ok(copy)
    }
}

fn only_read(fault: &Fault) -> String {
    format!("{fault}. This job can only be read")
}

impl Drop for OpenJob {
    /// What was typed in the last moment is saved before the window goes; where another program
    /// changed the file, as a copy beside it.
    fn drop(&mut self) {
        while self.saving.is_some() {
            let _news = self.follow(Instant::now());
            std::thread::sleep(Duration::from_millis(1));
        }
        if self.is_card_unsaved() {
            let end = match self.card.write(&self.wanted) {
                Ok(Written::ChangedElsewhere) => self.card.write_copy(&self.wanted).map(drop),
                Ok(Written::Yes) => Ok(()),
                Err(fault) => Err(fault),
            };
            if let Err(fault) = end {
                tracing::error!("the card is not saved: {fault}");
            }
        }
        if self.are_notes_unsaved() {
            let end = match self.notes.write(&self.text) {
                Ok(Written::ChangedElsewhere) => self.notes.write_copy(&self.text).map(drop),
                Ok(Written::Yes) => Ok(()),
                Err(fault) => Err(fault),
            };
            if let Err(fault) = end {
                tracing::error!("the notes are not saved: {fault}");
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::workbench::Bench;
    use std::fs;

    fn opened(name: &str) -> (Bench, OpenJob) {
        let bench = Bench::new(name);
        let folder = bench.job("KW-P 14");
        let job = OpenJob::new(Loaded::read(&folder).unwrap());
        (bench, job)
    }

    fn settled(job: &mut OpenJob) -> News {
        job.save_now();
        loop {
            match job.follow(Instant::now()) {
                News::None if job.saving.is_some() => std::thread::yield_now(),
                news => return news,
            }
        }
    }

    fn with_year(job: &OpenJob) -> Card {
        Card {
            year: Some(2019),
            ..job.card().clone()
        }
    }

    #[test]
    fn what_is_typed_is_saved() {
        let (_bench, mut job) = opened("typed");
        job.set_card(with_year(&job));
        job.set_notes("Chain rattles for a second.\n".to_owned());
        assert!(job.is_unsaved());
        assert_eq!(settled(&mut job), News::Saved);
        assert!(!job.is_unsaved());
        let notes = fs::read_to_string(job.folder().notes()).unwrap();
        assert_eq!(notes, "Chain rattles for a second.\n");
        let card = CardFile::read(job.folder()).unwrap();
        assert_eq!(card.card().year, Some(2019));
    }

    #[test]
    fn of_two_programs_neither_loses_its_words() {
        let (_bench, mut job) = opened("conflict");
        let theirs = "plate = \"KW-P 14\"\ntechnician = \"Bo\"\n";
        fs::write(job.folder().card(), theirs).unwrap();
        job.set_card(with_year(&job));
        assert_eq!(settled(&mut job), News::Conflict);
        assert!(job.is_in_conflict(Part::Card));
        // It is not tried again behind the back of the technician.
        job.save_now();
        assert!(job.saving.is_none());
        let copy = job.save_copy(Part::Card).unwrap();
        assert!(fs::read_to_string(copy).unwrap().contains("year = 2019"));
        assert_eq!(fs::read_to_string(job.folder().card()).unwrap(), theirs);
        assert_eq!(job.card().technician, "Bo");
        assert!(!job.is_unsaved());
    }

    #[test]
    fn closing_the_window_saves_the_last_words_even_in_a_conflict() {
        let (_bench, mut job) = opened("last-words");
        let folder = job.folder().clone();
        fs::write(folder.notes(), "theirs").unwrap();
        job.set_notes("mine".to_owned());
        job.set_card(with_year(&job));
        drop(job);
        assert_eq!(fs::read_to_string(folder.notes()).unwrap(), "theirs");
        let copy = fs::read_to_string(folder.path().join("notes-copy.md")).unwrap();
        assert_eq!(copy, "mine");
        assert_eq!(CardFile::read(&folder).unwrap().card().year, Some(2019));
    }

    #[test]
    fn a_job_with_a_mistake_on_its_card_opens_and_says_so() {
        let (_bench, job) = opened("opened-mistake");
        let folder = job.folder().clone();
        drop(job);
        fs::write(folder.card(), "plate = \"A 1\"\nyear = \"?\"\n").unwrap();
        let mut job = OpenJob::new(Loaded::read(&folder).unwrap());
        assert!(job.refusal(Part::Card).unwrap().contains("line 2"));
        assert_eq!(job.refusal(Part::Notes), None);
        job.set_card(with_year(&job));
        assert!(!job.is_unsaved());
        fs::remove_dir_all(folder.path()).unwrap();
        let fault = Loaded::read(&folder).unwrap_err().to_string();
        assert!(fault.contains("not there any more"), "{fault}");
    }
}
