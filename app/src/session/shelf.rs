//! The recordings in a folder as the list shows them.

use crate::job::cabinet::{self, Entry};
use crate::job::folder::JobFolder;
use crate::session::calendar;
use crate::work::Progress;
use keyway_acquisition::recording::catalogue;
use keyway_analysis::engine::EngineSheet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The recordings below a folder: those by themselves, and those of jobs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Shelf {
    /// Files: those without a job, then those of each job whose files were asked for. In each group
    /// the latest first, those that do not open last.
    pub volumes: Vec<Volume>,
    /// The jobs, the latest first.
    pub jobs: Vec<JobShelf>,
}

/// A job on the shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct JobShelf {
    /// Its folder.
    pub folder: JobFolder,
    /// Plate or title.
    pub name: String,
    /// Vehicle and date.
    pub about: String,
    /// How many recordings lie in it; none if that cannot be told.
    pub recordings: Option<usize>,
}

/// One file.
#[derive(Debug, Clone, PartialEq)]
pub struct Volume {
    /// Where it is.
    pub path: PathBuf,
    /// Its name without the folder.
    pub name: String,
    /// The job in whose folder it lies, if in any.
    pub job: Option<JobFolder>,
    /// What is in it, or why it cannot be played.
    pub contents: Result<Contents, Arc<str>>,
}

/// What a recording says of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents {
    /// Name of the engine.
    pub engine: String,
    /// Begin in local time, "2026-11-25 16:03".
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

/// Reads a folder: the recordings that lie there by themselves, and which jobs there are.
pub fn read(folder: &Path) -> Result<Shelf, Arc<str>> {
    read_with(folder, &[], &Progress::default())
}

/// The same with the recordings of these jobs. Opens every file, so it may take a while: not on the
/// thread of the window.
pub fn read_with(
    root: &Path,
    wanted: &[JobFolder],
    progress: &Progress,
) -> Result<Shelf, Arc<str>> {
    let mut shelf = Shelf {
        volumes: volumes(root)?,
        jobs: Vec::new(),
    };
    for job in wanted {
        // A job may have been moved away meanwhile; the others are shown all the same.
        let held = volumes(&job.recordings()).unwrap_or_default();
        shelf.volumes.extend(held.into_iter().map(|volume| Volume {
            job: Some(job.clone()),
            ..volume
        }));
    }
    let mut jobs = Vec::new();
    cabinet::read(root, progress, |entry| jobs.push(entry))
        .map_err(|fault| Arc::from(fault.to_string()))?;
    cabinet::sort(&mut jobs);
    shelf.jobs = jobs.into_iter().map(JobShelf::of).collect();
    Ok(shelf)
}

impl JobShelf {
    fn of(entry: Entry) -> Self {
        let about = match &entry.card {
            Ok(file) => {
                let card = file.card();
                let date = card.opened.map(|o| o.date()).unwrap_or_default();
                let parts = [date, card.vehicle()].map(|part| part.trim().to_owned());
                let parts: Vec<String> = parts.into_iter().filter(|p| !p.is_empty()).collect();
                parts.join(" · ")
            }
            Err(fault) => fault.to_string(),
        };
        Self {
            name: entry.name(),
            about,
            recordings: count(&entry.folder.recordings()),
            folder: entry.folder,
        }
    }
}

/// How many recordings a folder holds, without opening them.
fn count(folder: &Path) -> Option<usize> {
    match std::fs::read_dir(folder) {
        Ok(found) => {
            let names = found.flatten().map(|e| e.path());
            Some(
                names
                    .filter(|p| p.extension().is_some_and(|e| e == "mcap"))
                    .count(),
            )
        }
        Err(e) if e.kind() == ErrorKind::NotFound => Some(0),
        Err(_) => None,
    }
}

/// The recordings in one folder.
pub fn volumes(folder: &Path) -> Result<Vec<Volume>, Arc<str>> {
    let found = catalogue::list(folder)
        .map_err(|e| Arc::from(format!("{} cannot be read: {e}", folder.display())))?;
    Ok(found
        .into_iter()
        .map(|entry| Volume {
            name: entry
                .path
                .file_name()
                .map(|n| n.to_string_lossy().into_owned())
                .unwrap_or_default(),
            job: None,
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
        .collect())
}
