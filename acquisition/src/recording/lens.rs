//! What is seen of a recording between two times, in as many columns as a picture is wide: from the
//! whole recording at a glance down to single samples.
//!
//! Where a column holds fewer samples than the finest bin of the overview, samples are read, and what
//! is seen is exact. Otherwise the extremes are those of bins, and a bin belongs to the column in
//! which its middle lies: no extreme is lost, each stands within half a bin of where it was measured,
//! and a bin is at most half a column, except for the finest, which is at most one. Bins that reach
//! over an edge of what is looked at belong to the column there. Stretches without samples are exact
//! at any zoom.

mod gaps;
mod gather;
mod known;
mod samples;
mod window;

pub use samples::from_samples;

use super::cursor::{Entries, Item};
use super::error::ReadError;
use super::overview;
use super::overview::page::{Extremes, FINEST, LEVELS, Part, Stretch};
use super::overview::pages::Pages;
use super::reader::Recording;
use crate::block::StreamInfo;
use gaps::{Gaps, Told};
use gather::{Gather, Pace};
use known::{Known, Pieces, samples_in};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;
use window::Window;

/// Bins of a level that a column takes at least, so that its edges are not much off. With sixteen
/// times as many samples in a bin of the next level it takes no more than 32.
const BINS_OF_A_COLUMN: u64 = 2;

/// What is seen between two times. Times are seconds since the start of the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// Begin of the first column.
    pub from: f64,
    /// End of the last column.
    pub to: f64,
    /// One per input of the device that is recorded in this stretch, in order; two for an input
    /// whose unit changes from one stream to the next.
    pub inputs: Vec<InputSight>,
    /// Stretches without samples that reach into this one, in order. Each is told as a whole, so it
    /// may begin before this one and end after it.
    pub missing: Vec<Missing>,
}

/// One input.
#[derive(Debug, Clone, PartialEq)]
pub struct InputSight {
    /// Number of the input as the device counts, from 0.
    pub input: usize,
    /// Unit of the values, at the input: the factor of the probe is not in them.
    pub unit: String,
    /// What is seen.
    pub shape: Shape,
}

/// How samples are shown.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Least and greatest value in each column of equal length; `None` where there is no sample.
    Columns(Vec<Option<[f32; 2]>>),
    /// Every sample with its time, where no input has more than two to a column.
    Samples(Vec<(f64, f32)>),
}

/// A stretch without samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Missing {
    /// Begin, seconds since the start of the recording.
    pub from: f64,
    /// End.
    pub to: f64,
    /// Why.
    pub why: Absence,
}

/// Why there are no samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Absence {
    /// Lost on the way from the device: so many per input, which the index tells exactly. Losses
    /// that follow so closely that they could not be told apart are one stretch, with samples in it.
    Lost(u64),
    /// No stream: the device was away, or the computer slept.
    NoStream,
    /// They are in the file but cannot be read.
    Damaged,
    /// Not known yet: nobody has read them, and there are too many to read at once. The next look
    /// knows more, or [`Lens::wants_overview`] says that it takes an overview.
    NotRead,
}

/// A way to look at a recording. Of a recording that still grows it shows what was there when it was
/// opened: open both again for the rest.
#[derive(Debug)]
pub struct Lens {
    recording: Recording,
    entries: Entries,
    pieces: Pieces,
}

/// What a window holds, before any value is looked at.
struct Survey {
    /// The pieces that reach into it.
    places: Range<usize>,
    missing: Vec<Missing>,
    /// Most samples of one input.
    most: u64,
}

impl Lens {
    /// Of this recording, through the overview beside it if there is one, or what is made of it so
    /// far. Without one, short stretches are still seen, and longer ones after some looks.
    pub fn open(recording: &Recording) -> Result<Self, ReadError> {
        Self::open_with(recording, &overview::path_of(recording.path()))
    }

    /// The same with an overview in another place.
    pub fn open_with(recording: &Recording, overview: &Path) -> Result<Self, ReadError> {
        let known = |found: &(Pages, Vec<_>)| found.1.len();
        let found = [overview.to_owned(), overview::part_of(overview)]
            .iter()
            .filter_map(|path| Pages::open(path, recording))
            .max_by_key(known);
        Ok(Self {
            entries: recording.entries()?,
            pieces: Pieces::new(recording, found),
            recording: recording.clone(),
        })
    }

    /// Whether so much is unknown that it takes an overview to see it:
    /// [`overview::rebuild`], and then a new lens.
    pub fn wants_overview(&self) -> bool {
        self.pieces.wants_overview(&self.recording)
    }

