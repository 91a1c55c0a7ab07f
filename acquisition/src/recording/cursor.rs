//! Walks through a recording with one chunk in memory.

pub use super::chunk::{Entry, Item};

use super::chunk::unpack;
use super::error::ReadError;
use super::index::{ChunkEntry, Index};
use crate::block::SampleBlock;
use std::collections::VecDeque;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// Entries of a recording in order. After an error the next chunk is tried, so the iterator goes on.
#[derive(Debug)]
pub struct Entries {
    path: PathBuf,
    file: File,
    index: Arc<Index>,
    next_chunk: usize,
    ready: VecDeque<Entry>,
    /// Whether only chunks that may hold notes or lead events are opened.
    words_only: bool,
    body: Vec<u8>,
}

impl Entries {
    pub(crate) fn open(
        path: &Path,
        index: Arc<Index>,
        words_only: bool,
    ) -> Result<Self, ReadError> {
        let file = File::open(path).map_err(|e| ReadError::io(path, e))?;
        Ok(Self {
            path: path.to_owned(),
            file,
            index,
            next_chunk: 0,
            ready: VecDeque::new(),
            words_only,
            body: Vec::new(),
        })
    }

    /// Continues with the first entry that reaches beyond `to`, measured from the start of the recording.
    pub fn seek(&mut self, to: Duration) -> Result<(), ReadError> {
        let to_ns = self.log_time(to);
        // A block reaches into the time of the next chunk's begin, never further.
        self.next_chunk = self
            .index
            .chunks
            .partition_point(|c| c.start_ns <= to_ns)
            .saturating_sub(1);
        self.ready.clear();
        while let Some(entry) = self.next() {
            let entry = entry?;
            if self.end_of(&entry) > to {
                self.ready.push_front(entry);
                break;
            }
        }
        Ok(())
    }

    /// End of an entry, measured from the start of the recording.
    pub fn end_of(&self, entry: &Entry) -> Duration {
        entry.at + self.index.length_of(&entry.item)
    }

    /// What one chunk holds; the entries after it follow.
    pub(crate) fn chunk(&mut self, position: usize) -> Result<VecDeque<Entry>, ReadError> {
        self.seek_chunk(position)?;
        Ok(std::mem::take(&mut self.ready))
    }

    /// Loads one chunk alone; the entries after it follow.
    pub(crate) fn seek_chunk(&mut self, position: usize) -> Result<(), ReadError> {
        self.ready.clear();
        let Some(&chunk) = self.index.chunks.get(position) else {
            return Ok(());
        };
        self.next_chunk = position + 1;
        self.load(chunk)
    }

    /// End of the last entry that is already in memory.
    pub(crate) fn end_of_ready(&self) -> Option<Duration> {
        self.ready.iter().map(|e| self.end_of(e)).max()
    }

    fn log_time(&self, at: Duration) -> u64 {
        let ns = u64::try_from(at.as_nanos()).unwrap_or(u64::MAX);
        self.index.header.started_ns.saturating_add(ns)
    }

    fn load(&mut self, chunk: ChunkEntry) -> Result<(), ReadError> {
        // The opcode and the length of the record are known from the index.
        const HEAD: u64 = 9;
        let length = usize::try_from(chunk.length.saturating_sub(HEAD)).unwrap_or(usize::MAX);
        self.body.resize(length, 0);
        let read = self
            .file
            .seek(SeekFrom::Start(chunk.offset + HEAD))
            .and_then(|_| self.file.read_exact(&mut self.body));
        match read {
            Err(e) if e.kind() != io::ErrorKind::UnexpectedEof => {
                return Err(ReadError::io(&self.path, e));
            }
            _ => {}
        }
        let entries = read.ok().and_then(|()| unpack(&self.index, &self.body));
        let started = self.index.header.started_ns;
        let seconds = |ns: u64| Duration::from_nanos(ns.saturating_sub(started)).as_secs_f64();
        self.ready = entries.ok_or_else(|| ReadError::Damaged {
            path: self.path.clone(),
            offset: chunk.offset,
            from_seconds: seconds(chunk.start_ns),
            to_seconds: seconds(chunk.end_ns),
        })?;
        Ok(())
    }
}

impl Index {
    pub(crate) fn length_of(&self, item: &Item) -> Duration {
        let Item::Block(block) = item else {
            return Duration::ZERO;
        };
        self.streams
            .iter()
            .find(|s| s.info.generation == block.generation)
            .and_then(|s| Duration::try_from_secs_f64(block.len() as f64 / s.info.rate_hz).ok())
            .unwrap_or_default()
    }
}

impl Iterator for Entries {
    type Item = Result<Entry, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(entry) = self.ready.pop_front() {
                return Some(Ok(entry));
            }
            let chunk = *self.index.chunks.get(self.next_chunk)?;
            self.next_chunk += 1;
            if (chunk.words || !self.words_only)
                && let Err(e) = self.load(chunk)
            {
                return Some(Err(e));
            }
        }
    }
}

/// Blocks of a recording in order.
#[derive(Debug)]
pub struct Blocks {
    entries: Entries,
    position: Duration,
}

impl Blocks {
    pub(crate) fn new(entries: Entries) -> Self {
        Self {
            entries,
            position: Duration::ZERO,
        }
    }

    /// Continues with the first block that reaches beyond `to`, measured from the start of the recording.
    pub fn seek(&mut self, to: Duration) -> Result<(), ReadError> {
        self.position = to;
        self.entries.seek(to)
    }

    /// End of the block last given, measured from the start of the recording.
    pub fn position(&self) -> Duration {
        self.position
    }
}

impl Iterator for Blocks {
    type Item = Result<SampleBlock, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let entry = match self.entries.next()? {
                Ok(entry) => entry,
                Err(e) => return Some(Err(e)),
            };
            let end = self.entries.end_of(&entry);
            if let Item::Block(block) = entry.item {
                self.position = end;
                return Some(Ok(block));
            }
        }
    }
}
