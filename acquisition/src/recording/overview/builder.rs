//! From blocks to pages, in the order of the recording.

use super::page::{Bins, EMPTY, Extremes, FINEST, LEVELS, Page, Part, Run, Stretch};
use crate::block::SampleBlock;
use keyway_protocol::checksum::crc32c;
use std::ops::Range;

/// Samples per channel from which a page is full: 1.3 s at 200 kS/s. It ends with the next end of a
/// chunk, so that a page tells of whole chunks. What comes after the last page is read from the
/// samples, so more would be slower to look at while recording; less would cost more heads.
const PAGE_SAMPLES: u64 = 1 << 18;
/// A loss as long as a bin of the coarsest level begins another part: its empty bins are not kept.
const LONGEST_HOLE: u64 = LEVELS[0];
/// The same for a part this long, so that its bins stay few however much is missing within.
const LONGEST_PART: u64 = 1 << 24;
/// Runs of a part from which losses that are shorter than the finest bin are told together.
const MANY_RUNS: usize = 256;
/// What a time may be off the even spacing before it begins another part: rounding alone.
const SLACK_NS: u64 = 1_000;

/// A page with all its bins.
#[derive(Debug)]
pub(crate) struct Built {
    pub page: Page,
    pub bins: Bins,
}

/// Gathers blocks until a page is full.
#[derive(Debug)]
pub(crate) struct Builder {
    /// Checksum of the first block of all.
    origin: Option<u32>,
    /// Byte of the recording up to which pages tell of it.
    covered: u64,
    drafts: Vec<Draft>,
    samples: u64,
}

#[derive(Debug)]
enum Draft {
    Part(PartDraft),
    Damage { from_ns: u64, to_ns: u64 },
}

#[derive(Debug)]
struct PartDraft {
    part: Part,
    rate_hz: f64,
    /// Per channel, bins of the finest level.
    bins: Vec<Vec<Extremes>>,
    /// Runs at which losses are told together next.
    thin_at: usize,
}

impl Builder {
    /// From this byte of the recording on.
    pub fn new(covered: u64) -> Self {
        Self {
            origin: None,
            covered,
            drafts: Vec::new(),
            samples: 0,
        }
    }

    /// Checksum of the first block, 0 before there is one.
    pub fn origin(&self) -> u32 {
        self.origin.unwrap_or(0)
    }

    /// Takes a block whose first sample is at `at_ns` since the start of the recording.
    pub fn block(&mut self, at_ns: u64, rate_hz: f64, block: &SampleBlock) {
        if block.is_empty() {
            return;
        }
        let _ = self.origin.get_or_insert_with(|| origin(block));
        self.samples += block.len() as u64;
        let fits = match self.drafts.last() {
            Some(Draft::Part(draft)) => draft.fits(at_ns, block),
            Some(Draft::Damage { .. }) | None => false,
        };
        if !fits {
            self.drafts.push(Draft::Part(PartDraft {
                part: Part {
                    generation: block.generation,
                    at_ns,
                    channels: block.channels.len(),
                    runs: Vec::new(),
                },
                rate_hz,
                bins: vec![Vec::new(); block.channels.len()],
                thin_at: MANY_RUNS,
            }));
        }
        if let Some(Draft::Part(draft)) = self.drafts.last_mut() {
            draft.add(block);
        }
    }

    /// Says that a chunk between these times cannot be read.
    pub fn damage(&mut self, from_ns: u64, to_ns: u64) {
        self.drafts.push(Draft::Damage { from_ns, to_ns });
    }

    /// A chunk has ended at this byte of the recording. Gives the page if it is full.
    pub fn chunk(&mut self, end: u64) -> Option<Built> {
        (self.samples >= PAGE_SAMPLES).then(|| self.page(end))
    }

    /// What is left, if anything is.
    pub fn rest(&mut self, end: u64) -> Option<Built> {
        (end > self.covered).then(|| self.page(end))
    }

