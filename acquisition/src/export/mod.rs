//! Samples of a recording as files that other programs open: CSV, Parquet, WAV.
//!
//! What stands in each of them is described in `app/EXCHANGE.md`. A file appears under its name only
//! when it is whole.

mod clock;
mod csv;
mod description;
pub mod draft;
pub mod error;
mod layout;
mod parquet;
mod walk;
mod wav;

#[cfg(test)]
mod tests;

use crate::recording::error::ReadError;
use crate::recording::reader::Recording;
use draft::Draft;
use error::ExportError;
use layout::Layout;
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use walk::Walk;

/// Form of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Text, one row per sample.
    Csv,
    /// Columns, for pandas, Polars, DuckDB and their like.
    Parquet,
    /// Sound: one channel per lead.
    Wav,
}

impl Form {
    /// The form that the ending of a name asks for.
    pub fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?;
        [Self::Csv, Self::Parquet, Self::Wav]
            .into_iter()
            .find(|form| ending.eq_ignore_ascii_case(form.ending()))
    }

    /// The ending of its files.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Parquet => "parquet",
            Self::Wav => "wav",
        }
    }
}

/// A lead that is exported.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// Input of the device, counted from 1.
    pub input: usize,
    /// Role as in the lead plan; empty where the plan has none for the input.
    pub role: String,
    /// Units at the probe's tip per unit at the input.
    pub factor: f64,
    /// Unit at the probe's tip; none where it is that of the input.
    pub unit: Option<String>,
}

/// What is exported, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// Form of the file.
    pub form: Form,
    /// The leads, in the order of the columns.
    pub leads: Vec<Lead>,
    /// Seconds since the start of the recording: samples from the begin on and before the end.
    pub span: Range<f64>,
    /// The stream alone, counted from 1; none for all.
    pub stream: Option<usize>,
    /// Counts of the converter instead of values at the probe's tip. A WAV always holds counts.
    pub counts: bool,
    /// Whether a file of that name is replaced.
    pub replace: bool,
    /// Program and version that export.
    pub software: String,
}

/// Who is told how far an export is, and who may stop it.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Called many times a second with the share that is done, on the thread that exports.
    pub progress: &'a dyn Fn(f64),
    /// Raised by whoever wants it to stop.
    pub stop: &'a AtomicBool,
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch")
            .field("stop", self.stop)
            .finish_non_exhaustive()
    }
}

/// What was exported.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Samples per lead.
    pub samples: u64,
    /// Names of the columns or channels.
    pub columns: Vec<String>,
    /// Streams of which there are samples.
    pub streams: usize,
    /// Places at which samples are missing within a stream, and how many.
    pub gaps: u64,
    /// Samples missing at these places.
    pub missing: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// What of the span could not be read.
    pub remarks: Vec<String>,
}

/// Exports the samples of a recording.
///
/// # Errors
/// What cannot be done, and what to do about it. Nothing is left of the file then, nor when it was
/// stopped; a file that was there before is left as it is.
pub fn run(
    recording: &Recording,
    wish: &Wish,
    out: &Path,
    watch: Watch<'_>,
) -> Result<Summary, ExportError> {
    let layout = Layout::of(recording, wish)?;
    let (draft, file) = Draft::begin(out, wish.replace)?;
    let walk = Walk::new(recording, &layout, wish, watch);
    let mut summary = match wish.form {
        Form::Csv => csv::write(&walk, file, out),
        Form::Parquet => parquet::write(&walk, file, out),
        Form::Wav => wav::write(&walk, &draft, file, out),
    }?;
    summary.bytes = draft.keep()?;
    Ok(summary)
}

impl From<ReadError> for ExportError {
    fn from(error: ReadError) -> Self {
        Self::Read(error)
    }
}