    /// With other limits of what is read, so that a test needs no large recording.
    #[cfg(test)]
    pub(crate) fn limited(mut self, most: u64, at_once: u64) -> Self {
        self.pieces.limits = known::Limits { most, at_once };
        self
    }

    /// What lies between `from` and `to`, seconds since the start of the recording, in `columns`
    /// columns. A span that is empty or reaches outside the recording is no error: there is nothing
    /// to see there.
    pub fn look(&mut self, from: f64, to: f64, columns: usize) -> Result<Sight, ReadError> {
        let window = Window::new(from, to, columns);
        loop {
            self.pieces
                .read(&self.recording, &mut self.entries, window)?;
            let survey = self.survey(window);
            let is_few = survey.most <= 2 * window.columns as u64;
            let mut gather = Gather::new(window, !is_few);
            let doubtful = self.gather(&mut gather, window, &survey, is_few)?;
            if doubtful.is_empty() {
                return Ok(Sight {
                    from: window.from,
                    to: window.to,
                    inputs: gather.end(),
                    missing: survey.missing,
                });
            }
            // Each round leaves fewer pages to doubt.
            self.pieces.distrust(&doubtful);
        }
    }

    fn survey(&self, window: Window) -> Survey {
        let around = self.pieces.around(window);
        let list = &self.pieces.list;
        let mut gaps = Gaps::new(window);
        let mut counts: BTreeMap<usize, u64> = BTreeMap::new();
        let mut place = self.pieces.place(around.start);
        // The samples before the window tell where a gap at its edge begins.
        while place > 0
            && list
                .get(place)
                .is_some_and(|p| p.known.is_without_samples())
        {
            place -= 1;
        }
        let begin = place;
        let mut is_beyond = false;
        while let Some(piece) = list.get(place).filter(|_| !is_beyond) {
            let [from, to] = self.pieces.span(&piece.chunks);
            place += 1;
            let Some(page) = piece.known.page() else {
                gaps.absent(from, to, Absence::NotRead);
                is_beyond = from >= window.to;
                continue;
            };
            for stretch in &page.stretches {
                match stretch {
                    Stretch::Damage { from_ns, to_ns } => {
                        gaps.absent(seconds(*from_ns), seconds(*to_ns), Absence::Damaged);
                    }
                    Stretch::Part(part) => {
                        let Some(stream) = self.recording.stream(part.generation) else {
                            continue;
                        };
                        is_beyond |= seconds(part.at_ns) >= window.to;
                        let count = count(part, stream, window, &mut gaps);
                        for &input in &stream.enabled {
                            *counts.entry(input).or_default() += count;
                        }
                    }
                }
            }
        }
        Survey {
            places: begin..place,
            missing: gaps.end(),
            most: counts.into_values().max().unwrap_or(0),
        }
    }

    /// Gathers what is seen; gives the pieces whose pages turned out not to hold.
    fn gather(
        &mut self,
        gather: &mut Gather,
        window: Window,
        survey: &Survey,
        is_few: bool,
    ) -> Result<Vec<usize>, ReadError> {
        let is_exact =
            |stream: &StreamInfo| is_few || window.step() * stream.rate_hz < FINEST as f64;
        let mut doubtful = Vec::new();
        let mut read = BTreeSet::new();
        for place in survey.places.clone() {
            let Some(page) = self.pieces.list[place].known.page() else {
                continue;
            };
            let mut levels = BTreeSet::new();
            for part in page.parts() {
                let Some(stream) = self.recording.stream(part.generation) else {
                    continue;
                };
                if !meets(part, stream, window) {
                    continue;
                }
                for &input in &stream.enabled {
                    if let Some(channel) = stream.device.channels.get(input) {
                        gather.input(input, &channel.unit);
                    }
                }
                if is_exact(stream) {
                    let chunks = self.pieces.list[place].chunks.clone();
                    read.extend(chunks.filter(|&c| self.pieces.may_hold(c, window)));
                } else {
                    let _ = levels.insert(level(window, stream));
                }
            }
            for level in levels {
                let Some((page, bins)) = self.pieces.bins(place, level) else {
                    doubtful.push(place);
                    break;
                };
                let mut offset = 0;
                for part in page.parts() {
                    let here = offset;
                    offset += part.bins_in_all(LEVELS[level]);
                    if let Some(stream) = self.recording.stream(part.generation)
                        && !is_exact(stream)
                        && meets(part, stream, window)
                        && self::level(window, stream) == level
                        && let Some(bins) = bins.get(here..offset)
                    {
                        draw(gather, window, part, stream, level, bins);
                    }
                }
            }
        }
        for chunk in read {
            match self.entries.chunk(chunk) {
                Ok(found) => {
                    for entry in found {
                        if let Item::Block(block) = entry.item
                            && let Some(stream) = self.recording.stream(block.generation)
                            && is_exact(stream)
                        {
                            let pace = Pace {
                                at: entry.at.as_secs_f64(),
                                rate_hz: stream.rate_hz,
                            };
                            for (&input, samples) in stream.enabled.iter().zip(&block.channels) {
                                if let Some(channel) = stream.device.channels.get(input) {
                                    gather.samples(input, channel, pace, samples);
                                }
                            }
                        }
                    }
                }
                Err(ReadError::Damaged { .. }) => {
                    let place = self.pieces.place(chunk);
                    // A page that was read here has it as damage already.
                    if matches!(self.pieces.list[place].known, Known::Stored(_)) {
                        doubtful.push(place);
                    }
                }
                Err(e) => return Err(e),
            }
        }
        Ok(doubtful)
    }
}

