//! What goes on beside the window: the list that is read, a job that is opened or made, and saving.

use super::{Action, Desk, Job, Leave, tell};
use crate::job::cabinet::Entry;
use crate::job::card::Card;
use crate::job::listing::Listing;
use crate::job::name;
use crate::job::open::{Loaded, News, Part};
use crate::work::{Stand, Work};
use std::path::PathBuf;
use std::time::Instant;

impl Job {
    /// Makes a job below this folder and opens it.
    pub fn make_below(&mut self, root: PathBuf, card: Card) -> Action {
        self.load(Work::start("the new job", move |_| {
            let (folder, _card) = name::make(&root, &card)?;
            Loaded::read(&folder)
        }))
    }

    fn load(&mut self, work: Result<Work<Loaded>, crate::fault::Fault>) -> Action {
        match work {
            Ok(work) => {
                self.loading = Some(work);
                Action::None
            }
            Err(fault) => tell(&fault),
        }
    }

    /// Whether a job is being opened.
    pub fn is_loading(&self) -> bool {
        self.loading.is_some() || self.leave.is_some()
    }

    /// Takes in what has come of long work; called with every tick.
    pub fn follow(&mut self, now: Instant) -> Action {
        if self.listing.as_mut().is_some_and(Listing::follow) {
            self.look_up();
        }
        if let Some(work) = &self.loading
            && let Stand::Ended(end) = work.look()
        {
            self.loading = None;
            return match end {
                Ok(loaded) => self.opened(loaded),
                Err(fault) => tell(&fault),
            };
        }
        let Some(desk) = &mut self.desk else {
            return Action::None;
        };
        if let Some(work) = &desk.reading
            && let Stand::Ended(end) = work.look()
        {
            desk.reading = None;
            desk.contents = end.ok();
            if std::mem::take(&mut desk.is_stale) {
                self.read_contents();
            }
        }
        let Some(desk) = &mut self.desk else {
            return Action::None;
        };
        match desk.job.follow(now) {
            News::None | News::Conflict => {}
            News::Saved => self.refresh_entry(),
            News::Failed(fault) => {
                self.leave = None;
                return tell(&fault);
            }
        }
        self.go_on_leaving()
    }

    fn opened(&mut self, loaded: Loaded) -> Action {
        let desk = Desk::new(loaded);
        let folder = desk.job.folder().clone();
        self.desk = Some(desk);
        self.page = super::Page::Card;
        self.draft = None;
        self.refresh_entry();
        self.read_contents();
        Action::Opened(folder)
    }

    /// The list shows what was just saved without reading it again.
    fn refresh_entry(&mut self) {
        if let (Some(desk), Some(listing)) = (&self.desk, &mut self.listing) {
            listing.put(Entry::new(
                Ok(desk.job.on_disk().clone()),
                desk.job.notes().to_owned(),
                desk.job.folder().clone(),
            ));
            self.look_up();
        }
    }

    /// Leaves the open job as soon as everything is saved.
    pub(super) fn begin_leaving(&mut self, leave: Leave) -> Action {
        self.leave = Some(leave);
        if let Some(desk) = &mut self.desk {
            desk.job.save_now();
        }
        self.go_on_leaving()
    }

    fn go_on_leaving(&mut self) -> Action {
        if self.leave.is_none() {
            return Action::None;
        }
        if let Some(desk) = &mut self.desk {
            let in_the_way = if let Some((field, why)) = desk.slips.first() {
                Some(format!("{} is not saved yet: {why}", field.name()))
            } else if desk.job.is_in_conflict(Part::Card) || desk.job.is_in_conflict(Part::Notes) {
                Some("Another program changed this job: decide first what to keep".to_owned())
            } else {
                desk.job
                    .failed()
                    .map(|fault| format!("Not saved yet: {fault}"))
            };
            if let Some(words) = in_the_way {
                self.leave = None;
                self.page = if desk.job.is_in_conflict(Part::Notes) {
                    super::Page::Notes
                } else {
                    super::Page::Card
                };
                return Action::Tell(words, true);
            }
            if desk.job.is_unsaved() {
                desk.job.save_now();
                return Action::None;
            }
        }
        let had = self.desk.take().map(|d| d.job.folder().clone());
        match self.leave.take() {
            Some(Leave::For(folder)) => {
                self.load(Work::start("the job", move |_| Loaded::read(&folder)))
            }
            Some(Leave::ForNew(card)) => Action::Make(card),
            Some(Leave::Close) => {
                self.offered = None;
                Action::Left(true)
            }
            Some(Leave::PutAway) => {
                self.offered = had;
                Action::Left(false)
            }
            None => Action::None,
        }
    }
}
