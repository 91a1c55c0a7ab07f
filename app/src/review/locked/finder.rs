//! The first pass: the analysis runs over the stretch and gives the complete cycles in it.

use super::thinning::{Found, Thinned};
use super::{ANALYSIS_SHARE, unreadable};
use crate::fault::Fault;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use crate::session::playback::RUN_UP;
use crate::setup::Setup;
use crate::work::Progress;
use keyway_acquisition::block::SampleBlock;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::Role;
use keyway_analysis::series::EngineCycle;
use keyway_analysis::snapshot::Sync;
use std::ops::Range;
use std::time::Duration;

/// How far beyond the stretch the analysis runs at most: the last cycle is complete only with the tooth after
/// it, and the cams can tell the cycle two revolutions later.
const RUN_ON: f64 = 2.0;
/// Time between two looks at what is known of the crank.
const LOOK_EVERY: f64 = 0.25;

/// What the first pass found.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    /// In order of time.
    pub cycles: Vec<Found>,
    pub left_out: usize,
    pub not_known: usize,
    /// Whether a crank lead was recorded in any stream of the stretch.
    pub has_crank: bool,
    /// The most that was known of the crank within the stretch, and whether anything was.
    pub sync: Option<Sync>,
    /// Whether the crank stood for a time within it.
    pub stood: bool,
    /// Times that the pattern was lost in it.
    pub losses: u64,
    /// Gaps in the samples, and seconds lost in them.
    pub gaps: usize,
    pub lost: f64,
    /// Parts of the file that could not be read, within the stretch or its run-up.
    pub damaged: usize,
    /// Streams that lie in it.
    pub streams: usize,
    /// Seconds that the cycles cover, chosen or left out, and the longest of them.
    pub covered: f64,
    pub longest: f64,
    /// Engine speed that was last valid, rpm.
    pub rpm: Option<f64>,
}

pub(super) fn find(
    recording: &Recording,
    setup: &Setup,
    span: &Range<f64>,
    columns: usize,
    most: usize,
    progress: &Progress,
) -> Result<Outcome, Fault> {
    let mut blocks = recording.blocks().map_err(|e| unreadable(&e))?;
    let from = Duration::from_secs_f64(span.start).saturating_sub(RUN_UP);
    let mut outcome = Outcome::default();
    if blocks.seek(from).is_err() {
        outcome.damaged += 1;
    }
    let mut finder = Finder {
        span,
        parts: u16::try_from(columns).unwrap_or(u16::MAX),
        analyser: Analyser::new(setup.clone()),
        script: Script::of(recording),
        stream: None,
        known: Thinned::new(most),
        guesses: Guesses::new(most),
        looked: f64::NEG_INFINITY,
        losses_before: 0,
        is_complete: false,
        outcome,
    };
    let length = (span.end + RUN_ON - from.as_secs_f64()).max(1e-3);
    while let Some(block) = blocks.next() {
        progress.check()?;
        let position = blocks.position().as_secs_f64();
        match block {
            Ok(block) => finder.take(recording, &block, position)?,
            Err(_) => finder.outcome.damaged += 1,
        }
        progress.set(ANALYSIS_SHARE * (position - from.as_secs_f64()) / length);
        if finder.is_complete || position > span.end + RUN_ON {
            break;
        }
    }
    Ok(finder.finish())
}

/// The stream that runs.
#[derive(Debug, Clone, Copy)]
struct Running {
    generation: u64,
    rate: f64,
    /// Seconds since the start of the recording at sample 0.
    origin: f64,
    /// Index after the last sample.
    next: u64,
}

impl Running {
    fn seconds(&self, at: f64) -> f64 {
        self.origin + at / self.rate
    }
}

struct Finder<'a> {
    span: &'a Range<f64>,
    parts: u16,
    analyser: Analyser,
    script: Script,
    stream: Option<Running>,
    known: Thinned,
    guesses: Guesses,
    /// When the state of the crank was last looked at.
    looked: f64,
    /// Losses of the pattern in the present stream before the stretch.
    losses_before: u64,
    /// Whether a known cycle beyond the stretch has been seen: nothing more is to come.
    is_complete: bool,
    outcome: Outcome,
}

