//! A thread that answers the newest question; older ones that still wait are passed over. The window
//! asks as often as it likes and fetches what is there, and nobody waits.

use crate::fault::Fault;
use arc_swap::ArcSwapOption;
use crossbeam_channel::{Sender, bounded};
use std::sync::Arc;
use std::thread::JoinHandle;

/// The thread. Dropping it gives up the question it works on and waits for its end.
#[derive(Debug)]
pub struct Latest<Question, Answer> {
    question: Arc<ArcSwapOption<Question>>,
    answer: Arc<ArcSwapOption<Answer>>,
    /// Rings for a new question; one ring is enough, so a full bell is left alone.
    bell: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// What the one who answers sees of the window.
#[derive(Debug)]
pub struct Asker<'a, Question, Answer> {
    asked: &'a Arc<Question>,
    question: &'a ArcSwapOption<Question>,
    answer: &'a ArcSwapOption<Answer>,
}

impl<Question, Answer> Asker<'_, Question, Answer> {
    /// Whether nobody wants the answer any more.
    pub fn is_gone(&self) -> bool {
        let newest = self.question.load();
        !newest.as_ref().is_some_and(|q| Arc::ptr_eq(q, self.asked))
    }

    /// Gives an answer, or the part of it that is known.
    pub fn tell(&self, answer: Answer) {
        self.answer.store(Some(Arc::new(answer)));
    }
}

impl<Question: Send + Sync + 'static, Answer: Send + Sync + 'static> Latest<Question, Answer> {
    /// Starts the thread. `what` names it; `answer` is called for each question that is taken up.
    pub fn start(
        what: &'static str,
        mut answer: impl FnMut(&Question, &Asker<'_, Question, Answer>) + Send + 'static,
    ) -> Result<Self, Fault> {
        let (bell, rung) = bounded(1);
        let question: Arc<ArcSwapOption<Question>> = Arc::new(ArcSwapOption::empty());
        let told: Arc<ArcSwapOption<Answer>> = Arc::new(ArcSwapOption::empty());
        let thread = std::thread::Builder::new()
            .name(what.to_owned())
            .spawn({
                let (question, told) = (Arc::clone(&question), Arc::clone(&told));
                move || {
                    while rung.recv().is_ok() {
                        let Some(asked) = question.load_full() else {
                            continue;
                        };
                        let asker = Asker {
                            asked: &asked,
                            question: &question,
                            answer: &told,
                        };
                        answer(&asked, &asker);
                    }
                }
            })
            .map_err(|e| Fault::Start {
                what,
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            question,
            answer: told,
            bell: Some(bell),
            thread: Some(thread),
        })
    }

    /// Asks; what was asked before is given up.
    pub fn ask(&self, question: Question) {
        self.question.store(Some(Arc::new(question)));
        if let Some(bell) = &self.bell {
            // Full: the thread will look at the newest question anyway.
            let _rung = bell.try_send(());
        }
    }

    /// The newest answer; it may be to an earlier question.
    pub fn answer(&self) -> Option<Arc<Answer>> {
        self.answer.load_full()
    }
}

impl<Question, Answer> Drop for Latest<Question, Answer> {
    fn drop(&mut self) {
        self.question.store(None);
        drop(self.bell.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("a reader of the recording stopped by a fault of the program");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crossbeam_channel::unbounded;

    #[test]
    fn the_newest_question_is_answered_and_older_ones_are_given_up() {
        let (begun, begins) = unbounded();
        let latest = Latest::start("test", move |question: &u32, asker| {
            begun.send(*question).unwrap();
            // The first is too long to be answered while nobody has anything newer.
            while *question == 1 && !asker.is_gone() {
                std::thread::yield_now();
            }
            if !asker.is_gone() {
                asker.tell(question * 10);
            }
        })
        .unwrap();
        latest.ask(1);
        assert_eq!(begins.recv(), Ok(1));
        latest.ask(2);
        latest.ask(3);
        while latest.answer().as_deref() != Some(&30) {
            std::thread::yield_now();
        }
        // One that is worked on is given up by whoever closes.
        latest.ask(1);
        while begins.recv() != Ok(1) {}
        drop(latest);
    }
}
