//! Why a capture cannot be imported: where, what was found, what was expected, what to do.

use crate::recording::error::RecordError;
use std::path::PathBuf;
use std::sync::Arc;

/// Why a capture cannot be imported.
#[derive(Debug, Clone, thiserror::Error)]
pub enum ImportError {
    /// The file cannot be opened or read.
    #[error("{} cannot be read: {}", .0.display(), .1)]
    Read(PathBuf, Arc<std::io::Error>),
    /// A folder, a pipe or a device.
    #[error("{} is no file: an import reads its file twice, so save the capture first", .0.display())]
    NoFile(PathBuf),
    /// No row of numbers at all.
    #[error(
        "{} holds no rows of numbers: {rows} lines were looked at with comma, semicolon, tab, bar and space between cells; is it a text export? If so, say [text] delimiter, decimal and skip_rows in the plan",
        .path.display()
    )]
    NoNumbers {
        /// File.
        path: PathBuf,
        /// Lines looked at.
        rows: usize,
    },
    /// The plan asks for what is not there.
    #[error("{}: {what}", .path.display())]
    Plan {
        /// File the plan is for.
        path: PathBuf,
        /// What does not fit, and what to do.
        what: String,
    },
    /// A row or cell that cannot be understood.
    #[error("{}, line {line}: {what}", .path.display())]
    Row {
        /// File.
        path: PathBuf,
        /// Line, from 1.
        line: u64,
        /// What was found, what was expected, what to do.
        what: String,
    },
    /// A cell that cannot be understood.
    #[error("{0}")]
    Cell(Box<OddCell>),
    /// The capture as a whole is not what an import can use.
    #[error("{}: {what}", .path.display())]
    Capture {
        /// File.
        path: PathBuf,
        /// What is wrong, and what to do.
        what: String,
    },
    /// The file was written to while it was read.
    #[error("{} changed while it was read: wait until it is complete and import again", .0.display())]
    Changed(PathBuf),
    /// The recording cannot be written; nothing is left of it.
    #[error("{0}")]
    Write(RecordError),
    /// The medium refuses the recording; nothing is left of it.
    #[error("{} cannot be written: {}; nothing was kept", .0.display(), .1)]
    Unwritable(PathBuf, Arc<std::io::Error>),
    /// No room for the recording; nothing is left of it.
    #[error("{} does not fit on its disk: free some room and import again; nothing was kept", .0.display())]
    DiskFull(PathBuf),
    /// It was called off; nothing is left of it.
    #[error("the import was stopped; nothing was kept")]
    Stopped,
}

/// A cell that cannot be understood.
#[derive(Debug, Clone, thiserror::Error)]
#[error("{}, line {line}, column {column} (\"{name}\"): expected {expected}, found \"{found}\"; {advice}", .path.display())]
pub struct OddCell {
    /// File.
    pub path: PathBuf,
    /// Line, from 1.
    pub line: u64,
    /// Column, from 1.
    pub column: usize,
    /// Name of the column; its number when it has none.
    pub name: String,
    /// What should be there.
    pub expected: String,
    /// What is there, at most a few dozen characters of it.
    pub found: String,
    /// What to do.
    pub advice: &'static str,
}
