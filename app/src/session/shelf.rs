//! The recordings in a folder as the list shows them.

use crate::session::calendar;
use keyway_acquisition::recording::catalogue;
use keyway_analysis::engine::EngineSheet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The files of a folder, the latest first, those that do not open last.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Shelf {
    /// Files.
    pub volumes: Vec<Volume>,
}

/// One file.
#[derive(Debug, Clone, PartialEq)]
pub struct Volume {
    /// Where it is.
    pub path: PathBuf,
    /// Its name without the folder.
    pub name: String,
    /// What is in it, or why it cannot be played.
    pub contents: Result<Contents, Arc<str>>,
}

/// What a recording says of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents {
    /// Name of the engine.
    pub engine: String,
    /// Begin, "2026-11-25 16:03 UTC".
    pub started: String,
    /// First note.
    pub note: String,
    /// Length.
    pub seconds: f64,
    /// Size of the file.
    pub bytes: u64,
    /// What is missing, if anything is.
    pub shortfall: Option<String>,
}

/// Reads a folder. Opens every file, so it may take a while: not on the thread of the window.
pub fn read(folder: &Path) -> Result<Shelf, Arc<str>> {
    let found = catalogue::list(folder)
        .map_err(|e| Arc::from(format!("{} cannot be read: {e}", folder.display())))?;
    Ok(Shelf {
        volumes: found
            .into_iter()
            .map(|entry| Volume {
                name: entry
                    .path
                    .file_name()
                    .map(|n| n.to_string_lossy().into_owned())
                    .unwrap_or_default(),
                contents: entry
                    .recording
                    .map(|r| Contents {
                        engine: EngineSheet::from_toml(&r.header().engine_sheet)
                            .map_or_else(|_| "unknown engine".to_owned(), |s| s.name),
                        started: calendar::minute(r.header().started_ns / 1_000_000_000),
                        note: r.header().note.clone(),
                        seconds: r.duration().as_secs_f64(),
                        bytes: r.size(),
                        shortfall: r.shortfall(),
                    })
                    .map_err(|e| Arc::from(e.to_string())),
                path: entry.path,
            })
            .collect(),
    })
}
