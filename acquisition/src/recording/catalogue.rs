//! The recordings in a folder.

use super::error::ReadError;
use super::reader::Recording;
use std::io;
use std::path::{Path, PathBuf};

/// One file of the folder.
#[derive(Debug, Clone)]
pub struct CatalogueEntry {
    /// The file.
    pub path: PathBuf,
    /// The recording, or why it cannot be read.
    pub recording: Result<Recording, ReadError>,
}

/// All `.mcap` files of a folder, the latest first; those that cannot be read stand at the end.
/// A folder that does not exist holds none.
pub fn list(folder: &Path) -> io::Result<Vec<CatalogueEntry>> {
    let found = match std::fs::read_dir(folder) {
        Ok(found) => found,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(e),
    };
    let mut entries = Vec::new();
    for file in found {
        let path = file?.path();
        if path.extension().is_some_and(|e| e == "mcap") && path.is_file() {
            entries.push(CatalogueEntry {
                recording: Recording::open(&path),
                path,
            });
        }
    }
    entries.sort_by(|a, b| {
        let started = |e: &CatalogueEntry| e.recording.as_ref().ok().map(|r| r.header().started_ns);
        started(b)
            .cmp(&started(a))
            .then_with(|| a.path.cmp(&b.path))
    });
    Ok(entries)
}
