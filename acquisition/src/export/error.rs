//! Why an export cannot be made, and what to do.

use crate::recording::error::ReadError;
use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Why an export cannot be made. Nothing is left of its file.
#[derive(Debug, Clone, thiserror::Error)]
pub enum ExportError {
    /// The recording cannot be read.
    #[error("{0}")]
    Read(ReadError),
    /// A file of that name is there already.
    #[error("{} exists already and is left as it is: choose another name, or ask for it to be replaced", .0.display())]
    Exists(PathBuf),
    /// The file cannot be made or written.
    #[error("{} cannot be written: {}; nothing was kept", .0.display(), .1)]
    Unwritable(PathBuf, Arc<Error>),
    /// No room for it.
    #[error("{} does not fit on its disk: free some room and export again; nothing was kept", .0.display())]
    DiskFull(PathBuf),
    /// No lead was chosen.
    #[error("no lead is chosen: choose at least one")]
    NoLead,
    /// A lead that was not recorded.
    #[error("the lead on input {0} was not recorded: leave it out")]
    NotRecorded(usize),
    /// No stream of that number.
    #[error("there is no stream {wanted}: the recording has {have}, counted from 1")]
    NoStream {
        /// Asked for.
        wanted: usize,
        /// Streams there are.
        have: usize,
    },
    /// Nothing between two times.
    #[error(
        "no samples lie in the span that begins at {from:.3} s: the recording reaches from 0 to {end:.3} s"
    )]
    Empty {
        /// Begin.
        from: f64,
        /// Length of the recording.
        end: f64,
    },
    /// More than one stream where a file has one clock.
    #[error(
        "the scope was away and began again at {at:.3} s, and a {form} has one clock: choose a span before or after, or a stream with --stream {stream}, --stream {next} and so on, or export as Parquet"
    )]
    SeveralStreams {
        /// Begin of the next stream.
        at: f64,
        /// "CSV" or "WAV".
        form: &'static str,
        /// Number of the stream before.
        stream: usize,
        /// Number of the next stream.
        next: usize,
    },
    /// Missing samples where there can be none.
    #[error(
        "{missing} samples are missing at {at:.4} s, and a WAV cannot show that: choose a span without, such as --to {before} or --from {after}, or export as Parquet or CSV"
    )]
    Gap {
        /// End of the last sample before.
        at: f64,
        /// Samples missing.
        missing: u64,
        /// The same as one would type it: a time before.
        before: f64,
        /// And a time after.
        after: f64,
    },
    /// A rate that is no whole number.
    #[error(
        "a WAV has a whole number of samples a second, and this stream has {0}: export as Parquet or CSV"
    )]
    Rate(f64),
    /// More than a file of the form holds.
    #[error(
        "a WAV holds 4 GB, here {seconds:.0} s of {leads} leads: choose a shorter span or fewer leads, or export as Parquet"
    )]
    TooLarge {
        /// Leads.
        leads: usize,
        /// Seconds that fit.
        seconds: f64,
    },
    /// A lead whose unit is another from stream to stream.
    #[error(
        "the lead on input {input} is in {first} in one stream and in {other} in another: choose one with --stream, or --counts"
    )]
    Units {
        /// Input from 1.
        input: usize,
        /// Unit in the first stream.
        first: String,
        /// Unit in another.
        other: String,
    },
    /// It was called off.
    #[error("the export was stopped; nothing was kept")]
    Stopped,
}

impl ExportError {
    /// What the system refuses.
    pub fn writing(path: &Path, error: Error) -> Self {
        match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
                Self::DiskFull(path.to_owned())
            }
            ErrorKind::AlreadyExists => Self::Exists(path.to_owned()),
            _ => Self::Unwritable(path.to_owned(), Arc::new(error)),
        }
    }
}