    fn page(&mut self, end: u64) -> Built {
        let covers = self.covered..end;
        self.covered = end;
        self.samples = 0;
        let mut bins = Bins::default();
        let mut stretches = Vec::new();
        for draft in self.drafts.drain(..) {
            stretches.push(match draft {
                Draft::Damage { from_ns, to_ns } => Stretch::Damage { from_ns, to_ns },
                Draft::Part(draft) => {
                    for (level, size) in bins.iter_mut().zip(LEVELS) {
                        for fine in &draft.bins {
                            level.extend(coarser(fine, &draft.part, size));
                        }
                    }
                    Stretch::Part(draft.part)
                }
            });
        }
        Built {
            page: Page { covers, stretches },
            bins,
        }
    }
}

impl PartDraft {
    fn fits(&self, at_ns: u64, block: &SampleBlock) -> bool {
        let part = &self.part;
        let (first, end) = (part.first(), part.end());
        let is_next = block.generation == part.generation
            && block.channels.len() == part.channels
            && block
                .first_index
                .checked_sub(end)
                .is_some_and(|hole| hole < LONGEST_HOLE)
            && block.end_index() - first < LONGEST_PART;
        is_next && {
            let seconds = (block.first_index - first) as f64 / self.rate_hz;
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a time that is not negative, to the nanosecond"
            )]
            let expected = part.at_ns.saturating_add((seconds * 1e9) as u64);
            expected.abs_diff(at_ns) <= SLACK_NS
        }
    }

    fn add(&mut self, block: &SampleBlock) {
        let (from, to) = (block.first_index, block.end_index());
        let runs = &mut self.part.runs;
        match runs.last_mut() {
            Some(run) if run.end == from => run.end = to,
            _ => runs.push(Run {
                first: from,
                end: to,
                lost: 0,
            }),
        }
        if runs.len() >= self.thin_at {
            thin(runs);
            self.thin_at = MANY_RUNS.max(2 * runs.len());
        }
        let begin = self.part.first() / FINEST;
        for (bins, samples) in self.bins.iter_mut().zip(&block.channels) {
            let mut rest = samples.as_slice();
            let mut index = from;
            while !rest.is_empty() {
                let bin = index / FINEST;
                let room = usize::try_from((bin + 1) * FINEST - index).unwrap_or(1);
                let (these, others) = rest.split_at(room.min(rest.len()));
                let place = usize::try_from(bin - begin).unwrap_or(usize::MAX);
                if bins.len() <= place {
                    bins.resize(place + 1, EMPTY);
                }
                bins[place] = both(bins[place], extremes(these));
                index += these.len() as u64;
                rest = others;
            }
        }
    }
}

/// Least and greatest of some samples.
pub(crate) fn extremes(samples: &[i16]) -> Extremes {
    let low = samples.iter().fold(i16::MAX, |low, &x| low.min(x));
    let high = samples.iter().fold(i16::MIN, |high, &x| high.max(x));
    [low, high]
}

fn both(a: Extremes, b: Extremes) -> Extremes {
    [a[0].min(b[0]), a[1].max(b[1])]
}

/// Bins of `size` samples from the finest ones.
fn coarser(fine: &[Extremes], part: &Part, size: u64) -> Vec<Extremes> {
    let Range { start, end } = part.bins(size);
    let mut bins = vec![EMPTY; usize::try_from(end - start).unwrap_or(0)];
    let begin = part.first() / FINEST;
    for (number, &extremes) in (begin..).zip(fine) {
        let place = number / (size / FINEST) - start;
        if let Some(bin) = usize::try_from(place).ok().and_then(|i| bins.get_mut(i)) {
            *bin = both(*bin, extremes);
        }
    }
    bins
}

/// Tells losses shorter than the finest bin together with the samples around them.
fn thin(runs: &mut Vec<Run>) {
    runs.dedup_by(|next, run| {
        let hole = next.first - run.end;
        let is_short = hole < FINEST;
        if is_short {
            run.lost += hole + next.lost;
            run.end = next.end;
        }
        is_short
    });
}

/// What names a recording by its samples: the checksum of its first block.
pub(crate) fn origin(block: &SampleBlock) -> u32 {
    let samples = block.channels.iter().flatten();
    let bytes: Vec<u8> = samples.flat_map(|x| x.to_le_bytes()).collect();
    crc32c(&bytes)
}
