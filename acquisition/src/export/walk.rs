//! Walks over the samples that are wished for, piece by piece.

use super::clock::Clock;
use super::error::ExportError;
use super::layout::Layout;
use super::{Summary, Watch, Wish};
use crate::block::SampleBlock;
use crate::recording::cursor::Item;
use crate::recording::error::ReadError;
use crate::recording::reader::Recording;
use std::sync::atomic::Ordering;
use std::time::Duration;

/// Samples that follow each other without a gap.
#[derive(Debug)]
pub(crate) struct Piece<'a> {
    /// Place of the stream, from 0.
    pub stream: usize,
    pub clock: Clock,
    /// Index of the first sample.
    pub first: u64,
    /// Samples missing before it within its stream.
    pub missing: u64,
    /// Per column; none where the stream does not carry the lead.
    pub columns: Vec<Option<&'a [i16]>>,
    pub length: usize,
}

/// The walk.
#[derive(Debug)]
pub(crate) struct Walk<'a> {
    pub recording: &'a Recording,
    pub layout: &'a Layout,
    pub wish: &'a Wish,
    watch: Watch<'a>,
}

impl<'a> Walk<'a> {
    pub fn new(
        recording: &'a Recording,
        layout: &'a Layout,
        wish: &'a Wish,
        watch: Watch<'a>,
    ) -> Self {
        Self {
            recording,
            layout,
            wish,
            watch,
        }
    }

    /// Gives every piece to `take`, in order.
    pub fn run(
        &self,
        mut take: impl FnMut(&Piece<'_>) -> Result<(), ExportError>,
    ) -> Result<Summary, ExportError> {
        let length = self.recording.duration().as_secs_f64();
        let (from, to) = (self.wish.span.start.max(0.0), self.wish.span.end);
        let empty = ExportError::Empty { from, end: length };
        let mut summary = Summary {
            samples: 0,
            columns: self.layout.names(),
            streams: 0,
            gaps: 0,
            missing: 0,
            bytes: 0,
            remarks: Vec::new(),
        };
        let mut entries = self.recording.entries()?;
        // A begin beyond the end of time is beyond the end of the recording too.
        let begin = Duration::try_from_secs_f64(from).unwrap_or(Duration::MAX);
        match entries.seek(begin) {
            // What cannot be read is told when it is met.
            Ok(()) | Err(ReadError::Damaged { .. }) => {}
            Err(e) => return Err(e.into()),
        }
        let mut clock: Option<(usize, Clock)> = None;
        let mut before: Option<(usize, u64)> = None;
        for entry in entries {
            if self.watch.stop.load(Ordering::Relaxed) {
                return Err(ExportError::Stopped);
            }
            let entry = match entry {
                Ok(entry) => entry,
                Err(e @ ReadError::Damaged { from_seconds, .. }) => {
                    if from_seconds < to {
                        summary.remarks.push(e.to_string());
                    }
                    continue;
                }
                Err(e) => return Err(e.into()),
            };
            let at = entry.at.as_secs_f64();
            if at >= to {
                break;
            }
            (self.watch.progress)(((at - from) / (to.min(length) - from)).clamp(0.0, 1.0));
            let Item::Block(block) = entry.item else {
                continue;
            };
            let Some(stream) = self.layout.stream(block.generation) else {
                continue;
            };
            if !self.layout.streams[stream].wanted {
                continue;
            }
            let clock = match clock {
                Some((known, clock)) if known == stream => clock,
                _ => {
                    let found = self.clock(stream, entry.at, &block, clock.is_some())?;
                    clock = Some((stream, found));
                    found
                }
            };
            let inside = clock.within(&block, &self.wish.span);
            if inside.is_empty() {
                continue;
            }
            let is_new = before.is_none_or(|(s, _)| s != stream);
            summary.streams += usize::from(is_new);
            let missing = match before {
                Some((s, end)) if s == stream => inside.start.saturating_sub(end),
                _ => 0,
            };
            summary.gaps += u64::from(missing > 0);
            summary.missing += missing;
            before = Some((stream, inside.end));
            let piece = self.piece(stream, clock, &block, inside.start..inside.end, missing);
            summary.samples += piece.length as u64;
            take(&piece)?;
        }
        if summary.samples == 0 {
            return Err(empty);
        }
        (self.watch.progress)(1.0);
        Ok(summary)
    }

    /// The clock of a stream whose block this is.
    fn clock(
        &self,
        stream: usize,
        at: Duration,
        block: &SampleBlock,
        came_from_another: bool,
    ) -> Result<Clock, ExportError> {
        let layout = &self.layout.streams[stream];
        // Where the walk began with the recording, or in another stream, this is its first block.
        if self.wish.span.start <= 0.0 || came_from_another {
            return Ok(Clock::at(at, block, layout.rate));
        }
        let found = Clock::search(self.recording, layout.generation, at, layout.rate)?;
        Ok(found.unwrap_or_else(|| Clock::at(at, block, layout.rate)))
    }

    fn piece<'b>(
        &self,
        stream: usize,
        clock: Clock,
        block: &'b SampleBlock,
        inside: std::ops::Range<u64>,
        missing: u64,
    ) -> Piece<'b> {
        let offset = |index: u64| usize::try_from(index - block.first_index).unwrap_or(0);
        let range = offset(inside.start)..offset(inside.end);
        Piece {
            stream,
            clock,
            first: inside.start,
            missing,
            columns: self.layout.streams[stream]
                .columns
                .iter()
                .map(|column| block.channels.get(column.as_ref()?.0)?.get(range.clone()))
                .collect(),
            length: range.len(),
        }
    }
}
