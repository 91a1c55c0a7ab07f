//! What can go wrong with a recording, as facts.

use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Why a recording could not be written, or not further.
#[derive(Debug, Clone, thiserror::Error)]
pub enum RecordError {
    /// A file of that name is there already.
    #[error("{} exists already and is left as it is: choose another name", .0.display())]
    Exists(PathBuf),
    /// The file cannot be made.
    #[error("cannot make the recording {}: {}", .0.display(), .1)]
    Create(PathBuf, Arc<std::io::Error>),
    /// No room left.
    #[error("the disk is full: recording stopped at {seconds:.1} s; everything up to then is kept")]
    DiskFull {
        /// Seconds that are kept.
        seconds: f64,
    },
    /// Any other fault of the disk.
    #[error(
        "cannot write on ({source}): recording stopped at {seconds:.1} s; everything up to then is kept"
    )]
    Write {
        /// Seconds that are kept.
        seconds: f64,
        /// What the system says.
        source: Arc<std::io::Error>,
    },
    /// The recording was stopped by a fault before.
    #[error("the recording has stopped already")]
    Stopped,
    /// A block belongs to a stream that was not announced.
    #[error("samples of stream {generation}, which was not announced to the recorder")]
    UnknownStream {
        /// Generation of the block.
        generation: u64,
    },
    /// A block does not fit its stream.
    #[error("a block has {found} channels of one length, its stream has {expected}")]
    Shape {
        /// Channels of one length in the block.
        found: usize,
        /// Channels of the stream.
        expected: usize,
    },
    /// More streams than one file can tell apart.
    #[error(
        "too many reconnections for one file: recording stopped at {seconds:.1} s; everything up to then is kept"
    )]
    TooManyStreams {
        /// Seconds that are kept.
        seconds: f64,
    },
}

/// Why a recording cannot be read.
#[derive(Debug, Clone, thiserror::Error)]
pub enum ReadError {
    /// The file cannot be opened or read.
    #[error("cannot read {}: {}", .0.display(), .1)]
    Io(PathBuf, Arc<std::io::Error>),
    /// It is no MCAP file at all.
    #[error("{} is not a recording: it does not begin as an MCAP file does", .0.display())]
    NotMcap(PathBuf),
    /// An MCAP file of something else.
    #[error("{} is an MCAP file, but not one that Keyway recorded", .0.display())]
    Foreign(PathBuf),
    /// Cut off before anything could be read.
    #[error("{} ends after {} bytes, before its header is complete: there is nothing to read", .0.display(), .1)]
    CutInHeader(PathBuf, u64),
    /// Made by another version.
    #[error("{} has recording format {found}; this program reads format {}", .path.display(), super::header::FORMAT)]
    Version {
        /// File.
        path: PathBuf,
        /// Format it states.
        found: String,
    },
    /// The header is there but cannot be understood.
    #[error("{} has a damaged header: {what}", .path.display())]
    Header {
        /// File.
        path: PathBuf,
        /// Which part.
        what: &'static str,
    },
    /// One chunk cannot be read; those after it may be.
    #[error("{} is damaged at byte {offset}: the samples from {from_seconds:.1} s to {to_seconds:.1} s cannot be read", .path.display())]
    Damaged {
        /// File.
        path: PathBuf,
        /// Where the chunk begins.
        offset: u64,
        /// Begin of what is lost, since the start of the recording.
        from_seconds: f64,
        /// End of what is lost.
        to_seconds: f64,
    },
}

impl ReadError {
    pub(crate) fn io(path: &Path, e: std::io::Error) -> Self {
        Self::Io(path.to_owned(), Arc::new(e))
    }
}
