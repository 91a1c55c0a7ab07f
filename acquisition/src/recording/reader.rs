//! A recording that was opened: what it says of itself, and ways through it.

pub use super::index::Completeness;

use super::cursor::{Blocks, Entries, Entry, Item};
use super::error::ReadError;
use super::header::RecordingHeader;
use super::index::{self, ChunkEntry, Index};
use crate::block::StreamInfo;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

/// A recording. Cheap to clone; holds no file open.
#[derive(Debug, Clone)]
pub struct Recording {
    path: PathBuf,
    index: Arc<Index>,
    duration: Duration,
}

impl Recording {
    /// Opens a recording, finished or not. A finished one is opened by its summary; otherwise the
    /// heads of its records are walked over once.
    pub fn open(path: &Path) -> Result<Self, ReadError> {
        let index = Arc::new(index::read(path)?);
        let mut recording = Self {
            path: path.to_owned(),
            index,
            duration: Duration::ZERO,
        };
        recording.duration = recording.measure();
        Ok(recording)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What was known before the first sample.
    pub fn header(&self) -> &RecordingHeader {
        &self.index.header
    }

    /// The streams in order; more than one if the device went away and came back.
    pub fn streams(&self) -> impl Iterator<Item = &StreamInfo> {
        self.index.streams.iter().map(|s| &s.info)
    }

    /// The stream a block belongs to.
    pub fn stream(&self, generation: u64) -> Option<&StreamInfo> {
        self.streams().find(|s| s.generation == generation)
    }

    /// From the start to the end of the last sample that can be read, pauses included.
    pub fn duration(&self) -> Duration {
        self.duration
    }

    /// Bytes of the file.
    pub fn size(&self) -> u64 {
        self.index.size
    }

    /// How the file ends.
    pub fn completeness(&self) -> Completeness {
        self.index.completeness
    }

    /// What is missing, if anything is, in one or two sentences.
    pub fn shortfall(&self) -> Option<String> {
        let seconds = self.duration.as_secs_f64();
        let end = match self.index.completeness {
            Completeness::Complete => None,
            Completeness::EndedByFault => Some(format!(
                "The recording was ended by a fault at {seconds:.1} s; everything up to then is here."
            )),
            Completeness::Unfinished { lost_bytes } => Some(format!(
                "The recording was never finished: it reads up to {seconds:.1} s, and {lost_bytes} bytes after that are lost."
            )),
        };
        let damage = (self.index.skipped > 0).then(|| {
            format!(
                "The file is damaged: {} bytes before its end cannot be read; what they held is missing.",
                self.index.skipped
            )
        });
        match (end, damage) {
            (Some(end), Some(damage)) => Some(format!("{end} {damage}")),
            (end, damage) => end.or(damage),
        }
    }

    /// Everything in order.
    pub fn entries(&self) -> Result<Entries, ReadError> {
        Entries::open(&self.path, Arc::clone(&self.index), false)
    }

    /// The chunks that hold samples or words, in the order of the file.
    pub(crate) fn chunks(&self) -> &[ChunkEntry] {
        &self.index.chunks
    }

    /// The samples in order.
    pub fn blocks(&self) -> Result<Blocks, ReadError> {
        self.entries().map(Blocks::new)
    }

    /// Notes and lead events in order, without unpacking the samples between them where the file
    /// says that there are only samples.
    pub fn words(&self) -> Result<Vec<Entry>, ReadError> {
        Entries::open(&self.path, Arc::clone(&self.index), true)?
            .filter(|e| !matches!(e, Ok(e) if matches!(e.item, Item::Block(_))))
            .collect()
    }

    /// The last chunk that can be read tells where the samples end.
    fn measure(&self) -> Duration {
        let Ok(mut entries) = self.entries() else {
            return Duration::ZERO;
        };
        for position in (0..self.index.chunks.len()).rev() {
            if entries.seek_chunk(position).is_ok()
                && let Some(end) = entries.end_of_ready()
            {
                return end;
            }
        }
        Duration::ZERO
    }
}
