//! What can go wrong at the surface, each as one sentence that says what to do.

use std::path::PathBuf;
use std::sync::Arc;

/// A failure that a command reports or a screen shows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A file cannot be read.
    #[error("{} cannot be read: {why}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: Arc<str>,
    },
    /// A file cannot be written.
    #[error("{} cannot be written: {why}", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: Arc<str>,
    },
    /// A sheet, plan or scenario has a mistake.
    #[error("{name}, line {line}: {what}")]
    Mistake {
        /// File, or the name of what is built in.
        name: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong there.
        what: String,
    },
    /// The sheet and the plan together cannot be used.
    #[error("{0}")]
    Setup(Arc<str>),
    /// A scenario cannot be used; the sentence is its own and names the file and the line.
    #[error("{0}")]
    Scenario(Arc<str>),
    /// The source of samples gave up; the sentence is its own.
    #[error("{0}")]
    Link(Arc<str>),
    /// A recording cannot be made or read; the sentence is its own and names the file.
    #[error("{0}")]
    Recording(Arc<str>),
    /// A capture cannot be imported; the sentence is its own and names the file and the line.
    #[error("{0}")]
    Import(Arc<str>),
    /// Recording was asked for where no scope streams.
    #[error("there is nothing to record: connect a scope first")]
    NothingToRecord,
    /// The analysis has not taken earlier orders yet.
    #[error("the analysis is busy; try that again in a moment")]
    Busy,
    /// Standard output cannot be written.
    #[error("the output cannot be written: {0}")]
    Output(Arc<str>),
    /// A thread, the runtime or the window could not be started.
    #[error("{what} could not be started: {why}")]
    Start {
        /// What.
        what: &'static str,
        /// What the system says.
        why: Arc<str>,
    },
    /// A job folder or its card cannot be used; the sentence is its own and names the file.
    #[error("{0}")]
    Job(Arc<str>),
    /// A reference cannot be used; the sentence is its own and names the file.
    #[error("{0}")]
    Reference(Arc<str>),
    /// An exhibit cannot be kept or opened; the sentence is its own and names the file.
    #[error("{0}")]
    Exhibit(Arc<str>),
    /// An export cannot be made; the sentence is its own and names the file.
    #[error("{0}")]
    Export(Arc<str>),
    /// Recordings cannot be compared; the sentence is its own.
    #[error("{0}")]
    Compare(Arc<str>),
    /// Long work was stopped by the one who began it; nothing half done is left.
    #[error("stopped; nothing half done is left")]
    Cancelled,
    /// Long work ended without an answer.
    #[error("{0} stopped by a fault of the program")]
    Broken(&'static str),
    /// A picture could not be drawn.
    #[error("the chart could not be drawn: {0}")]
    Chart(Arc<str>),
}

impl Fault {
    /// A file that could not be read.
    pub fn unreadable(path: impl Into<PathBuf>, error: &std::io::Error) -> Self {
        Self::Unreadable {
            path: path.into(),
            why: Arc::from(plain(error)),
        }
    }

    /// A file that could not be written.
    pub fn unwritable(path: impl Into<PathBuf>, error: &std::io::Error) -> Self {
        Self::Unwritable {
            path: path.into(),
            why: Arc::from(plain(error)),
        }
    }

    /// A mistake in a TOML text; the library knows the place as a byte range.
    pub fn mistake(name: &str, text: &str, error: &toml::de::Error) -> Self {
        let at = error.span().map_or(0, |span| span.start).min(text.len());
        let line = text.as_bytes()[..at]
            .iter()
            .filter(|b| **b == b'\n')
            .count()
            + 1;
        Self::Mistake {
            name: name.to_owned(),
            line,
            what: error.message().trim().replace('\n', "; "),
        }
    }
}

/// The system's reason without its error number.
fn plain(error: &std::io::Error) -> String {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder".to_owned(),
        ErrorKind::PermissionDenied => "you have no permission for it".to_owned(),
        ErrorKind::IsADirectory => "it is a folder".to_owned(),
        ErrorKind::InvalidData => "it is not text".to_owned(),
        ErrorKind::StorageFull => "the disk is full; free some space and try again".to_owned(),
        _ => error.to_string(),
    }
}
