//! Stretches without samples, found by walking over those with samples.

use super::window::Window;
use super::{Absence, Missing};

/// Samples of one stream that follow each other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told {
    pub generation: u64,
    /// Index of the first, and after the last.
    pub first: u64,
    pub end: u64,
    /// Seconds since the start of the recording.
    pub begins: f64,
    pub ends: f64,
    /// Samples missing in between.
    pub lost: u64,
}

/// Gathers what is missing in a window.
#[derive(Debug)]
pub(super) struct Gaps {
    window: Window,
    before: Option<Told>,
    /// What lies between the samples before and those that come, where it is known.
    between: Option<Missing>,
    found: Vec<Missing>,
}

impl Gaps {
    pub fn new(window: Window) -> Self {
        Self {
            window,
            before: None,
            between: None,
            found: Vec::new(),
        }
    }

    /// Samples that cannot be read, or that nobody has read, between these times at least: they may
    /// begin right after the samples before, and end with those that follow.
    pub fn absent(&mut self, from: f64, to: f64, why: Absence) {
        let begins = self.before.take().map_or(from, |b| b.ends);
        match &mut self.between {
            Some(missing) if missing.why == why => missing.to = missing.to.max(to),
            Some(missing) => {
                let mut ended = *missing;
                ended.to = from.max(ended.from);
                missing.clone_from(&Missing { from, to, why });
                self.push(ended);
            }
            None => {
                self.between = Some(Missing {
                    from: begins,
                    to,
                    why,
                });
            }
        }
    }

    /// Samples.
    pub fn samples(&mut self, told: Told) {
        if let Some(mut missing) = self.between.take() {
            missing.to = told.begins.max(missing.from);
            self.push(missing);
        } else if let Some(before) = self.before {
            let why = if before.generation != told.generation {
                Some(Absence::NoStream)
            } else if told.first > before.end {
                Some(Absence::Lost(told.first - before.end))
            } else {
                None
            };
            if let Some(why) = why {
                self.push(Missing {
                    from: before.ends,
                    to: told.begins,
                    why,
                });
            }
        }
        if told.lost > 0 {
            self.push(Missing {
                from: told.begins,
                to: told.ends,
                why: Absence::Lost(told.lost),
            });
        }
        self.before = Some(told);
    }

    /// All that was found. Losses that stand closer than a column are told together where there
    /// are more of them than could be seen.
    pub fn end(mut self) -> Vec<Missing> {
        if let Some(missing) = self.between.take() {
            self.push(missing);
        }
        if self.found.len() > 2 * self.window.columns {
            let step = self.window.step();
            self.found
                .dedup_by(|next, kept| match (kept.why, next.why) {
                    (Absence::Lost(a), Absence::Lost(b)) if next.from - kept.to < step => {
                        kept.to = next.to;
                        kept.why = Absence::Lost(a + b);
                        true
                    }
                    _ => false,
                });
        }
        self.found
    }

    fn push(&mut self, missing: Missing) {
        if self.window.meets(missing.from, missing.to) {
            self.found.push(missing);
        }
    }
}