impl Finder<'_> {
    fn take(&mut self, recording: &Recording, block: &SampleBlock, end: f64) -> Result<(), Fault> {
        if self.stream.map(|s| s.generation) != Some(block.generation) {
            let Some(info) = recording.stream(block.generation) else {
                return Ok(());
            };
            self.analyser.begin(info)?;
            self.analyser.collect_cycles(self.parts);
            self.script
                .begin(&mut self.analyser, block.generation, block.first_index);
            self.stream = Some(Running {
                generation: block.generation,
                rate: info.rate_hz,
                origin: end - block.end_index() as f64 / info.rate_hz,
                next: block.first_index,
            });
            self.losses_before = 0;
            self.looked = f64::NEG_INFINITY;
            if end > self.span.start {
                self.outcome.streams += 1;
            }
            let plan = &self.analyser.setup().plan;
            let has_crank = plan.leads.iter().any(|lead| {
                lead.role == Role::Crank && info.enabled.iter().any(|n| n + 1 == lead.input)
            });
            self.outcome.has_crank |= has_crank;
        }
        let Some(mut stream) = self.stream else {
            return Ok(());
        };
        self.script.feed(&mut self.analyser, block);
        let lost = block.first_index.saturating_sub(stream.next);
        let resumed = stream.seconds(block.first_index as f64);
        if lost > 0 && resumed > self.span.start && resumed <= self.span.end {
            self.outcome.gaps += 1;
            self.outcome.lost += lost as f64 / stream.rate;
        }
        stream.next = block.end_index();
        self.stream = Some(stream);
        for cycle in self.analyser.drain_cycles() {
            self.sort(&cycle, &stream);
        }
        // A stretch may be shorter than the time between two looks, and than a block.
        let is_first = self.outcome.sync.is_none() && end >= self.span.start;
        if end - self.looked >= LOOK_EVERY || is_first {
            self.looked = end;
            self.look(end);
        }
        Ok(())
    }

    /// Puts a cycle to those of its kind.
    fn sort(&mut self, cycle: &EngineCycle, stream: &Running) {
        let (Some(first), Some(last)) = (cycle.times.first(), cycle.times.last()) else {
            return;
        };
        let (begin, end) = (stream.seconds(first.0), stream.seconds(last.0));
        if cycle.is_known {
            self.guesses.remove_from(begin);
            self.known.remove_from(begin);
        }
        if end > self.span.end {
            self.is_complete |= cycle.is_known;
        }
        if begin < self.span.start || end > self.span.end {
            return;
        }
        let found = Found {
            generation: stream.generation,
            begin,
            end,
            is_known: cycle.is_known,
            times: cycle.times.iter().map(|t| t.0).collect(),
        };
        if cycle.is_known {
            self.known.push(found);
        } else {
            self.guesses.push(cycle.count, found);
        }
    }

    /// What is known of the crank at `now`.
    fn look(&mut self, now: f64) {
        let Some(snapshot) = self.analyser.snapshot() else {
            return;
        };
        let losses = snapshot.counts.sync_losses;
        if now < self.span.start {
            self.losses_before = losses;
            return;
        }
        if now > self.span.end && self.outcome.sync.is_some() {
            return;
        }
        self.outcome.losses += losses.saturating_sub(self.losses_before);
        self.losses_before = losses;
        let rank = |s: Sync| match s {
            Sync::Stopped => 0,
            Sync::Searching => 1,
            Sync::Revolution => 2,
            Sync::Cycle => 3,
        };
        self.outcome.stood |= snapshot.sync == Sync::Stopped;
        if self
            .outcome
            .sync
            .is_none_or(|s| rank(s) < rank(snapshot.sync))
        {
            self.outcome.sync = Some(snapshot.sync);
        }
        if let Some(speed) = snapshot.speed.valid() {
            self.outcome.rpm = Some(speed.0);
        }
    }

    fn finish(mut self) -> Outcome {
        let guesses = self.guesses.seen;
        let best = self.guesses.best();
        let chosen = if self.known.seen() > 0 {
            self.outcome.not_known = guesses;
            self.known
        } else {
            self.outcome.not_known = guesses - best.seen();
            best
        };
        let seen = chosen.seen();
        self.outcome.covered = chosen.covered();
        self.outcome.longest = chosen.longest();
        self.outcome.cycles = chosen.chosen();
        self.outcome.left_out = seen - self.outcome.cycles.len();
        self.outcome
    }
}

/// Cycles of which it is not known which revolution is which; only those of one count of teeth compare.
#[derive(Debug)]
struct Guesses {
    most: usize,
    /// All that still stand.
    seen: usize,
    /// The longest count that has ended.
    longest: Thinned,
    /// Stream and count that run, and their cycles.
    key: (u64, u64),
    running: Thinned,
}

impl Guesses {
    fn new(most: usize) -> Self {
        Self {
            most,
            seen: 0,
            longest: Thinned::new(most),
            key: (0, 0),
            running: Thinned::new(most),
        }
    }

    fn push(&mut self, count: u64, cycle: Found) {
        let key = (cycle.generation, count);
        if key != self.key {
            self.key = key;
            let ended = std::mem::replace(&mut self.running, Thinned::new(self.most));
            if ended.seen() > self.longest.seen() {
                self.longest = ended;
            }
        }
        let before = self.running.seen();
        self.running.push(cycle);
        self.seen = self.seen + self.running.seen() - before;
    }

    fn remove_from(&mut self, instant: f64) {
        let before = self.running.seen();
        self.running.remove_from(instant);
        self.seen = self.seen + self.running.seen() - before;
    }

    fn best(self) -> Thinned {
        if self.running.seen() > self.longest.seen() {
            self.running
        } else {
            self.longest
        }
    }
}
