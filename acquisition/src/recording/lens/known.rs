//! What is known of a recording without reading its samples: pages of its overview, pages made in
//! memory of what was looked at, and what nobody has read between them.

use super::window::{Window, whole};
use crate::recording::cursor::Entries;
use crate::recording::error::ReadError;
use crate::recording::overview::builder::{Builder, Built};
use crate::recording::overview::page::{Bins, Extremes, Page};
use crate::recording::overview::pages::{Pages, Stored};
use crate::recording::overview::rebuild::read_chunk;
use crate::recording::reader::Recording;
use std::borrow::Cow;
use std::ops::Range;

/// How much is read of what is not known, in compressed bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    /// Unread chunks in a window from which they are left to a rebuild.
    pub most: u64,
    /// In one look. The rest follows in the next looks.
    pub at_once: u64,
}

/// About half a minute of eight inputs at 200 kS/s, which some looks would take to read, each for some
/// tens of milliseconds.
const LIMITS: Limits = Limits {
    most: 48 << 20,
    at_once: 4 << 20,
};
/// Bins kept in memory of what was read, 16 MiB. Then only those of the window stay.
const KEEP_BINS: usize = 4 << 20;

/// Some chunks in order, and what is known of them.
#[derive(Debug)]
pub(super) struct Piece {
    pub chunks: Range<usize>,
    pub known: Known,
}

#[derive(Debug)]
pub(super) enum Known {
    /// A page on the disk.
    Stored(Box<Stored>),
    /// A page in memory.
    Read(Box<Built>),
    /// Nobody has read them.
    Unread,
}

impl Known {
    /// The page, if there is one.
    pub fn page(&self) -> Option<&Page> {
        match self {
            Self::Stored(stored) => Some(&stored.page),
            Self::Read(built) => Some(&built.page),
            Self::Unread => None,
        }
    }

    /// Whether it is known to hold no samples.
    pub fn is_without_samples(&self) -> bool {
        self.page()
            .is_some_and(|page| page.parts().next().is_none())
    }
}

/// All chunks of a recording, in pieces.
#[derive(Debug)]
pub(super) struct Pieces {
    pub list: Vec<Piece>,
    pages: Option<Pages>,
    /// Begin of each chunk, and the end of the last: seconds since the start of the recording.
    times: Vec<f64>,
    /// Bins in memory of what was read.
    kept: usize,
    pub limits: Limits,
}

impl Pieces {
    /// With the pages of an overview, if there is one.
    pub fn new(recording: &Recording, overview: Option<(Pages, Vec<Stored>)>) -> Self {
        let chunks = recording.chunks();
        let started = recording.header().started_ns;
        let mut times: Vec<f64> = chunks
            .iter()
            .map(|c| c.start_ns.saturating_sub(started) as f64 / 1e9)
            .collect();
        times.push(recording.duration().as_secs_f64());
        let (pages, stored) = match overview {
            Some((pages, stored)) => (Some(pages), stored),
            None => (None, Vec::new()),
        };
        let mut list = Vec::new();
        let mut next = 0;
        for stored in stored {
            let covers = &stored.page.covers;
            let begin = chunks.partition_point(|c| c.offset < covers.start);
            let end = chunks.partition_point(|c| c.offset < covers.end);
            // Of another state of the file, or told already.
            if covers.end > recording.size() || begin < next || begin >= end {
                continue;
            }
            push_unread(&mut list, next..begin);
            list.push(Piece {
                chunks: begin..end,
                known: Known::Stored(Box::new(stored)),
            });
            next = end;
        }
        push_unread(&mut list, next..chunks.len());
        Self {
            list,
            pages,
            times,
            kept: 0,
            limits: LIMITS,
        }
    }

    /// Chunks that may hold something of the window, and one more on either side, which tell where
    /// a gap at the edge begins and ends.
    pub fn around(&self, window: Window) -> Range<usize> {
        let begins = &self.times[..self.times.len() - 1];
        let from = begins.partition_point(|&t| t <= window.from);
        let to = begins.partition_point(|&t| t < window.to);
        from.saturating_sub(2)..(to + 1).min(begins.len())
    }

    /// When the chunks begin, and those after them.
    pub fn span(&self, chunks: &Range<usize>) -> [f64; 2] {
        [self.times[chunks.start], self.times[chunks.end]]
    }

