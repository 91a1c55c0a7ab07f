//! Long work on a thread of its own, which says how far it is and can be cancelled: export, import,
//! the rebuilding of an overview, measuring again, a comparison.

use crate::fault::Fault;
use crossbeam_channel::{Receiver, TryRecvError, bounded};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;

/// How far long work is, and the wish to stop it. Clones are of the same work.
#[derive(Debug, Clone)]
pub struct Progress {
    /// Bits of the share that is done, 0 to 1.
    share: Arc<AtomicU64>,
    stop: Arc<AtomicBool>,
    /// Which part of the whole this says something of.
    part: (f64, f64),
}

impl Default for Progress {
    fn default() -> Self {
        Self {
            share: Arc::default(),
            stop: Arc::default(),
            part: (0.0, 1.0),
        }
    }
}

impl Progress {
    /// Says which share is done; anything outside 0 to 1 is brought to its end.
    pub fn set(&self, share: f64) {
        let (from, to) = self.part;
        let share = from + (to - from) * share.clamp(0.0, 1.0);
        self.share.store(share.to_bits(), Ordering::Relaxed);
    }

    /// The same work for someone who does a part of it, shares `from` to `to` of this one.
    #[must_use]
    pub fn part(&self, from: f64, to: f64) -> Self {
        let (begin, end) = self.part;
        let place = |share: f64| begin + (end - begin) * share.clamp(0.0, 1.0);
        Self {
            part: (place(from), place(to)),
            ..self.clone()
        }
    }

    /// The share that is done, 0 to 1.
    pub fn share(&self) -> f64 {
        f64::from_bits(self.share.load(Ordering::Relaxed))
    }

    /// Asks the work to stop. It ends with [`Fault::Cancelled`] and leaves nothing half done behind.
    pub fn cancel(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Whether it was asked to stop.
    pub fn is_cancelled(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// The end of the work if it was asked to stop: `progress.check()?` between two pieces.
    pub fn check(&self) -> Result<(), Fault> {
        if self.is_cancelled() {
            Err(Fault::Cancelled)
        } else {
            Ok(())
        }
    }

    /// The wish itself, for those who take a flag.
    pub fn flag(&self) -> &AtomicBool {
        &self.stop
    }
}

/// Work that runs. Dropping it cancels it and waits for its end.
#[derive(Debug)]
pub struct Work<T> {
    what: &'static str,
    progress: Progress,
    /// One end, told once.
    end: Receiver<Result<T, Fault>>,
    thread: Option<JoinHandle<()>>,
}

/// How work stands.
#[derive(Debug, PartialEq)]
pub enum Stand<T> {
    /// This share is done, 0 to 1.
    Running(f64),
    /// It has ended; told once.
    Ended(Result<T, Fault>),
}

impl<T: Send + 'static> Work<T> {
    /// Begins; `what` names it in errors, such as "the export".
    pub fn start(
        what: &'static str,
        task: impl FnOnce(&Progress) -> Result<T, Fault> + Send + 'static,
    ) -> Result<Self, Fault> {
        let progress = Progress::default();
        let (ended, end) = bounded(1);
        let seen = progress.clone();
        let thread = std::thread::Builder::new()
            .name(what.trim_start_matches("the ").to_owned())
            // With nobody left to hear it, it was dropped on purpose.
            .spawn(move || drop(ended.send(task(&seen))))
            .map_err(|e| Fault::Start {
                what,
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            what,
            progress,
            end,
            thread: Some(thread),
        })
    }

    /// How far it is. The end is told once.
    pub fn look(&self) -> Stand<T> {
        match self.end.try_recv() {
            Err(TryRecvError::Empty) => Stand::Running(self.progress.share()),
            Ok(end) => Stand::Ended(end),
            Err(TryRecvError::Disconnected) => Stand::Ended(Err(Fault::Broken(self.what))),
        }
    }
}

impl<T> Work<T> {
    /// What it is.
    pub fn what(&self) -> &'static str {
        self.what
    }

    /// Asks it to stop.
    pub fn cancel(&self) {
        self.progress.cancel();
    }
}

impl<T> Drop for Work<T> {
    fn drop(&mut self) {
        self.cancel();
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("{} stopped by a fault of the program", self.what);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end<T: Send + 'static>(work: &Work<T>) -> Result<T, Fault> {
        loop {
            match work.look() {
                Stand::Running(_) => std::thread::yield_now(),
                Stand::Ended(end) => return end,
            }
        }
    }

    #[test]
    fn work_ends_with_its_result_or_by_being_cancelled() {
        let sum = Work::start("the sum", |p| {
            p.set(0.5);
            Ok(2 + 2)
        });
        assert_eq!(end(&sum.unwrap()), Ok(4));
        let endless: Work<()> = Work::start("the search", |p| {
            loop {
                p.check()?;
            }
        })
        .unwrap();
        assert_eq!(endless.look(), Stand::Running(0.0));
        endless.cancel();
        assert_eq!(end(&endless), Err(Fault::Cancelled));
    }

    #[test]
    fn a_part_of_the_work_says_how_far_the_whole_is() {
        let whole = Progress::default();
        let half = whole.part(0.5, 1.0);
        half.part(0.0, 0.5).set(1.0);
        assert!((whole.share() - 0.75).abs() < 1e-12);
        whole.cancel();
        assert!(half.is_cancelled());
    }

    #[test]
    fn work_that_is_dropped_has_ended() {
        let (told, hears) = bounded(1);
        let work = Work::start("the wait", move |p| {
            while !p.is_cancelled() {
                std::thread::yield_now();
            }
            told.send(()).unwrap();
            Ok(())
        });
        drop(work.unwrap());
        assert!(hears.try_recv().is_ok());
    }

    #[test]
    fn a_fault_of_the_program_is_told() {
        let work: Work<()> = Work::start("the count", |_| panic!("on purpose")).unwrap();
        assert_eq!(end(&work), Err(Fault::Broken("the count")));
        std::mem::forget(work);
    }
}