/// Tells the runs of a part; gives how many samples per input lie in the window.
fn count(part: &Part, stream: &StreamInfo, window: Window, gaps: &mut Gaps) -> u64 {
    let time = |index: u64| time(part, stream, index);
    let mut count = 0;
    for run in &part.runs {
        let (begins, ends) = (time(run.first), time(run.end));
        gaps.samples(Told {
            generation: part.generation,
            first: run.first,
            end: run.end,
            begins,
            ends,
            lost: run.lost,
        });
        if window.meets(begins, ends) {
            let before = samples_in(window.from - begins, stream.rate_hz);
            let after = samples_in(ends - window.to, stream.rate_hz);
            let inside = (run.end - run.first).saturating_sub(before.saturating_add(after));
            count += inside.saturating_sub(run.lost);
        }
    }
    count
}

fn meets(part: &Part, stream: &StreamInfo, window: Window) -> bool {
    let time = |index: u64| time(part, stream, index);
    part.runs
        .iter()
        .any(|run| window.meets(time(run.first), time(run.end)))
}

fn time(part: &Part, stream: &StreamInfo, index: u64) -> f64 {
    seconds(part.at_ns) + (index - part.first()) as f64 / stream.rate_hz
}

/// The coarsest level of which a column takes enough bins.
fn level(window: Window, stream: &StreamInfo) -> usize {
    let samples = samples_in(window.step(), stream.rate_hz);
    LEVELS
        .iter()
        .position(|size| size * BINS_OF_A_COLUMN <= samples)
        .unwrap_or(LEVELS.len() - 1)
}

/// Gives the bins of a part to their columns.
fn draw(
    gather: &mut Gather,
    window: Window,
    part: &Part,
    stream: &StreamInfo,
    level: usize,
    bins: &[Extremes],
) {
    let size = LEVELS[level];
    let (first, end) = (part.first(), part.end());
    let numbers = part.bins(size);
    let begins = seconds(part.at_ns);
    let reach = |at: f64| first.saturating_add(samples_in(at - begins, stream.rate_hz)) / size;
    let from = reach(window.from).saturating_sub(1).max(numbers.start);
    let to = reach(window.to).saturating_add(2).min(numbers.end);
    let columns: Vec<Option<usize>> = (from..to)
        .map(|number| {
            let begin = time(part, stream, (number * size).max(first));
            let last = time(part, stream, ((number + 1) * size).min(end) - 1);
            (last >= window.from && begin < window.to)
                .then(|| window.column(f64::midpoint(begin, last)))
        })
        .collect();
    let all = usize::try_from(numbers.end - numbers.start).unwrap_or(0);
    let skipped = usize::try_from(from.saturating_sub(numbers.start)).unwrap_or(0);
    if all == 0 {
        return;
    }
    for (&input, bins) in stream.enabled.iter().zip(bins.chunks_exact(all)) {
        if let Some(channel) = stream.device.channels.get(input) {
            let seen = columns.iter().zip(bins.iter().skip(skipped));
            gather.extremes(
                input,
                channel,
                seen.filter_map(|(&column, &bin)| column.map(|c| (c, bin))),
            );
        }
    }
}

#[allow(clippy::cast_precision_loss, reason = "a time that is drawn")]
fn seconds(ns: u64) -> f64 {
    std::time::Duration::from_nanos(ns).as_secs_f64()
}
