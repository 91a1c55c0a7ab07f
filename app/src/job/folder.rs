//! Where in a job's folder what is kept.

use std::path::{Path, PathBuf};

/// The folder of one job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobFolder {
    path: PathBuf,
}

impl JobFolder {
    /// The job in this folder; nothing is read or made.
    pub fn new(path: impl Into<PathBuf>) -> Self {
        Self { path: path.into() }
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder's own name.
    pub fn name(&self) -> String {
        let name = self.path.file_name().unwrap_or_default();
        name.to_string_lossy().into_owned()
    }

    /// The job card.
    pub fn card(&self) -> PathBuf {
        self.path.join("job.toml")
    }

    /// What the technician wrote down.
    pub fn notes(&self) -> PathBuf {
        self.path.join("notes.md")
    }

    /// Recordings.
    pub fn recordings(&self) -> PathBuf {
        self.path.join("recordings")
    }

    /// Known-good references that came with the job.
    pub fn references(&self) -> PathBuf {
        self.path.join("references")
    }

    /// Exhibits.
    pub fn exhibits(&self) -> PathBuf {
        self.path.join("exhibits")
    }

    /// Findings, as JSON documents.
    pub fn findings(&self) -> PathBuf {
        self.path.join("findings")
    }
}
