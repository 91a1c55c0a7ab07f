//! The jobs below the root, read on a thread of their own and shown as they are found: a share may
//! take its time.

use super::cabinet::{self, Entry};
use crate::fault::Fault;
use crate::work::{Stand, Work};
use crossbeam_channel::{Receiver, unbounded};
use std::path::PathBuf;

/// The reading of the list, and what was found so far.
#[derive(Debug)]
pub struct Listing {
    root: PathBuf,
    work: Option<Work<()>>,
    /// Unbounded: there are no more than jobs, and the list keeps them all anyway.
    found: Receiver<Entry>,
    entries: Vec<Entry>,
    share: f64,
    fault: Option<Fault>,
}

impl Listing {
    /// Begins to read.
    pub fn start(root: PathBuf) -> Self {
        let (tell, found) = unbounded();
        let below = root.clone();
        let work = Work::start("the list of jobs", move |progress| {
            cabinet::read(&below, progress, |entry| {
                // With nobody left to hear it, the list is not wanted any more.
                drop(tell.send(entry));
            })
        });
        let (work, fault) = match work {
            Ok(work) => (Some(work), None),
            Err(fault) => (None, Some(fault)),
        };
        Self {
            root,
            work,
            found,
            entries: Vec::new(),
            share: 0.0,
            fault,
        }
    }

    /// Takes in what was found meanwhile; whether there is anything new.
    pub fn follow(&mut self) -> bool {
        let Some(work) = &self.work else {
            return false;
        };
        let stand = work.look();
        let before = self.entries.len();
        self.entries.extend(self.found.try_iter());
        match stand {
            Stand::Running(share) => self.share = share,
            Stand::Ended(end) => {
                self.fault = end.err();
                self.work = None;
                cabinet::sort(&mut self.entries);
                return true;
            }
        }
        self.entries.len() > before
    }

    /// Puts a job into the list, in place of what stood there for its folder.
    pub fn put(&mut self, entry: Entry) {
        match self.entries.iter_mut().find(|e| e.folder == entry.folder) {
            Some(before) => *before = entry,
            // While the list is read it comes by itself.
            None if self.work.is_some() => return,
            None => self.entries.push(entry),
        }
        cabinet::sort(&mut self.entries);
    }

    /// The root.
    pub fn root(&self) -> &std::path::Path {
        &self.root
    }

    /// What was found so far; in order once all is read.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Share that is read, 0 to 1; none when it has ended.
    pub fn share(&self) -> Option<f64> {
        self.work.as_ref().map(|_| self.share)
    }

    /// Why it ended early, if it did.
    pub fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }
}
