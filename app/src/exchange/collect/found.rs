//! The recordings below a folder, and the jobs they belong to.

use crate::fault::Fault;
use crate::job::card::{Card, CardFile};
use crate::job::folder::JobFolder;
use crate::work::Progress;
use std::fs;
use std::path::{Path, PathBuf};

/// Folders within folders, at most: deeper than any filing is a circle.
const DEEPEST: usize = 32;

/// A job.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Job {
    pub folder: JobFolder,
    /// What its card says; empty where it cannot be read.
    pub card: Card,
}

/// A recording.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub path: PathBuf,
    /// Below the folder that was searched.
    pub below: PathBuf,
    pub bytes: u64,
    pub job: Option<Job>,
}

/// All recordings below `root`, in the order of their paths. Links to folders are not followed.
pub(super) fn below(
    root: &Path,
    remarks: &mut Vec<String>,
    progress: &Progress,
) -> Result<Vec<Found>, Fault> {
    let mut found = Vec::new();
    // The folder itself must be readable; of those below it, what cannot be read is told.
    let listed = fs::read_dir(root).map_err(|e| Fault::unreadable(root, &e))?;
    drop(listed);
    walk(root, root, None, 0, &mut found, remarks, progress)?;
    found.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(found)
}

fn walk(
    root: &Path,
    folder: &Path,
    job: Option<&Job>,
    depth: usize,
    found: &mut Vec<Found>,
    remarks: &mut Vec<String>,
    progress: &Progress,
) -> Result<(), Fault> {
    progress.check()?;
    let own = job_of(folder, remarks);
    let job = own.as_ref().or(job);
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) => {
            remarks.push(Fault::unreadable(folder, &e).to_string());
            return Ok(());
        }
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let is_hidden = entry.file_name().to_string_lossy().starts_with('.');
        let Ok(kind) = entry.file_type() else {
            continue;
        };
        if kind.is_dir() && !is_hidden && depth < DEEPEST {
            walk(root, &path, job, depth + 1, found, remarks, progress)?;
        } else if path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("mcap"))
            && path.is_file()
        {
            found.push(Found {
                below: path.strip_prefix(root).unwrap_or(&path).to_owned(),
                bytes: path.metadata().map_or(0, |m| m.len()),
                path,
                job: job.cloned(),
            });
        }
    }
    Ok(())
}

/// The job whose folder this is.
fn job_of(folder: &Path, remarks: &mut Vec<String>) -> Option<Job> {
    let folder = JobFolder::new(folder);
    if !folder.card().is_file() {
        return None;
    }
    let card = match CardFile::read(&folder) {
        Ok(file) => {
            for slip in file.slips() {
                remarks.push(format!("{}, {slip}", folder.card().display()));
            }
            file.card().clone()
        }
        Err(fault) => {
            remarks.push(fault.to_string());
            Card::default()
        }
    };
    Some(Job { folder, card })
}
