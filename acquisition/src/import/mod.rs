//! Captures of other instruments, as text with rows of numbers, made into recordings.
//!
//! What is understood, and the plan that says what cannot be found, is described in
//! `acquisition/README.md`. The file is read twice: once to see what it holds, which decides the
//! rate and the counts of every column, and once to write. One line is in memory at a time, so its
//! size does not matter.

mod cells;
mod clock;
mod dialect;
pub mod error;
mod feed;
mod heading;
mod layout;
mod number;
mod opening;
mod pace;
pub mod plan;
pub mod preview;
mod pulse;
mod range;
mod role;
mod rounding;
mod rows;
pub mod summary;
mod survey;
mod transfer;

#[cfg(test)]
mod tests;

pub use feed::{Progress, Watch};
pub use preview::inspect;

use crate::recording::header::RecordingHeader;
use crate::recording::overview;
use crate::recording::writer::Recorder;
use error::ImportError;
use feed::Feed;
use layout::Layout;
use opening::Opening;
use plan::Plan;
use preview::Preview;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::time::UNIX_EPOCH;
use summary::Summary;

/// What a recording keeps beside the samples, and that no capture tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Card {
    /// Engine sheet as TOML.
    pub engine_sheet: String,
    /// A note; may be empty.
    pub note: String,
    /// Program and version that import.
    pub software: String,
}

/// Imports a capture as a new recording. Its lead plan is [`Preview::lead_plan`] of the same plan.
///
/// # Errors
/// Whatever cannot be understood, with its line. Nothing is left of the recording then, nor when it
/// was stopped; a file that was there before is left as it is.
pub fn run(
    path: &Path,
    plan: &Plan,
    out: &Path,
    card: &Card,
    watch: Watch<'_>,
) -> Result<Summary, ImportError> {
    let opening = Opening::read(path, plan)?;
    let layout = Layout::of(path, &opening, plan)?;
    if let Some(lacking) = layout.lacking.first() {
        return Err(ImportError::Plan {
            path: path.to_owned(),
            what: lacking.clone(),
        });
    }
    if out.exists() {
        // Told before the file is read through; what decides is whether it can be made, below.
        return Err(ImportError::Write(
            crate::recording::error::RecordError::Exists(out.to_owned()),
        ));
    }
    let decimal = opening.dialect.decimal;
    let mut feed = Feed::open(path, &opening, &layout, decimal, 0, watch)?;
    let survey = survey::of(path, &layout, &mut feed)?;
    let scalings = transfer::scalings(&layout, &survey);
    let mut preview = preview::of(path, &opening, &layout, plan);
    preview.plan.text.decimal = survey.decimal;
    let header = header(&preview, &survey, card);
    let mut recorder = Recorder::create(out, &header).map_err(|e| transfer::unwritten(e, out))?;
    let written = (|| {
        let stream = transfer::stream(&layout, &survey, &scalings, &file_name(path));
        recorder
            .stream(&stream)
            .map_err(|e| transfer::unwritten(e, out))?;
        let mut feed = Feed::open(path, &opening, &layout, survey.decimal, 1, watch)?;
        transfer::run(
            path,
            out,
            &layout,
            &survey,
            &scalings,
            &mut feed,
            &mut recorder,
        )
    })();
    let finished = match written {
        Ok(written) => recorder
            .finish()
            .map(|bytes| (written, bytes))
            .map_err(|e| transfer::unwritten(e, out)),
        Err(e) => {
            drop(recorder);
            Err(e)
        }
    };
    match finished {
        Ok((written, bytes)) => Ok(summary::of(&layout, &survey, &scalings, written, bytes)),
        Err(e) => {
            // Half of a capture would be taken for a whole one.
            if let Err(e) = std::fs::remove_file(out) {
                tracing::warn!("cannot remove {}: {e}", out.display());
            }
            overview::remove(out);
            Err(e)
        }
    }
}

/// Imports without telling how far it is, for programs that can wait.
///
/// # Errors
/// As [`run`].
pub fn run_quietly(
    path: &Path,
    plan: &Plan,
    out: &Path,
    card: &Card,
) -> Result<Summary, ImportError> {
    let watch = Watch {
        progress: &|_| {},
        stop: &AtomicBool::new(false),
    };
    run(path, plan, out, card, watch)
}

fn file_name(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn header(preview: &Preview, survey: &survey::Survey, card: &Card) -> RecordingHeader {
    let modified = std::fs::metadata(&preview.path)
        .and_then(|m| m.modified())
        .ok()
        .and_then(|at| at.duration_since(UNIX_EPOCH).ok())
        .unwrap_or_default();
    let file = file_name(&preview.path);
    RecordingHeader {
        // When it was captured no file says; when it was written is the nearest to it.
        started_ns: u64::try_from(modified.as_nanos()).unwrap_or(u64::MAX),
        operator: String::new(),
        note: card.note.clone(),
        software: card.software.clone(),
        engine_sheet: card.engine_sheet.clone(),
        lead_plan: preview.lead_plan(),
        import_plan: format!(
            "# Imported from {file:?}: {} bytes, {} rows\n# SHA-256 {}\n{}",
            survey.bytes,
            survey.rows,
            survey.digest,
            preview.plan.to_toml()
        ),
    }
}
