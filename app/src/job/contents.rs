//! What lies in a job's folder: recordings, exhibits and findings.

use super::folder::JobFolder;
use crate::session::shelf::{self, Volume};
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What lies in it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Contents {
    /// Recordings, the latest first.
    pub recordings: Vec<Volume>,
    /// Files of exhibits, by name.
    pub exhibits: Vec<PathBuf>,
    /// Findings, the latest first.
    pub findings: Vec<PathBuf>,
    /// What could not be listed and why.
    pub faults: Vec<Arc<str>>,
}

impl Contents {
    /// Lists a job's folder. It opens every recording: not on the thread of the window.
    pub fn read(job: &JobFolder) -> Self {
        let mut contents = Self::default();
        match shelf::volumes(&job.recordings()) {
            Ok(recordings) => contents.recordings = recordings,
            Err(why) => contents.faults.push(why),
        }
        match files(&job.exhibits()) {
            Ok(exhibits) => contents.exhibits = exhibits,
            Err(why) => contents.faults.push(why),
        }
        match files(&job.findings()) {
            Ok(mut findings) => {
                findings.reverse();
                contents.findings = findings;
            }
            Err(why) => contents.faults.push(why),
        }
        contents
    }
}

/// Files by name; a folder that does not exist holds none.
fn files(folder: &Path) -> Result<Vec<PathBuf>, Arc<str>> {
    let found = match fs::read_dir(folder) {
        Ok(found) => found,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => {
            return Err(Arc::from(format!(
                "{} cannot be read: {e}",
                folder.display()
            )));
        }
    };
    let mut files: Vec<PathBuf> = found
        .flatten()
        .filter(|e| e.file_type().is_ok_and(|kind| !kind.is_dir()))
        .map(|e| e.path())
        .collect();
    files.sort();
    Ok(files)
}
