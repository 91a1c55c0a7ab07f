//! Findings that are kept in a job: what was found at one moment, as a JSON document of its own.

use super::edition::first_free;
use super::folder::JobFolder;
use crate::fault::Fault;
use crate::session::calendar;
use crate::survey::document::inquiry::{Base, Found, Trial, trials};
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::SampleTime;
use serde::Serialize;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Number of this form. It changes when a field goes away or changes its meaning; new fields leave it.
const FORM: u32 = 1;

/// Where what was found comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Source {
    /// File, relative to the job's folder if it lies there; null when found live.
    pub recording: Option<String>,
    /// What it was found on when it was not a recording.
    pub scope: Option<String>,
    /// Name of the engine in the engine sheet.
    pub engine: String,
    /// Seconds that were measured.
    pub seconds: f64,
    /// Share of the recording that was measured when this was kept, 0 to 1; 1 when found live.
    pub share: f64,
}

/// The document.
#[derive(Debug, Serialize)]
struct Document {
    form: u32,
    saved: Option<String>,
    source: Source,
    base_timing: Base,
    trials: Vec<Trial>,
    findings: Found,
}

/// Text of the document and the begin of its name.
pub fn document(
    source: Source,
    snapshot: &Snapshot,
    seconds: &impl Fn(SampleTime) -> f64,
) -> Result<String, Fault> {
    let document = Document {
        form: FORM,
        saved: calendar::now().map(|s| s.to_string()),
        source,
        base_timing: Base::of(&snapshot.base_timing),
        trials: trials(&snapshot.trials, seconds),
        findings: Found::of(&snapshot.findings, seconds),
    };
    serde_json::to_string_pretty(&document).map_err(|e| Fault::Job(Arc::from(e.to_string())))
}

/// Name of a recording as the document has it: what lies in the job is named from there, so that it
/// stays right when the folder is copied.
pub fn named(recording: &Path, job: &JobFolder) -> String {
    let path = recording.strip_prefix(job.path()).unwrap_or(recording);
    path.to_string_lossy().replace('\\', "/")
}

/// Keeps a document in the job under a name made of the time; the file.
pub fn keep(job: &JobFolder, seconds_since_1970: u64, text: &str) -> Result<PathBuf, Fault> {
    let folder = job.findings();
    fs::create_dir_all(&folder).map_err(|e| Fault::unwritable(&folder, &e))?;
    let stamp = calendar::stamp(seconds_since_1970);
    let (path, mut file) = first_free(|number| {
        folder.join(match number {
            1 => format!("{stamp}.json"),
            _ => format!("{stamp}-{number}.json"),
        })
    })
    .map_err(|e| Fault::unwritable(&folder, &e))?;
    file.write_all(text.as_bytes())
        .and_then(|()| file.sync_all())
        .map_err(|e| Fault::unwritable(&path, &e))?;
    Ok(path)
}