    /// Reads what is not known in the window, as far as that can be done at once.
    pub fn read(
        &mut self,
        recording: &Recording,
        entries: &mut Entries,
        window: Window,
    ) -> Result<(), ReadError> {
        let around = self.around(window);
        let wanted: Vec<Range<usize>> = self
            .list
            .iter()
            .filter(|p| p.known.page().is_none())
            .map(|p| p.chunks.start.max(around.start)..p.chunks.end.min(around.end))
            .filter(|chunks| !chunks.is_empty())
            .collect();
        if wanted.iter().map(|c| bytes(recording, c)).sum::<u64>() > self.limits.most {
            return Ok(());
        }
        if self.kept > KEEP_BINS {
            self.forget(|chunks| chunks.end <= around.start || chunks.start >= around.end);
        }
        let mut left = self.limits.at_once;
        for chunks in wanted {
            let mut end = chunks.start;
            let mut builder = Builder::new(0);
            let mut built = Vec::new();
            let mut begin = chunks.start;
            while end < chunks.end && left > 0 {
                read_chunk(recording, entries, end, &mut builder)?;
                left = left.saturating_sub(recording.chunks()[end].length);
                end += 1;
                if let Some(page) = builder.chunk(end as u64) {
                    built.push((begin..end, page));
                    begin = end;
                }
            }
            if begin < end
                && let Some(page) = builder.rest(u64::MAX)
            {
                built.push((begin..end, page));
            }
            self.put(chunks.start..end, built);
        }
        Ok(())
    }

    /// A page and its bins of one level, or `None` if they cannot be read.
    pub fn bins(&mut self, place: usize, level: usize) -> Option<(&Page, Cow<'_, [Extremes]>)> {
        match &self.list.get(place)?.known {
            Known::Stored(stored) => {
                let bins = if level == 0 {
                    Cow::Borrowed(stored.coarsest.as_slice())
                } else {
                    Cow::Owned(self.pages.as_mut()?.bins(stored, level)?)
                };
                Some((&stored.page, bins))
            }
            Known::Read(built) => Some((&built.page, Cow::Borrowed(&built.bins[level]))),
            Known::Unread => None,
        }
    }

    /// Takes pages for unread from now on, because they cannot be read or say what is not there.
    pub fn distrust(&mut self, places: &[usize]) {
        for &place in places {
            if let Some(piece) = self.list.get_mut(place) {
                piece.known = Known::Unread;
            }
        }
        self.join();
    }

    /// Whether so much is unread that looks alone will not make it known.
    pub fn wants_overview(&self, recording: &Recording) -> bool {
        let unread = self.list.iter().filter(|p| p.known.page().is_none());
        unread.map(|p| bytes(recording, &p.chunks)).sum::<u64>() > self.limits.most
    }

    /// Whether a chunk may hold samples of the window.
    pub fn may_hold(&self, chunk: usize, window: Window) -> bool {
        self.times[chunk] < window.to && self.times[chunk + 1] > window.from
    }

    /// The piece that holds a chunk.
    pub fn place(&self, chunk: usize) -> usize {
        self.list.partition_point(|p| p.chunks.end <= chunk)
    }

    fn put(&mut self, chunks: Range<usize>, built: Vec<(Range<usize>, Built)>) {
        if chunks.is_empty() {
            return;
        }
        let place = self.place(chunks.start);
        let whole = self.list[place].chunks.clone();
        let mut pieces = Vec::new();
        push_unread(&mut pieces, whole.start..chunks.start);
        for (chunks, built) in built {
            self.kept += size(&built.bins);
            pieces.push(Piece {
                chunks,
                known: Known::Read(Box::new(built)),
            });
        }
        push_unread(&mut pieces, chunks.end..whole.end);
        drop(self.list.splice(place..=place, pieces));
    }

    fn forget(&mut self, is_away: impl Fn(&Range<usize>) -> bool) {
        self.kept = 0;
        for piece in &mut self.list {
            if let Known::Read(built) = &piece.known {
                if is_away(&piece.chunks) {
                    piece.known = Known::Unread;
                } else {
                    self.kept += size(&built.bins);
                }
            }
        }
        self.join();
    }

    /// Unread pieces that follow each other are one.
    fn join(&mut self) {
        self.list.dedup_by(|next, piece| {
            let both = matches!((&piece.known, &next.known), (Known::Unread, Known::Unread));
            if both {
                piece.chunks.end = next.chunks.end;
            }
            both
        });
    }
}

fn push_unread(list: &mut Vec<Piece>, chunks: Range<usize>) {
    if !chunks.is_empty() {
        list.push(Piece {
            chunks,
            known: Known::Unread,
        });
    }
}

fn bytes(recording: &Recording, chunks: &Range<usize>) -> u64 {
    let chunks = recording.chunks().get(chunks.clone()).unwrap_or_default();
    chunks.iter().map(|c| c.length).sum()
}

fn size(bins: &Bins) -> usize {
    bins.iter().map(Vec::len).sum()
}

/// Number of a sample after `first`, for a time after that of the first.
pub(super) fn samples_in(seconds: f64, rate_hz: f64) -> u64 {
    whole(seconds * rate_hz) as u64
}
